"""The transfer file of another installation becomes a draft: whole, or not at all, and with a question where there would be a guess."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from hashlib import sha256
from uuid import UUID

import pytest

from api.bodies.records import with_disclaimer
from api.bodies.transfers import Transfer
from api.issuing import Imprint
from api.transfer_papers import transfer_file_sheet
from domain.actions.marks import record_mark
from domain.records import transfers as records
from domain.records.journal import HEAD
from domain.records.marks import MarkEntered
from domain.records.nights import Report, ReportKind, WorkState
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.taxa import Taxon
from domain.rules.permissions import Role
from domain.rules.transfers import TransferStage
from reports.transfer_file import transfer_file_pdf
from reports.transfer_file.sheet import ATTACHMENT_NAME, Licence, MarkToRead
from tests import makers, people
from tests.pictures import png
from tests.transfer_files import CODE, PAPER, THEIR_TRANSFER, animal, file_of, file_with, paper, pdf_with, plain_animal, sheet

PATH = "/v1/transfer-files"
HERE = "2026-02-01"


@pytest.fixture
def settings(settings, tmp_path):
    return settings.model_copy(update={"document_folder": tmp_path / "documents", "imports_per_hour": 0})


@pytest.fixture
def taxon_id(store, site_id):
    """Return the id of the taxon that the file's animals are of."""
    with store.transaction(makers.origin()) as unit:
        return str(makers.taxon(unit, "Boa ficta", hazard="harmless").id)


@pytest.fixture
def on_record(store, site_id, taxon_id):
    """Return a function that has an animal be on record with a transponder and as much of a life as events tell."""

    def make(*events, tag="F-1", code=CODE):
        with store.transaction(makers.origin()) as unit:
            place = makers.enclosure(unit, unit.fetch(Site, UUID(site_id)), name=f"E of {tag}")
            found = makers.animal(unit, unit.fetch(Taxon, UUID(taxon_id)), tag=tag, enclosure_id=str(place.id), acquired_on=HERE)
            if code is not None:
                mark = {"kind": "transponder", "code": code, "from_on": HERE, "reading": "scanner"}
                record_mark(unit, found.id, read_stated(MarkEntered, json_text(mark)))
            for kind, on in events:
                makers.event(unit, found, kind, on, **({"basis": "gift"} if kind == "departed" else {}))
            return str(found.id)

    return make


def kept(client, content, **attached):
    """Keep a file as a document and return its id."""
    sent = client.request("POST", "/v1/documents", files={"file": ("file.pdf", content)}, data={"title": "A transfer file", **attached})
    assert sent.status_code == 201, sent.text
    return sent.json()["id"]


def read(client, content, site_id, **said):
    return client.post(PATH, {"document_id": kept(client, content), "to_site_id": site_id, **said})


def done(answer):
    assert answer.status_code in {200, 201}, answer.text
    return answer.json()


def refused(answer):
    """Return the status, the code and the faults of a refusal."""
    told = answer.json()
    return answer.status_code, told["code"], [(one["pointer"], one["code"]) for one in told["errors"]]


def part(client, made, name):
    return client.get(f"/v1/transfers/{made['id']}/{name}").json()["items"]


def position(store):
    """Return how many journal entries the organisation has."""
    with store.snapshot(makers.origin()) as unit:
        return unit.row(HEAD)[0]


# ----------------------------------------------------------------------------------------------------------- what is kept


def test_what_one_organisation_printed_another_reads(client, store, site_id):
    """Theirs is a placement of a marked boa and of a clutch, with a certificate; here its taxon is known by an older name."""
    theirs = makers.organisation(store, organisation_id=2, name="Fen Rescue")
    with store.transaction(makers.origin(organisation_id=theirs)) as unit:
        site = makers.site(unit, name="Fen House", jurisdiction="XR")
        taxon = makers.taxon(unit, "Boa ficta", hazard="harmless")
        home = makers.enclosure(unit, site)
        boa = makers.animal(unit, taxon, tag="F-1", enclosure_id=str(home.id), acquired_on=HERE, hatched_on="2020-06-01")
        mark = {"kind": "transponder", "code": CODE, "from_on": HERE, "reading": "scanner"}
        record_mark(unit, boa.id, read_stated(MarkEntered, json_text(mark)))
        young = makers.group(unit, taxon, 9, tag="F-9", enclosure_id=str(home.id), acquired_on=HERE)
        plan = makers.transfer(unit, site, None, basis="placement", party="Marshlight Trust")
        for one in (boa, young):
            makers.transfer_animal(unit, plan, one)
        makers.transfer_paper(unit, plan)
        content = transfer_file_pdf(transfer_file_sheet(unit, plan.id, report_id=plan.id, imprint=Imprint(), filed_at=site.id))
    with store.transaction(makers.origin()) as unit:
        accepted = makers.taxon(unit, "Boa nova")
        makers.taxon(unit, "Boa ficta", accepted_id=str(accepted.id))

    made = done(read(client, content, site_id))

    assert (made["party"], made["basis"], made["from_site_id"]) == ("Fen Rescue", "placement", None)
    first, second = part(client, made, "animals")
    assert (first["tag"], first["transponder"], first["hatched_on"], first["taxon_id"]) == ("F-1", CODE, "2020-06-01", str(accepted.id))
    assert (second["tag"], second["grouping"], second["number"]) == ("F-9", "group", 9)
    assert [one["number"] for one in part(client, made, "papers")] == ["H-1"]


