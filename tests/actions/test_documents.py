"""Documents are where what they are attached to is, and their files stay exactly as long as a document has them."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from threading import Event
from uuid import UUID

import pytest

from domain.actions import documents
from domain.actions.documents import (
    FileFacts,
    end_attachment,
    end_document,
    files_on_record,
    flaws_of_files,
    follow,
    hold_file,
    let_go_of_files,
    record_attachment,
    register_document,
    subjects,
)
from domain.actions.recording import Ending
from domain.actions.retention import let_go, register_legal_hold, register_retention_rule
from domain.actions.verify import prove
from domain.errors import Conflict, NotAllowed, RuleBroken
from domain.records.base import all_records
from domain.records.documents import Attachment, AttachmentStated, Document, DocumentStated, MediaType
from domain.records.files.folder import FolderFiles
from domain.records.marks import Mark, MarkKind
from domain.records.retention import LegalHoldStated, RetentionRuleStated
from domain.rules.calendar import add_months
from domain.rules.permissions import Reach
from tests import makers

TODAY = makers.NOON.date()
PAPER = b"a paper"


@pytest.fixture
def files(tmp_path):
    return FolderFiles(tmp_path / "documents")


@pytest.fixture
def places(store, organisation):
    """Return two sites with an animal each, by their names."""
    with store.transaction(makers.origin()) as unit:
        taxon = makers.taxon(unit)
        found = {}
        for name in ("here", "there"):
            site = makers.site(unit, name=name)
            enclosure = makers.enclosure(unit, site)
            animal = makers.animal(unit, taxon, tag=name, enclosure_id=str(enclosure.id))
            found[name] = (site.id, animal.id)
    return found


def to(record_id: UUID, noun: str = "animal") -> AttachmentStated:
    return AttachmentStated(subject=noun, subject_id=record_id)


def a_document(unit, files=None, *, content: bytes = PAPER, first: AttachmentStated | None = None) -> Document:
    digest = sha256(content).hexdigest()
    if files is not None:
        files.keep(unit.organisation_id, digest, io.BytesIO(content))
    facts = FileFacts("paper.pdf", MediaType.PDF, len(content), digest, digest)
    return register_document(unit, DocumentStated(title="A paper"), facts, first=first)


def later(unit, hours: int):
    """Let the transaction be that many hours later: what comes first is told by when it was put on record."""
    unit.origin = replace(unit.origin, at=makers.NOON + timedelta(hours=hours))


def site_now(unit, document: Document) -> UUID | None:
    return unit.fetch(Document, document.id).site_id


def a_mark(unit, animal_id: UUID) -> Mark:
    made = Mark.model_construct(
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        created_at=unit.origin.at,
        animal_id=animal_id,
        kind=MarkKind.PHOTOGRAPH,
        view="from above",
        from_on=TODAY,
    )
    return unit.add(made, action="record_mark")


def test_a_document_is_at_the_site_of_the_first_record_that_it_is_attached_to(store, places):
    (here, animal), (there, other) = places["here"], places["there"]
    with store.transaction(makers.origin()) as unit:
        document = a_document(unit, first=to(animal))
        assert document.site_id == here
        later(unit, 1)
        record_attachment(unit, document.id, to(other))
        assert site_now(unit, document) == here

        [first, second] = unit.all(Attachment, documents.ATTACHMENTS_OF, document_id=document.id)
        end_attachment(unit, first.id, Ending(reason="wrong"), owner_id=document.id)
        assert site_now(unit, document) == there
        end_attachment(unit, second.id, Ending(reason="wrong"), owner_id=document.id)
        assert site_now(unit, document) == there, "without one it stays where it is"
        record_attachment(unit, document.id, to(animal))
        assert site_now(unit, document) == here


def test_a_document_of_the_whole_organisation_goes_to_the_site_of_what_it_is_attached_to(store, places):
    here, animal = places["here"]
    with store.transaction(makers.origin()) as unit:
        document = a_document(unit)
        assert document.site_id is None
        record_attachment(unit, document.id, to(animal))
        assert site_now(unit, document) == here


def test_documents_follow_their_animal_and_what_is_recorded_of_it_and_others_stay(store, places):
    (here, animal), (there, other) = places["here"], places["there"]
    with store.transaction(makers.origin()) as unit:
        mark = a_mark(unit, animal)
        followers = [a_document(unit, first=to(animal)), a_document(unit, first=to(mark.id, "mark"))]
        stay = [a_document(unit, first=to(other)), a_document(unit, first=to(here, "site")), a_document(unit)]
        second = a_document(unit, first=to(here, "site"))
        taken_off = a_document(unit, first=to(animal))
        [attachment] = unit.all(Attachment, documents.ATTACHMENTS_OF, document_id=taken_off.id)
        end_attachment(unit, attachment.id, Ending(reason="wrong"), owner_id=taken_off.id)
        later(unit, 1)
        record_attachment(unit, second.id, to(animal))
        before = {one.id: site_now(unit, one) for one in (*stay, second, taken_off)}

        follow(unit, animal, there)

        assert [site_now(unit, one) for one in followers] == [there, there]
        assert {one.id: site_now(unit, one) for one in (*stay, second, taken_off)} == before
        follow(unit, animal, None)
        assert [site_now(unit, one) for one in followers] == [None, None]
    with store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []


def test_whoever_does_not_reach_the_other_site_does_not_move_documents_there(store, places):
    (here, animal), (there, _) = places["here"], places["there"]
    with store.transaction(makers.origin()) as unit:
        a_document(unit, first=to(animal))
    bound = replace(makers.origin(), reach=Reach(frozenset({here})))

    with pytest.raises(NotAllowed), store.transaction(bound) as unit:
        follow(unit, animal, there)


def test_nearly_every_kind_of_record_may_bear_documents(store, organisation):
    assert {record.noun for record in all_records()} - subjects().keys() == {"approval", "attachment", "document"}
    unknown = UUID("019ca945-0a00-7303-9a41-d18b21ab2c01")

    with store.transaction(makers.origin()) as unit:
        for noun in subjects():
            with pytest.raises(RuleBroken) as refused:
                a_document(unit, first=to(unknown, noun))
            assert refused.value.code == "reference-unknown"


def test_the_photograph_of_a_mark_is_not_ended(store, places):
    with store.transaction(makers.origin()) as unit:
        document = a_document(unit)
        mark = a_mark(unit, places["here"][1])
        unit.change(mark, {"document_id": document.id}, action="change_mark")

        with pytest.raises(Conflict, match="1 mark"):
            end_document(unit, document.id, Ending(reason="blurred"))


def test_a_file_stays_while_any_document_has_it_and_goes_with_the_last(store, owners_store, places, files):
    with store.transaction(makers.origin()) as unit:
        first, second = a_document(unit, files), a_document(unit, files)
        a_document(unit, files, content=b"another")
        for kind in ("document", "attachment"):
            register_retention_rule(unit, RetentionRuleStated(kind=kind, keep_months=12, source="own rule"))
        end_document(unit, first.id, Ending(reason="twice"))
    digest, another = first.sha256, sha256(b"another").hexdigest()
    counts = []
    for ends in (None, second):
        after = replace(makers.origin(), at=makers.NOON + timedelta(days=400 * (1 if ends is None else 2)))
        if ends is not None:
            with store.transaction(makers.origin(at=makers.NOON + timedelta(days=401))) as unit:
                end_document(unit, ends.id, Ending(reason="of no use"))
        with owners_store.transaction(after) as unit:
            let_go(unit, today=after.at.date())
        with store.transaction(after) as unit:
            counts.append((let_go_of_files(unit, files), files.holds(unit.organisation_id, digest)))

    assert counts == [(0, True), (1, False)]
    assert [*files.digests(makers.ORGANISATION)] == [another]
    with store.snapshot(makers.origin()) as unit:
        assert flaws_of_files(files, unit.organisation_id, files_on_record(unit)) == []


def test_files_that_no_document_has_are_found_and_other_organisations_are_left_alone(store, places, files):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Quillback Rescue")
    with store.transaction(makers.origin()) as unit:
        kept = a_document(unit, files)
    orphan = sha256(b"orphan").hexdigest()
    for organisation_id in (makers.ORGANISATION, makers.OTHER_ORGANISATION):
        files.keep(organisation_id, orphan, io.BytesIO(b"orphan"))

    with store.transaction(makers.origin()) as unit:
        assert let_go_of_files(unit, files) == 1

    assert [*files.digests(makers.ORGANISATION)] == [kept.sha256]
    assert [*files.digests(makers.OTHER_ORGANISATION)] == [orphan]


def test_a_file_is_not_let_go_of_between_being_kept_and_being_on_record(store, places, files):
    """Whoever comes second waits: either the document is on record when files are looked through, or its file is seen to be gone."""
    digest = sha256(PAPER).hexdigest()
    held, looked = Event(), []

    def sweep():
        held.wait(20)
        with store.transaction(makers.origin(request_id="sweep")) as unit:
            looked.append(let_go_of_files(unit, files))

    with ThreadPoolExecutor(1) as other:
        files.keep(makers.ORGANISATION, digest, io.BytesIO(PAPER))
        with store.transaction(makers.origin()) as unit:
            a_document(unit)
            assert hold_file(unit, files, digest)
            sweeping = other.submit(sweep)
            held.set()
            assert not looked
        sweeping.result()

    assert looked == [0]
    assert files.holds(makers.ORGANISATION, digest)
    with store.transaction(makers.origin()) as unit:
        files.let_go(unit.organisation_id, digest)
        assert not hold_file(unit, files, digest)


def test_a_record_stays_while_documents_are_attached_to_it(store, owners_store, places):
    with store.transaction(makers.origin()) as unit:
        taxon = makers.taxon(unit, "Rana fictiva")
        a_document(unit, first=to(taxon.id, "taxon"))
        unit.change(taxon, {"ended_on": TODAY, "end_reason": "a slip"}, action="end_taxon")
        register_retention_rule(unit, RetentionRuleStated(kind="taxon", keep_months=1, source="own rule"))

    with owners_store.transaction(makers.origin(at=makers.NOON + timedelta(days=70))) as unit:
        found = let_go(unit, today=add_months(TODAY, 2))

    assert [(one.subject_id, one.why) for one in found.kept] == [(taxon.id, "still referred to by 1 attachment")]


def test_a_hold_on_a_record_holds_its_documents(store, owners_store, places):
    _, animal = places["here"]
    with store.transaction(makers.origin()) as unit:
        document = a_document(unit, first=to(animal))
        end_document(unit, document.id, Ending(reason="wrong animal"))
        for kind in ("document", "attachment"):
            register_retention_rule(unit, RetentionRuleStated(kind=kind, keep_months=1, source="own rule"))
        register_legal_hold(unit, LegalHoldStated(kind="animal", subject_id=animal, why="an inquiry"))
    today = add_months(TODAY, 2)

    with owners_store.transaction(makers.origin(at=makers.NOON + timedelta(days=70))) as unit:
        found = let_go(unit, today=today)

    assert found.let_go == {}
    assert {(one.kind, one.why) for one in found.kept} == {("document", "held: an inquiry"), ("attachment", "held: an inquiry")}


def test_missing_and_damaged_files_are_named_with_every_document_that_has_them(store, places, files):
    with store.transaction(makers.origin()) as unit:
        twice = [a_document(unit, files).id, a_document(unit, files).id]
        other = a_document(unit, files, content=b"another")
        a_document(unit, files, content=b"whole")
        on_record = files_on_record(unit)
    digest = sha256(PAPER).hexdigest()
    files.let_go(makers.ORGANISATION, digest)
    next(files.folder.rglob(other.sha256)).write_bytes(b"anothe")

    said = {flaw.sentence for flaw in flaws_of_files(files, makers.ORGANISATION, on_record)}

    assert said == {f"The file {digest} of the document {one} is missing." for one in twice} | {
        f"The file {other.sha256} of the document {other.id} is damaged."
    }
