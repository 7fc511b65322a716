"""Permits: registered, corrected and ended, and as the rules about coverage take them."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from domain.actions.documents import ATTACHMENTS_OF, place_of, subject_site
from domain.actions.permit_parts import end_permit_animal, end_permit_taxon
from domain.actions.permits import NO_TAXON, change_permit, end_permit, permits_of, register_permit
from domain.actions.retention import HOLDS, hold_on, register_legal_hold
from domain.actions.staff import end_staff
from domain.errors import Conflict, NotAllowed, RuleBroken
from domain.records.base import row_of
from domain.records.documents import Attachment, AttachmentStated, Document, DocumentStated
from domain.records.engine import Store
from domain.records.journal import ENTRIES_AFTER
from domain.records.permits import Permit, PermitStated
from domain.records.retention import LegalHold, LegalHoldStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.law.facts import key_of
from domain.rules.law.requirements import Activity, Occasion
from domain.rules.permits import Limit
from tests import makers
from tests.actions.of_animals import MISTAKE, bound_to, refusal
from tests.actions.test_documents import a_document, to
from tests.behind import proven
from tests.counting import counted

pytestmark = pytest.mark.usefixtures("organisation")

STATED = {
    "kind": "keeping",
    "jurisdiction": "XR-LOW",
    "authority": "Reed County",
    "number": "RC 2025/17",
    "holder": "Marshlight Trust",
    "issued_on": "2025-03-01",
    "valid_until": "2027-02-28",
    "inspected_on": "2025-02-20",
    "activities": ["hold", "display"],
    "total_number": 12,
    "note": "Original in the safe.",
}


def stated(**said: Any) -> PermitStated:
    return read_stated(PermitStated, json_text({**STATED, **said}))


def corrected(unit: Unit, found: Permit, **patch: Any) -> Permit:
    now = unit.fetch(Permit, found.id)
    return change_permit(unit, found.id, patch, expected_version=now.version)


def test_a_permit_is_registered_corrected_and_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit)
        site = makers.site(unit)
        made = register_permit(unit, stated(site_id=str(site.id)))

        assert (made.valid_from, made.site_id, made.activities) == (date(2025, 3, 1), site.id, [Activity.HOLD, Activity.DISPLAY])
        changed = corrected(unit, made, withdrawn_on="2026-02-10", note="Withdrawn by letter.")
        assert (changed.withdrawn_on, changed.number, changed.version) == (date(2026, 2, 10), "RC 2025/17", 2)
        assert end_permit(unit, made.id, MISTAKE).ended_on == makers.NOON.date()
        assert refusal(corrected, unit, made, note="again") == ("ended", "")
    assert proven(store).flaws == []


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"kind": "unheard-of"}, ("kind-unknown", "/kind")),
        ({"kind": "no code"}, ("string-pattern-mismatch", "/kind")),
        ({"jurisdiction": "Reedland"}, ("string-pattern-mismatch", "/jurisdiction")),
        ({"valid_from": "2027-03-01"}, ("not-together", "/valid_until")),
        ({"valid_until": "2025-02-28"}, ("not-together", "/valid_until")),
        ({"used_on": "2025-02-28"}, ("not-together", "/used_on")),
        ({"withdrawn_on": "2025-02-28"}, ("not-together", "/withdrawn_on")),
        ({"activities": ["hold", "hold"]}, ("repeated", "/activities")),
        ({"activities": ["juggle"]}, ("not-one-of", "/activities/0")),
        ({"total_number": 0}, ("greater-than-equal", "/total_number")),
        ({"issued_on": "2026-03-02", "valid_until": None}, ("in-future", "/issued_on")),
        ({"inspected_on": "2026-03-02"}, ("in-future", "/inspected_on")),
        ({"used_on": "2026-03-02"}, ("in-future", "/used_on")),
        ({"withdrawn_on": "2026-03-02"}, ("in-future", "/withdrawn_on")),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(store: Store, said: dict[str, Any], expected: tuple[str, str]) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit)

        assert refusal(lambda: register_permit(unit, stated(**said))) == expected


def test_a_permit_may_be_good_from_a_day_to_come(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit)

        assert register_permit(unit, stated(valid_from="2026-06-01")).valid_from == date(2026, 6, 1)


def test_today_is_that_of_the_permits_site(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        # NOON is 2 March 01:00 in Auckland.
        makers.document_kind(unit)
        auckland = makers.site(unit, zone="Pacific/Auckland")

        assert register_permit(unit, stated(site_id=str(auckland.id), withdrawn_on="2026-03-02"))
        assert refusal(lambda: register_permit(unit, stated(number="2", withdrawn_on="2026-03-02"))) == ("in-future", "/withdrawn_on")


def test_a_number_of_one_authority_and_kind_is_given_once_while_it_is_kept(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit)
        makers.document_kind(unit, "selling")
        first = register_permit(unit, stated())

        assert refusal(lambda: register_permit(unit, stated(number="rc  2025/17", authority="REED county"))) == ("already-there", "/number")
        assert register_permit(unit, stated(kind="selling"))
        assert register_permit(unit, stated(authority="Tern County"))
        second = register_permit(unit, stated(number="RC 2025/18"))
        assert refusal(corrected, unit, second, number="RC 2025/17") == ("already-there", "/number")
        assert corrected(unit, first, number="RC  2025/17").number == "RC  2025/17"
        end_permit(unit, first.id, MISTAKE)
        assert register_permit(unit, stated())


def test_the_database_itself_refuses_a_number_twice(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.permit(unit)
    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        unit.add(Permit(**{**row_of(made), "id": unit.new_id()}), action="register_permit")

    assert (refused.value.code, refused.value.faults[0].pointer) == ("already-there", "/number")


def test_a_kind_that_is_no_longer_known_is_kept(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.permit(unit)
        makers.behind(unit, "UPDATE document_kind SET ended_on = '2026-02-01'")

        assert corrected(unit, made, note="as it was").note == "as it was"
        assert refusal(corrected, unit, made, kind="other-kind") == ("kind-unknown", "/kind")
        assert refusal(lambda: register_permit(unit, stated(number="2"))) == ("kind-unknown", "/kind")


def test_a_renewal_names_the_permit_that_it_replaces_and_never_itself(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first = makers.permit(unit)
        second = makers.permit(unit, number="P-2", replaces_id=str(first.id))
        third = makers.permit(unit, number="P-3", replaces_id=str(second.id))

        for one in (first, second, third):
            assert refusal(corrected, unit, first, replaces_id=str(one.id)) == ("circular", "/replaces_id")
        assert refusal(corrected, unit, third, replaces_id=str(unit.new_id())) == ("reference-unknown", "/replaces_id")
        assert refusal(end_permit, unit, first.id, MISTAKE) == ("in-use", "")
        end_permit(unit, third.id, MISTAKE)
        assert refusal(lambda: makers.permit(unit, number="P-4", replaces_id=str(third.id))) == ("reference-ended", "/replaces_id")


def test_a_permit_names_a_site_and_a_holder_that_there_are(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit)
        ada, bo = makers.staff(unit), makers.staff(unit, name="B. Keeper")

        assert refusal(lambda: register_permit(unit, stated(site_id=str(unit.new_id())))) == ("reference-unknown", "/site_id")
        assert refusal(lambda: register_permit(unit, stated(holder_id=str(unit.new_id())))) == ("reference-unknown", "/holder_id")
        assert refusal(lambda: register_permit(unit, stated(holder_id=str(ada.id), holder=None))) == ("required", "/holder")
        made = register_permit(unit, stated(holder_id=str(ada.id), holder="Ada Keeper"))
        for other in (str(bo.id), None):
            assert refusal(corrected, unit, made, holder_id=other) == ("holder-fixed", "/holder_id")
        assert corrected(unit, made, holder="A. Keeper").holder == "A. Keeper"
        makers.staff(unit, name="C. Head", role="administrator")
        end_staff(unit, ada.id, MISTAKE)
        assert corrected(unit, made, note="left meanwhile").note == "left meanwhile"


def test_a_permit_elsewhere_is_beyond_reach(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        own = makers.permit(unit, site_id=str(here.id))
        others = [makers.permit(unit, number="P-2", site_id=str(there.id)), makers.permit(unit, number="P-3")]

    with store.transaction(bound_to(here)) as unit:
        assert corrected(unit, own, note="n").note == "n"
        for other in others:
            with pytest.raises(NotAllowed):
                corrected(unit, other, note="n")
            with pytest.raises(NotAllowed):
                end_permit(unit, other.id, MISTAKE)
            with pytest.raises(NotAllowed):
                makers.permit(unit, number="P-4", site_id=str(here.id), replaces_id=str(other.id))
            with pytest.raises(NotAllowed):
                corrected(unit, own, site_id=None if other.site_id is None else str(other.site_id))


def test_a_scan_is_attached_to_a_permit_and_goes_with_it_to_another_site(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        permit = makers.permit(unit, site_id=str(here.id))
        condition = makers.permit_condition(unit, permit)
        scans = [a_document(unit, first=to(permit.id, "permit")), a_document(unit, first=to(condition.id, "permit_condition"))]

        assert [one.site_id for one in scans] == [here.id, here.id]
        [attachment] = unit.all(Attachment, ATTACHMENTS_OF, document_id=scans[0].id)
        assert (attachment.subject, attachment.subject_id) == ("permit", permit.id)
        corrected(unit, permit, site_id=str(there.id))
        assert [unit.fetch(Document, one.id).site_id for one in scans] == [there.id, there.id]
        assert subject_site(unit, AttachmentStated(subject="permit", subject_id=permit.id)) == there.id
        with pytest.raises(RuleBroken, match="no such permit"):
            place_of(unit, DocumentStated(title="A scan"), first=to(unit.new_id(), "permit"))


def test_whatever_holds_a_permit_holds_what_belongs_to_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit, other = makers.permit(unit), makers.permit(unit, number="P-2")
        held, free = (makers.permit_condition(unit, one) for one in (permit, other))
        hold = register_legal_hold(unit, LegalHoldStated(kind="permit", subject_id=permit.id, why="an inquiry"))

        holds = unit.all(LegalHold, HOLDS)
        assert [one and one.id for one in (hold_on(unit, holds, held), hold_on(unit, holds, free))] == [hold.id, None]


def test_the_journal_holds_only_a_hash_of_who_holds_a_permit(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.permit(unit, holder="Canary Reed")
    with store.snapshot(makers.origin()) as unit:
        entries = unit.named(ENTRIES_AFTER, after=0, limit=100)

    assert [entry for entry in entries if '"register_permit"' in entry["content"]]
    assert not [entry for entry in entries if "canary" in entry["content"].lower()]
    assert proven(store).flaws == []


def test_the_rules_take_a_permit_with_all_that_belongs_to_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        genus = makers.taxon(unit, "Testudo", rank="genus")
        of = makers.taxon(unit, "Testudo fictiva", parent_id=str(genus.id))
        synonym = makers.taxon(unit, "Testudo  vetusta", accepted_id=str(of.id))
        other = makers.taxon(unit, "Emys ficta")
        animal = makers.animal(unit, of)
        makers.document_kind(unit)
        made = register_permit(unit, stated(site_id=str(site.id), used_on="2025-05-01"))
        makers.permit_taxon(unit, made, genus, number=9)
        makers.permit_taxon(unit, made, synonym, number=3)
        makers.permit_taxon(unit, made, other)
        makers.permit_animal(unit, made, animal)
        makers.permit_event(unit, made, happened_on="2025-06-02")
        makers.permit_event(unit, made, occasion="owner_change", happened_on="2025-06-01")

        [found] = permits_of(unit)

        assert (found.id, found.kind, found.number_text) == (made.id, "keeping", "RC 2025/17")
        assert (found.issued_on, found.valid_from, found.last_day) == (date(2025, 3, 1), date(2025, 3, 1), date(2027, 2, 28))
        assert (found.inspected_on, found.used_on, found.withdrawn_on) == (date(2025, 2, 20), date(2025, 5, 1), None)
        assert found.events == ((Occasion.OWNER_CHANGE, date(2025, 6, 1)), (Occasion.ADDRESS_CHANGE, date(2025, 6, 2)))
        assert (found.taxa, found.animal_ids, found.site_ids) == (
            frozenset((key_of("Emys ficta"),)),
            frozenset((animal.id,)),
            frozenset((site.id,)),
        )
        # The narrowest taxon first, under its accepted name.
        assert found.limits == (
            Limit(frozenset((key_of("Testudo fictiva"),)), 3, "Testudo fictiva"),
            Limit(frozenset((key_of("Testudo"),)), 9, "Testudo"),
        )
        assert (found.activities, found.number) == (frozenset((Activity.HOLD, Activity.DISPLAY)), 12)


def test_a_permit_that_lists_nothing_is_for_none_unless_it_is_for_any(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        listed, wide = makers.permit(unit, any_taxon=False), makers.permit(unit, number="P-2")

        def scopes() -> list[tuple[frozenset[str], int, tuple[Limit, ...]]]:
            return [(one.taxa, len(one.animal_ids), one.limits) for one in permits_of(unit)]

        anything, nothing = (frozenset(), 0, ()), (NO_TAXON, 0, ())
        assert scopes() == [nothing, anything]
        taxon = makers.permit_taxon(unit, listed, of)
        assert scopes()[0] == (frozenset((key_of(of.scientific_name),)), 0, ())
        end_permit_taxon(unit, taxon.id, MISTAKE, owner_id=listed.id)
        assert scopes() == [nothing, anything]
        named = makers.permit_animal(unit, listed, makers.animal(unit, of))
        assert scopes()[0] == (frozenset(), 1, ())
        end_permit_animal(unit, named.id, MISTAKE, owner_id=listed.id)
        assert scopes() == [nothing, anything]
        assert permits_of(unit)[1].site_ids == frozenset()
        assert refusal(makers.permit_taxon, unit, wide, of) == ("any-taxon", "/taxon_id")
        makers.permit_taxon(unit, listed, of)
        assert refusal(corrected, unit, listed, any_taxon=True) == ("taxa-listed", "/any_taxon")


def test_a_permit_that_was_taken_out_of_account_is_none_to_the_rules(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first, second = makers.permit(unit, any_taxon=False), makers.permit(unit, number="P-2")
        makers.permit_taxon(unit, first, makers.taxon(unit))
        makers.permit_event(unit, first)
        end_permit(unit, first.id, MISTAKE)

        assert [one.id for one in permits_of(unit)] == [second.id]


def test_two_thousand_permits_are_read_by_as_many_statements_as_one(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made, of = makers.permit(unit, any_taxon=False), makers.taxon(unit)
        part = makers.permit_taxon(unit, made, of, number=2)
        with counted(unit) as asked_of_one:
            permits_of(unit)
        ids = [unit.new_id() for _ in range(2000)]
        rows = [{**row_of(made), "id": one, "number_key": str(one)} for one in ids]
        unit.add_many(Permit, rows, action="import_permit")
        parts = [{**row_of(part), "id": unit.new_id(), "permit_id": one} for one in ids]
        unit.add_many(type(part), parts, action="import_permit_taxon")
        with counted(unit) as asked:
            found = permits_of(unit)

    assert (len(found), {one.limits[0].number for one in found}) == (2001, {2})
    assert asked.executed == asked_of_one.executed


def test_a_permit_is_granted_in_the_jurisdiction_of_its_kind_or_below_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.permit(unit, jurisdiction="XR-LOW:QUILLWATER", number="LOW")

        assert made.jurisdiction == "XR-LOW:QUILLWATER"
        assert refusal(makers.permit, unit, jurisdiction="XL", number="XL") == ("jurisdiction-of-kind", "/jurisdiction")
        assert refusal(corrected, unit, made, jurisdiction="XL") == ("jurisdiction-of-kind", "/jurisdiction")