def test_a_file_becomes_a_draft_with_its_animals_its_papers_and_its_document(client, site_id, taxon_id):
    content = file_of()
    document_id = kept(client, content)

    answer = client.post(PATH, {"document_id": document_id, "to_site_id": site_id})

    assert answer.status_code == 201, answer.text
    shown = with_disclaimer(Transfer).model_validate_json(answer.content)
    assert (shown.stage, shown.basis, shown.reference, shown.party) == ("draft", "gift", "FEN-12", "Fen Rescue")
    assert (str(shown.to_site_id), shown.from_site_id, str(shown.site_id)) == (site_id, None, site_id)
    assert (shown.party_licence, str(shown.party_licence_until), shown.party_address) == (
        "L-77",
        "2027-01-31",
        "Fen House\n1 Sluice Lane\nFen",
    )
    assert (str(shown.dispatch_on), str(shown.arrive_on), shown.buffer_days, shown.report_after_days) == (
        "2026-03-10",
        "2026-03-11",
        3,
        [7, 30],
    )
    assert (shown.carrier, shown.carrier_authorisation, shown.least_c, shown.most_c) == ("Fen Carriers", "C-1", 20.0, 28.0)
    assert shown.source == {
        "document_id": document_id,
        "sha256": sha256(content).hexdigest(),
        "paper_id": PAPER,
        "transfer_id": THEIR_TRANSFER,
        "form_version": 2,
        "seal": "none",
        "sealed_with": None,
        "check_at": f"https://fen.example/v/{PAPER}",
    }
    assert answer.headers["Location"] == f"/v1/transfers/{shown.id}"
    assert client.get(answer.headers["Location"]).content == answer.content
    [line], [certificate] = part(client, answer.json(), "animals"), part(client, answer.json(), "papers")
    assert (line["animal_id"], line["taxon_id"], line["tag"], line["transponder"]) == (None, taxon_id, "F-1", CODE)
    assert (line["sex"], line["hatched_on"], line["hatched_precision"], line["mass_g"]) == ("female", "2020-06-01", "month", 1510.5)
    assert (certificate["number"], certificate["valid_until"], certificate["document_id"]) == ("H-7", "2026-04-01", None)
    assert "ab" * 32 in certificate["note"]
    [attachment] = client.get(f"/v1/documents/{document_id}/attachments").json()["items"]
    assert (attachment["subject"], attachment["subject_id"], attachment["role"]) == ("transfer", str(shown.id), "transfer file")
    assert client.get(f"/v1/documents/{document_id}").json()["site_id"] == site_id


def test_codes_of_the_law_that_are_on_record_are_kept_and_others_are_said_in_the_note(client, store, site_id, taxon_id):
    papers = (paper(kind="health", requirement_code="XR-1"), paper(kind="transit", kind_title="Transit slip", requirement_code="ZZ-9"))
    with store.transaction(makers.origin()) as unit:
        makers.requirement(unit, "XR-1")
        makers.document_kind(unit, "health")

    made = done(read(client, file_of(papers=papers), site_id))

    assert made["party_jurisdiction"] == "XR"
    first, second = part(client, made, "papers")
    assert (first["kind"], first["requirement_code"]) == ("health", "XR-1")
    assert (second["kind"], second["requirement_code"]) == (None, None)
    assert [one for one in ("kind transit", "requirement ZZ-9", "Transit slip") if one not in second["note"]] == []


def test_a_law_that_is_not_on_record_is_left_open(client, site_id, taxon_id):
    made = done(read(client, file_of(), site_id))

    assert made["party_jurisdiction"] is None
    assert made["note"].startswith("The sender is under the law of XR, which is not on record here.")
    items = done(client.post(f"/v1/transfers/{made['id']}/check", {}))["items"]
    assert ("place_unknown", "party_jurisdiction") in {(one["code"], one["field"]) for one in items}


def test_a_carrier_whose_number_the_sender_does_not_know_stays_open_here_as_well(client, site_id, taxon_id):
    dated = Licence(number=None, title=None, sha256=None, until_on=date(2026, 12, 31), lapses=False)

    made = done(read(client, file_of(carriage=replace(sheet().carriage, authorisation=dated)), site_id))

    assert (made["carrier_authorisation"], made["carrier_until"]) == (None, "2026-12-31")
    items = done(client.post(f"/v1/transfers/{made['id']}/check", {}))["items"]
    assert "carrier_unauthorised" in {one["code"] for one in items}


def test_papers_are_for_the_animals_that_they_name(client, site_id, taxon_id):
    animals, papers = (plain_animal(4), plain_animal(2)), (paper(covers=(2,)), paper(covers=()))

    made = done(read(client, file_of(animals=animals, papers=papers), site_id))

    lines = {one["tag"]: one["id"] for one in part(client, made, "animals")}
    assert [one["transfer_animal_ids"] for one in part(client, made, "papers")] == [[lines["F-2"]], []]


def test_a_loan_comes_with_its_terms(client, site_id, taxon_id):
    made = done(read(client, file_of(basis="loan", due_back_on=date(2027, 3, 1), offspring_split="half each"), site_id))

    assert (made["basis"], made["due_back_on"], made["offspring_split"]) == ("loan", "2027-03-01", "half each")


def test_what_was_read_is_received_like_any_other_transfer(client, store, site_id, taxon_id):
    made = done(read(client, file_of(quarantine_days=None), site_id))
    with store.transaction(makers.origin()) as unit:
        found = unit.fetch(records.Transfer, UUID(made["id"]))
        unit.change(found, {"stage": TransferStage.DISPATCHED}, action="dispatch_transfer")
        place = str(makers.enclosure(unit, unit.fetch(Site, UUID(site_id)), name="Q 1").id)
    [line] = part(client, made, "animals")
    arrival = {"transfer_animal_id": line["id"], "mark": "900 008 800000017", "condition": "lively", "enclosure_id": place}

    done(client.post(f"/v1/transfers/{made['id']}/receive", {"arrivals": [{**arrival, "override_reason": "quarantine"}]}))

    [line] = part(client, made, "animals")
    came = client.get(f"/v1/animals/{line['animal_id']}").json()
    assert (came["tag"], came["taxon_id"], came["name_as_printed"]) == ("F-1", taxon_id, "Boa ficta")
    assert client.get(f"/v1/marks?code={CODE}").json()["items"][0]["animal_id"] == line["animal_id"]


def test_our_own_reference_may_be_said(client, site_id, taxon_id):
    assert done(read(client, file_of(), site_id, reference="T-2026-4"))["reference"] == "T-2026-4"


def test_a_reference_that_is_taken_is_told_where_it_can_be_said_otherwise(client, store, site_id, taxon_id):
    with store.transaction(makers.origin()) as unit:
        makers.transfer(unit, None, unit.fetch(Site, UUID(site_id)), reference="fen-12")

    answer = read(client, file_of(), site_id)

    assert answer.status_code == 409
    assert [one["pointer"] for one in answer.json()["errors"]] == ["/reference"]
    assert read(client, file_of(), site_id, reference="FEN-12 b").status_code == 201


def test_the_same_request_again_is_one_transfer(client, site_id, taxon_id):
    body, again = {"document_id": kept(client, file_of()), "to_site_id": site_id}, {"Idempotency_Key": "read once"}

    answers = [client.post(PATH, body, **again) for _ in range(2)]

    assert [one.status_code for one in answers] == [201, 201]
    assert answers[0].content == answers[1].content
    assert len(client.get("/v1/transfers").json()["items"]) == 1


def test_five_hundred_animals_are_read_in_one_go(client, site_id, taxon_id):
    animals = tuple(plain_animal(number) for number in range(1, 501))

    made = done(read(client, file_of(animals=animals), site_id))

    with_more = client.get(f"/v1/transfers/{made['id']}/animals?limit=200")
    assert len(with_more.json()["items"]) == 200


# --------------------------------------------------------------------------------------------------------- the questions


def test_what_the_file_leaves_open_is_asked_all_at_once_and_nothing_is_kept(client, store, site_id, on_record):
    on_record()
    new = plain_animal(2, scientific_name="Boa nova")
    document_id, before = kept(client, file_of(animals=(animal(), new))), position(store)

    answer = client.post(PATH, {"document_id": document_id, "to_site_id": site_id})

    assert refused(answer) == (
        422,
        "questions",
        [("/answers/taxa", "taxon-unknown"), ("/answers/animals", "code-borne"), ("/answers/animals", "tag-taken")],
    )
    assert "Boa nova, a species by the file, is not on record." in answer.json()["errors"][0]["detail"]
    assert position(store) == before
    assert client.get("/v1/transfers").json()["items"] == []


def test_a_name_is_answered_with_a_taxon_and_synonyms_are_followed(client, store, site_id):
    with store.transaction(makers.origin()) as unit:
        accepted = makers.taxon(unit, "Boa vera")
        makers.taxon(unit, "Boa ficta", accepted_id=str(accepted.id))
        old = makers.taxon(unit, "Boa vetus", accepted_id=str(accepted.id))
    both = (plain_animal(1), plain_animal(2, scientific_name="Boa nova"))
    answers = {"taxa": [{"scientific_name": "boa  NOVA", "taxon_id": str(old.id)}]}

    made = done(read(client, file_of(animals=both), site_id, answers=answers))

    lines = part(client, made, "animals")
    assert [one["taxon_id"] for one in lines] == [str(accepted.id)] * 2
    assert [one["name_as_printed"] for one in lines] == ["Boa ficta", "Boa nova"]


def test_a_name_of_another_rank_is_asked_about(client, site_id, taxon_id):
    answer = read(client, file_of(animals=(plain_animal(1, rank="subspecies"),)), site_id)

    assert refused(answer)[2] == [("/answers/taxa", "taxon-unknown")]
    assert "is on record as a species" in answer.json()["errors"][0]["detail"]
    answers = {"taxa": [{"scientific_name": "Boa ficta", "taxon_id": taxon_id}]}
    assert read(client, file_of(animals=(plain_animal(1, rank="subspecies"),)), site_id, answers=answers).status_code == 201


def test_a_tag_that_is_borne_here_is_asked_about_and_another_is_taken(client, site_id, on_record):
    on_record(code=None)
    content = file_of(animals=(plain_animal(1),))

    def answered(tag):
        return read(client, content, site_id, answers={"animals": [{"number": 1, "tag": tag}]})

    assert refused(read(client, content, site_id)) == (422, "questions", [("/answers/animals", "tag-taken")])
    assert refused(answered("f-1")) == (422, "questions", [("/answers/animals", "tag-taken")])
    assert part(client, done(answered("N-1")), "animals")[0]["tag"] == "N-1"


def test_a_tag_that_two_animals_of_the_file_bear_is_asked_about_for_the_second(client, site_id, taxon_id):
    both = (plain_animal(1, tag="F"), plain_animal(2, tag="f"), plain_animal(3))

    def answered(tag):
        return read(client, file_of(animals=both), site_id, answers={"animals": [{"number": 2, "tag": tag}]})

    assert refused(answered("F-3"))[:2] == (422, "questions")
    assert [one["tag"] for one in part(client, done(answered("G")), "animals")] == ["F", "G", "F-3"]


@pytest.mark.parametrize("life", [[], [("departed", "2026-02-10")], [("died", "2026-02-10")]])
def test_a_code_that_an_animal_on_record_bears_or_bore_is_never_passed_over(client, site_id, on_record, life):
    found = on_record(*life, tag="R-9")

    answer = read(client, file_of(), site_id)

    assert refused(answer) == (422, "questions", [("/answers/animals", "code-borne")])
    assert "R-9" in answer.json()["errors"][0]["detail"]
    assert found in answer.json()["errors"][0]["detail"]
    another = read(client, file_of(), site_id, answers={"animals": [{"number": 1, "is_another": True}]})
    [line] = part(client, done(another), "animals")
    assert (line["animal_id"], line["transponder"] is None) == (None, life == [])
    assert ("which another animal bears" in (line["other_mark"] or "")) == (life == [])


def test_a_second_transponder_and_one_written_otherwise_are_compared_as_well(client, site_id, on_record):
    on_record(tag="R-9")
    spelt = MarkToRead(kind="transponder", code="900 008 800 000 017", scheme=None, body_site=None, note="")
    first = MarkToRead(kind="transponder", code="900008800000099", scheme=None, body_site=None, note="")

    answer = read(client, file_of(animals=(animal(marks=(first, spelt)),)), site_id)

    assert refused(answer)[2] == [("/answers/animals", "code-borne")]


def test_a_code_that_two_animals_of_the_file_bear_is_asked_about_for_the_second(client, site_id, taxon_id):
    content = file_of(animals=(animal(), animal(2, tag="F-2")))

    assert refused(read(client, content, site_id)) == (422, "questions", [("/answers/animals", "code-borne")])
    made = done(read(client, content, site_id, answers={"animals": [{"number": 2, "is_another": True}]}))
    first, second = part(client, made, "animals")
    assert (first["transponder"], second["transponder"]) == (CODE, None)
    assert second["other_mark"].startswith(f"transponder {CODE} by its papers, which another animal bears")
    again = read(
        client, file_of(animals=(animal(tag="F-3"),), transfer_id=str(UUID(int=9)), paper_id=f"{PAPER[:-1]}x", reference="FEN-13"), site_id
    )
    assert "that is expected with another transfer" in again.json()["errors"][0]["detail"]


def test_a_code_of_before_the_standard_is_kept_as_such_codes_are_and_other_marks_beside_it_stay(client, site_id, on_record):
    on_record(code=None)
    older = MarkToRead(kind="other_transponder", code="0a1-b2c-3d4-e", scheme=None, body_site=None, note="")
    clip = MarkToRead(kind="scale_clip", code="V3 L", scheme=None, body_site=None, note="grown over,\nsee the photograph")
    odd = MarkToRead(kind="transponder", code="999", scheme=None, body_site=None, note="")

    made = done(read(client, file_of(animals=(animal(tag="X-1", marks=(odd, older, clip)),)), site_id))

    [line] = part(client, made, "animals")
    assert line["transponder"] == "0A1B2C3D4E"
    assert line["other_mark"] == "transponder 999; scale clip V3 L (grown over, see the photograph)"


def test_what_the_file_cannot_tell_in_one_line_is_cut_and_its_marks_are_never_lost(client, site_id, on_record):
    on_record(tag="R-9")
    clip = MarkToRead(kind="scale_clip", code="V3 L", scheme=None, body_site=None, note="")
    ring = MarkToRead(kind="transponder", code=CODE, scheme=None, body_site=None, note="")

    made = done(
        read(client, file_of(animals=(animal(marks=(ring, clip)),)), site_id, answers={"animals": [{"number": 1, "is_another": True}]})
    )

    [line] = part(client, made, "animals")
    assert line["other_mark"] == f"transponder {CODE} by its papers, which another animal bears; scale clip V3 L"


@pytest.mark.parametrize(
    "address", ["https://a b/v/1", "https://good.example/\u202egro.live", "http://user:pw@fen.example/v/1", "javascript:x"]
)
def test_no_address_is_kept_that_a_browser_would_take_for_another(client, site_id, taxon_id, address):
    assert done(read(client, file_with(lambda told: told.update(check_at=address)), site_id))["source"]["check_at"] is None


def test_an_animal_that_comes_back_is_the_one_on_record(client, site_id, on_record):
    found = on_record(("departed", "2026-02-10"), tag="R-9")

    made = done(read(client, file_of(), site_id, answers={"animals": [{"number": 1, "animal_id": found}]}))

    [line] = part(client, made, "animals")
    assert (line["animal_id"], line["taxon_id"], line["tag"], line["transponder"]) == (found, None, None, None)
    assert line["note"].startswith("Bites when lifted.")


def test_an_animal_on_loan_that_is_known_by_its_tag_alone_comes_back_as_itself(client, site_id, on_record):
    found = on_record(("sent_away", "2026-02-10"), code=None)
    content = file_of(animals=(plain_animal(1),))

    made = done(read(client, content, site_id, answers={"animals": [{"number": 1, "animal_id": found}]}))

    assert part(client, made, "animals")[0]["animal_id"] == found


def test_an_animal_that_is_here_cannot_be_the_one_that_comes(client, site_id, on_record):
    found = on_record(tag="R-9")

    answer = read(client, file_of(), site_id, answers={"animals": [{"number": 1, "animal_id": found}]})

    assert refused(answer) == (422, "answers-unfit", [("/answers/animals/0/animal_id", "not-away")])


def test_one_animal_cannot_come_twice(client, site_id, on_record):
    found = on_record(("departed", "2026-02-10"), tag="R-9")
    both = (animal(), animal(2))

    answer = read(
        client, file_of(animals=both), site_id, answers={"animals": [{"number": number, "animal_id": found} for number in (1, 2)]}
    )

    assert refused(answer) == (422, "file-unfit", [("/file/animals/1/animal_id", "already-there")])


@pytest.mark.parametrize(
    ("answers", "pointer", "code"),
    [
        ({"taxa": [{"scientific_name": "Boa ficta", "taxon_id": "{taxon}"}]}, "/answers/taxa/0/scientific_name", "not-asked"),
        ({"taxa": [{"scientific_name": "Boa nova", "taxon_id": "{nothing}"}]}, "/answers/taxa/0/taxon_id", "reference-unknown"),
        ({"taxa": [{"scientific_name": "Boa nova", "taxon_id": "{taxon}"}] * 2}, "/answers/taxa/1", "repeated"),
        ({"animals": [{"number": 9, "tag": "N"}]}, "/answers/animals/0/number", "not-asked"),
        ({"animals": [{"number": 1, "tag": "N"}]}, "/answers/animals/0/tag", "not-asked"),
        ({"animals": [{"number": 1, "is_another": True}]}, "/answers/animals/0/is_another", "not-asked"),
        ({"animals": [{"number": 1, "animal_id": "{other}"}]}, "/answers/animals/0/animal_id", "not-asked"),
        ({"animals": [{"number": 1, "animal_id": "{nothing}"}]}, "/answers/animals/0/animal_id", "not-asked"),
        ({"animals": [{"number": 2, "tag": "N"}] * 2}, "/answers/animals/1", "repeated"),
    ],
)
def test_an_answer_that_fits_no_question_is_refused_by_its_place(client, site_id, taxon_id, on_record, answers, pointer, code):
    ids = {"{taxon}": taxon_id, "{nothing}": "019ca945-0a00-7303-9a41-d18b21ab2c01", "{other}": on_record(tag="F-2", code=None)}
    said = {
        name: [{key: ids.get(value, value) if isinstance(value, str) else value for key, value in one.items()} for one in listed]
        for name, listed in answers.items()
    }
    both = (plain_animal(1), plain_animal(2, scientific_name="Boa nova"))

    answer = read(client, file_of(animals=both), site_id, answers=said)

    assert (answer.status_code, answer.json()["code"]) == (422, "answers-unfit")
    assert (pointer, code) in refused(answer)[2]


@pytest.mark.parametrize(
    ("answer", "pointer"),
    [
        ({"number": 1}, "/answers/animals/0/tag"),
        ({"number": 1, "animal_id": "019ca945-0a00-7303-9a41-d18b21ab2c01", "is_another": True}, "/answers/animals/0/is_another"),
        ({"number": 1, "animal_id": "019ca945-0a00-7303-9a41-d18b21ab2c01", "tag": "N"}, "/answers/animals/0/tag"),
        ({"number": 0, "tag": "N"}, "/answers/animals/0/number"),
    ],
)
def test_an_answer_that_says_nothing_or_two_things_is_refused(client, site_id, answer, pointer):
    body = {"document_id": site_id, "to_site_id": site_id, "answers": {"animals": [answer]}}

    assert [one[0] for one in refused(client.post(PATH, body))[2]] == [pointer]


# ----------------------------------------------------------------------------------------------------- what is read once


def test_a_file_is_read_once_while_its_transfer_is_kept(client, site_id, taxon_id):
    made = done(read(client, file_of(), site_id))

    again = read(client, file_of(), site_id, reference="another")
    same_paper = read(client, file_of(reference="FEN-13"), site_id)

    for answer in (again, same_paper):
        assert refused(answer) == (409, "read-already", [("/document_id", "read-already")])
        assert "FEN-12" in answer.json()["detail"]
    done(client.post(f"/v1/transfers/{made['id']}/end", {"reason": "called off"}))
    assert read(client, file_of(), site_id).status_code == 201


def test_of_two_readings_at_once_one_is_kept(client, site_id, taxon_id):
    document_id = kept(client, file_of())
    bodies = [{"document_id": document_id, "to_site_id": site_id, "reference": f"T-{number}"} for number in range(2)]

    with ThreadPoolExecutor(2) as both:
        answers = list(both.map(lambda body: client.post(PATH, body).status_code, bodies))

    assert sorted(answers) == [201, 409]


def test_a_file_that_was_read_for_a_site_beyond_reach_is_not_named(client, caller, store, site_id, taxon_id):
    done(read(client, file_of(), site_id))
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Tern Point").id)
    curator = people.signed_in(caller, people.person(store, "mo", role=Role.CURATOR, site_id=other))
    document_id = kept(curator, file_of(), subject="site", subject_id=other)

    answer = curator.post(PATH, {"document_id": document_id, "to_site_id": other})

    assert refused(answer)[:2] == (409, "read-already")
    assert "FEN-12" not in answer.text


def test_a_file_of_ones_own_is_refused(client, store, site_id, taxon_id):
    with store.transaction(makers.origin()) as unit:
        ours = makers.transfer(unit, unit.fetch(Site, UUID(site_id)), None)
        facts = {"organisation_id": unit.organisation_id, "created_at": unit.origin.at, "local_date": makers.NOON.date()}
        report = Report(
            id=unit.new_id(), kind=ReportKind.TRANSFER_FILE, state=WorkState.WAITING, transfer_id=ours.id, paper_id="1-own", **facts
        )
        unit.add(report, action="ask_for_report")

    by_paper, by_transfer = (read(client, file_of(**facts), site_id) for facts in ({"paper_id": "1-own"}, {"transfer_id": str(ours.id)}))

    assert [refused(one) for one in (by_paper, by_transfer)] == [(422, "own-file", [("/document_id", "own-file")])] * 2


def test_another_organisation_of_this_installation_reads_our_file(client, stranger, store, site_id, taxon_id):
    done(read(client, file_of(), site_id))
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        there = str(makers.site(unit).id)
        makers.taxon(unit, "Boa ficta", hazard="harmless")

    assert read(stranger, file_of(), there).status_code == 201


# ------------------------------------------------------------------------------------------------------- all or nothing


def test_nothing_is_kept_where_the_last_paper_cannot_be(client, store, site_id, taxon_id):
    papers = (paper(), paper(issued_on=date(2026, 3, 2), inspected_on=None))
    document_id, before = kept(client, file_of(papers=papers)), position(store)

    answer = client.post(PATH, {"document_id": document_id, "to_site_id": site_id})

    assert refused(answer) == (422, "file-unfit", [("/file/papers/1/issued_on", "in-future")])
    assert position(store) == before
    assert client.get("/v1/transfers").json()["items"] == []
    assert client.get(f"/v1/documents/{document_id}/attachments").json()["items"] == []


def test_all_that_cannot_be_kept_is_told_at_once(client, site_id, taxon_id):
    animals = (plain_animal(1, hatched_on=date(2027, 1, 1)), plain_animal(2, hatched_on=date(2027, 1, 1)))

    answer = read(client, file_of(animals=animals, papers=(paper(issued_on=date(2026, 3, 2), inspected_on=None),)), site_id)

    assert refused(answer)[2] == [
        ("/file/animals/0/hatched_on", "in-future"),
        ("/file/animals/1/hatched_on", "in-future"),
        ("/file/papers/0/issued_on", "in-future"),
    ]


# ------------------------------------------------------------------------------------------------------ what is refused


def of_version_three(told):
    told["form_version"] = 3


@pytest.mark.parametrize(
    ("content", "pointer", "code"),
    [
        (png(), "/document_id", "no-transfer-file"),
        (pdf_with(), "/document_id", "no-transfer-file"),
        (pdf_with((ATTACHMENT_NAME, b"{}"), (ATTACHMENT_NAME, b"{}")), "/document_id", "attached-twice"),
        (pdf_with((ATTACHMENT_NAME, b"{}"), also=lambda writer: writer.encrypt("x")), "/document_id", "pdf-encrypted"),
        (pdf_with((ATTACHMENT_NAME, b" " * 4_000_001)), "/document_id", "file-too-large"),
        (b"%PDF-1.7\n" + b"\0" * 10_000_000 + b"\n%%EOF\n", "/document_id", "file-too-large"),
        (b"%PDF-1.7\n[[[[\n%%EOF\n", "/document_id", "pdf-unreadable"),
        (pdf_with((ATTACHMENT_NAME, b"\xff\xfe{")), "/document_id", "not-utf-8"),
        (pdf_with((ATTACHMENT_NAME, b"{}")), "/file/form", "no-transfer-file"),
        (file_with(of_version_three), "/file/form_version", "form-version"),
        (file_of(basis="move"), "/file/basis", "own-file"),
    ],
)
def test_a_document_that_is_no_transfer_file_to_be_read_is_refused_and_stays_a_document(client, store, site_id, content, pointer, code):
    document_id = kept(client, content)
    before = position(store)

    answer = client.post(PATH, {"document_id": document_id, "to_site_id": site_id})

    assert answer.status_code == 422
    assert refused(answer)[2] == [(pointer, code)]
    assert position(store) == before
    assert client.get(f"/v1/documents/{document_id}").status_code == 200


def test_a_document_or_site_that_there_is_not_is_refused_by_its_field(client, stranger, site_id, taxon_id):
    theirs, ours = kept(stranger, file_of()), kept(client, file_of())
    done(client.post(f"/v1/documents/{ours}/end", {"reason": "a slip"}))

    def asked(document_id, to=site_id):
        return refused(client.post(PATH, {"document_id": document_id, "to_site_id": to}))

    assert asked(theirs) == (422, "reference-unknown", [("/document_id", "reference-unknown")])
    assert asked(ours) == (422, "reference-ended", [("/document_id", "reference-ended")])
    assert asked(kept(client, file_of()), THEIR_TRANSFER) == (422, "reference-unknown", [("/to_site_id", "reference-unknown")])


def test_who_does_not_reach_the_site_or_the_document_reads_nothing(client, caller, store, site_id, taxon_id):
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Tern Point").id)
    curator = people.signed_in(caller, people.person(store, "mo", role=Role.CURATOR, site_id=other))
    keeper = people.signed_in(caller, people.person(store, "nils", role=Role.KEEPER, site_id=site_id))
    here, nowhere = kept(client, file_of(), subject="site", subject_id=site_id), kept(client, file_of())

    for document_id, to in ((here, site_id), (here, other), (nowhere, other)):
        assert refused(curator.post(PATH, {"document_id": document_id, "to_site_id": to}))[:2] == (403, "other-site")
    assert refused(keeper.post(PATH, {"document_id": here, "to_site_id": site_id}))[:2] == (403, "not-allowed")
    own = kept(curator, file_of(), subject="site", subject_id=other)
    assert curator.post(PATH, {"document_id": own, "to_site_id": other}).status_code == 201


def test_a_file_that_is_not_there_is_a_fault_of_the_storage(client, site_id, tmp_path):
    document_id = kept(client, file_of())
    for path in (tmp_path / "documents").rglob("*"):
        if path.is_file():
            path.unlink()

    assert refused(client.post(PATH, {"document_id": document_id, "to_site_id": site_id}))[:2] == (503, "file-missing")


class TestLimits:
    @pytest.fixture
    def settings(self, settings):
        return settings.model_copy(update={"imports_per_hour": 2})

    def test_files_are_read_as_often_as_lists_are_imported(self, client, site_id):
        document_id = kept(client, pdf_with())

        answers = [client.post(PATH, {"document_id": document_id, "to_site_id": site_id}).status_code for _ in range(3)]

        assert answers == [422, 422, 429]


def test_a_later_file_of_a_transfer_that_was_read_is_not_read_beside_it(client, site_id, taxon_id):
    first = done(read(client, file_of(), site_id))

    answer = read(client, file_of(paper_id="77-wwwwwwwwwwwwwwwwwwww", reference="FEN-13"), site_id)

    assert answer.status_code == 409
    assert first["reference"] in answer.json()["detail"]


@pytest.mark.parametrize("stage", ["called_off", "received", "returned", "closed", "refused", "anything"])
def test_a_file_whose_animals_are_not_to_come_is_no_plan(client, site_id, taxon_id, stage):
    assert refused(read(client, file_of(stage=stage), site_id)) == (422, "not-to-come", [("/file/stage", "not-to-come")])


def test_a_file_that_says_it_is_sealed_and_is_not_is_refused(client, site_id, taxon_id):
    assert refused(read(client, file_of(sealed=True), site_id)) == (422, "seal-broken", [("/document_id", "seal-broken")])


def test_an_animal_of_another_species_is_not_taken_for_the_one_in_the_file(client, store, site_id, taxon_id, on_record):
    known = on_record(("departed", "2026-02-10"), tag="R-9")
    with store.transaction(makers.origin()) as unit:
        makers.taxon(unit, "Rana ficta")
    other = file_of(animals=(animal(scientific_name="Rana ficta"),))

    answer = read(client, other, site_id, answers={"animals": [{"number": 1, "animal_id": known}]})

    assert refused(answer) == (422, "answers-unfit", [("/answers/animals/0/animal_id", "other-taxon")])
