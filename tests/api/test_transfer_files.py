"""What a transfer file tells is read strictly: taken whole, or refused by the member that is at fault, however hostile it is."""

from __future__ import annotations

import copy
import json
from dataclasses import is_dataclass, replace
from datetime import date
from typing import get_args, get_type_hints
from uuid import UUID

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from api.bodies.transfer_files import TransferFile
from api.filing.attachments import Found
from api.filing.opened_pdf import Seal
from api.transfer_files import filed, transfer_file
from domain.errors import RuleBroken
from domain.records.transfers import ANIMALS_MOST, FileToRead
from reports.canonical import canonical_json
from reports.transfer_file.sheet import VERSION, Licence, MarkToRead, TransferFileSheet, Weight
from tests.transfer_files import CODE, PAPER, animal, paper, plain_animal, sheet

SAID = FileToRead(document_id=UUID(int=1), to_site_id=UUID(int=2))
RAW = canonical_json(sheet())


def told_by(value):
    """Return what is kept of a sheet, or of a JSON value or text."""
    if isinstance(value, TransferFileSheet):
        value = canonical_json(value)
    raw = value if isinstance(value, bytes) else json.dumps(value).encode()
    return filed(transfer_file(raw), Found(raw, Seal.NONE, None), SAID, sha256="0" * 64)


def faults(value):
    """Return the faults for which a file is refused, by their pointers."""
    with pytest.raises(RuleBroken) as caught:
        told_by(value)
    assert caught.value.faults
    return {one.pointer: one.code for one in caught.value.faults}


def changed(*path, to):
    """Return the JSON value of the file with one member changed; ``...`` takes it out."""
    value = within = json.loads(RAW)
    for part in path[:-1]:
        within = within[part]
    if to is ...:
        del within[path[-1]]
    else:
        within[path[-1]] = to
    return value


def described(shape):
    """Return the names of all members of a shape, be it a dataclass or a model, and of those of the shapes within it."""
    return {name: [described(one) for one in shapes_in(hint)] for name, hint in get_type_hints(shape).items() if name != "model_config"}


def shapes_in(hint):
    """Yield the shapes that a type is made of."""
    if is_dataclass(hint) or (isinstance(hint, type) and issubclass(hint, BaseModel)):
        yield hint
    for one in get_args(hint):
        yield from shapes_in(one)


def test_the_shape_has_the_members_of_the_sheet_and_no_others():
    assert described(TransferFile) == described(TransferFileSheet)


def test_what_has_a_field_goes_there_and_the_rest_into_notes():
    one = told_by(
        sheet(animals=(animal(marks=(*animal().marks, MarkToRead(kind="transponder", code="AB-1", scheme=None, body_site=None, note=""))),))
    )

    facts, note = one.animals[0].facts, one.animals[0].note
    assert (facts["transponder"], facts["mass_g"], facts["name_as_printed"]) == (CODE, 1510.5, "Boa ficta")
    assert facts["other_mark"] == "scale clip V3 L (ventral scales, grown over); transponder AB-1"
    assert note.splitlines() == [
        "Bites when lifted.",
        "Called: Fenja",
        "At the sender: bred here, since 1 June 2020",
        "Held: owned",
        "Locality: North Fen",
        "Hazard class at the sender: can injure",
        "Lived in: Hall 2, enclosure 7",
        "Marks: scale clip V3 L (ventral scales, grown over); transponder AB-1",
        "Measured where it lived, 3 February 2026: 3.1 UV index",
        "Dam: F-0 (Boa ficta), certain.",
        "14 February 2026: Ate two rats.",
        "1 February 2026: Shed in one piece.",
    ]
    assert (one.plan.party, one.plan.party_licence, one.plan.party_licence_until) == ("Fen Rescue", "L-77", date(2027, 1, 31))
    assert one.plan.note.splitlines() == [
        "Call before you come.",
        f"Read from the transfer file {PAPER}; the sender's reference is FEN-12.",
        "The sender is also licensed by L-78.",
    ]
    assert (one.source["seal"], one.source["check_at"]) == ("none", f"https://fen.example/v/{PAPER}")


def test_nobody_is_named_in_a_note_of_the_plan():
    one = told_by(sheet())

    assert not [name for name in ("Fen Rescue", "Reedmere", "keeper on duty", "driver") if name in one.plan.note]


def test_of_two_days_until_which_a_paper_is_good_the_earlier_counts():
    papers = (paper(valid_until=None), paper(good_until=date(2026, 3, 20)), paper(valid_until=None, good_until=None))

    assert [one.stated.valid_until for one in told_by(sheet(papers=papers)).papers] == [date(2026, 4, 1), date(2026, 3, 20), None]


def test_a_note_is_cut_where_it_is_full_and_its_end_says_so():
    history = animal().history * 400

    note = told_by(sheet(animals=(animal(history=history),))).animals[0].note

    assert 3990 < len(note) <= 4000
    assert note.endswith("…")


def test_the_latest_weight_counts_in_whichever_order_they_come():
    weights = (Weight(measured_on=date(2026, 1, 1), mass_g=2.0), Weight(measured_on=date(2026, 2, 1), mass_g=3.0))

    assert [told_by(sheet(animals=(animal(weights=w),))).animals[0].facts["mass_g"] for w in (weights, weights[::-1], ())] == [
        3.0,
        3.0,
        None,
    ]


def test_an_address_that_is_none_of_the_web_is_not_kept():
    assert told_by(sheet(check_at="javascript:alert(1)")).source["check_at"] is None
    assert told_by(sheet(check_at=None)).source["check_at"] is None


@pytest.mark.parametrize(
    ("path", "to", "pointer", "code"),
    [
        (("form",), "another-form", "/file/form", "no-transfer-file"),
        (("form",), ..., "/file/form", "no-transfer-file"),
        (("form_version",), VERSION + 1, "/file/form_version", "form-version"),
        (("form_version",), True, "/file/form_version", "form-version"),
        (("form_version",), "1", "/file/form_version", "form-version"),
        (("paper_id",), ..., "/file/paper_id", "required"),
        (("paper_id",), "", "/file/paper_id", "string-too-short"),
        (("more",), 1, "/file/more", "unknown-field"),
        (("__proto__",), {"basis": "sale"}, "/file/__proto__", "unknown-field"),
        (("sender", "name"), "x" * 121, "/file/sender/name", "string-too-long"),
        (("sender", "name"), "Fen\u202eRescue", "/file/sender/name", "hidden-character"),
        (("sender", "licences", 0, "lapses"), 1, "/file/sender/licences/0/lapses", "not-true-false"),
        (("sender", "jurisdiction"), "nowhere", "/file/sender/jurisdiction", "string-pattern-mismatch"),
        (("care",), "x" * 4001, "/file/care", "string-too-long"),
        (("dispatch_on",), "10.3.2026", "/file/dispatch_on", "not-date"),
        (("arrive_on",), "2026-03-09", "/file/arrive_on", "not-together"),
        (("transfer_id",), "one of theirs", "/file/transfer_id", "not-id"),
        (("basis",), "barter", "/file/basis", "not-one-of"),
        (("basis",), "move", "/file/basis", "own-file"),
        (("basis",), "loan", "/file/due_back_on", "required"),
        (("due_back_on",), "2027-01-01", "/file/due_back_on", "not-together"),
        (("carriage", "least_c"), 29.5, "/file/carriage/most_c", "not-together"),
        (("carriage", "most_c"), "28", "/file/carriage/most_c", "not-number"),
        (("report_after_days",), [7, 7], "/file/report_after_days", "repeated"),
        (("animals",), {}, "/file/animals", "not-list"),
        (("animals", 0, "count"), 2, "/file/animals/0/count", "not-together"),
        (("animals", 0, "count"), 0, "/file/animals/0/count", "greater-than-equal"),
        (("animals", 0, "sex"), "both", "/file/animals/0/sex", "not-one-of"),
        (("animals", 0, "tag"), None, "/file/animals/0/tag", "not-text"),
        (("animals", 0, "tag"), "\u200b", "/file/animals/0/tag", "hidden-character"),
        (("animals", 0, "weights", 0, "mass_g"), -1, "/file/animals/0/weights/0/mass_g", "greater-than"),
        (("animals", 0, "marks", 0, "kind"), "chip", "/file/animals/0/marks/0/kind", "not-one-of"),
        (("papers", 0, "covers"), [2], "/file/papers/0/covers", "reference-unknown"),
        (("papers", 0, "covers"), [1, 1], "/file/papers/0/covers", "repeated"),
        (("papers", 0, "inspected_on"), "2026-02-21", "/file/papers/0/inspected_on", "not-together"),
        (("papers", 0, "sha256"), "../../etc", "/file/papers/0/sha256", "string-pattern-mismatch"),
        (("papers", 0, "kind"), "<script>", "/file/papers/0/kind", "string-pattern-mismatch"),
    ],
)
def test_a_member_that_cannot_be_taken_is_named_by_its_place_in_the_file(path, to, pointer, code):
    assert faults(changed(*path, to=to)) == {pointer: code}


def test_a_file_of_another_version_says_which_it_has_and_which_is_read():
    with pytest.raises(RuleBroken, match="version 3 of its form; this installation reads versions 1 and 2"):
        told_by(changed("form_version", to=3))


def of_version_one(**facts):
    """Return the JSON value of a sheet as the first version of the form had it."""
    value = json.loads(canonical_json(sheet(**facts)))
    value["form_version"] = 1
    for licence in (*value["sender"]["licences"], value["carriage"]["authorisation"]):
        del licence["title"], licence["sha256"]
    for one in value["animals"]:
        del one["arrived_number"], one["arrived_dead"]
    return value


def test_a_file_of_the_first_version_is_read_and_tells_the_same():
    first, second = told_by(of_version_one()), told_by(sheet())

    assert (first.plan, first.animals, first.papers) == (second.plan, second.animals, second.papers)
    assert (first.source["form_version"], second.source["form_version"]) == (1, 2)


def test_a_carrier_is_authorised_by_a_number_alone():
    dated = Licence(number=None, title=None, sha256=None, until_on=date(2026, 12, 31), lapses=False)

    def carried(licence):
        return {"carriage": replace(sheet().carriage, authorisation=licence)}

    plans = [
        told_by(sheet(**carried(dated))).plan,
        told_by(of_version_one(**carried(replace(dated, number="authorised")))).plan,
        told_by(of_version_one(**carried(replace(dated, number="C-1")))).plan,
    ]

    assert [one.carrier_authorisation for one in plans] == [None, None, "C-1"]
    assert [one.carrier_until for one in plans] == [date(2026, 12, 31)] * 3


def test_of_the_senders_licences_one_that_has_a_number_comes_first():
    unnumbered = Licence(number=None, title=None, sha256=None, until_on=date(2026, 12, 31), lapses=False)
    sender = sheet().sender

    plan = told_by(sheet(sender=replace(sender, licences=(unnumbered, *sender.licences)))).plan
    alone = told_by(sheet(sender=replace(sender, licences=(unnumbered,)))).plan

    assert (plan.party_licence, alone.party_licence, alone.party_licence_until) == ("L-77", None, date(2026, 12, 31))
    assert plan.note.splitlines()[-1] == "The sender is also licensed by one whose number is not on record, until 31 December 2026."


def test_two_animals_of_one_number_are_refused():
    assert faults(sheet(animals=(animal(), plain_animal(1)))) == {"/file/animals/1/number": "repeated"}


def test_no_more_animals_are_taken_than_a_transfer_may_have():
    many = tuple(plain_animal(number) for number in range(1, ANIMALS_MOST + 2))

    assert len(told_by(sheet(animals=many[:-1])).animals) == ANIMALS_MOST
    assert faults(sheet(animals=many)) == {"/file/animals": "too-long"}


@pytest.mark.parametrize("wrong", [b"", b"null", b"[]", b'"text"', b"1", b"{}", b"[" * 100_000, b'{"form":' * 40 + b"1" + b"}" * 40])
def test_what_is_no_object_of_the_form_is_refused(wrong):
    assert len(faults(wrong)) == 1


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        (RAW.replace(b'"basis":"gift"', b'"basis":"gift","basis":"sale"'), "duplicate-field"),
        (RAW.replace(b"1510.5", b"NaN"), "not-json"),
        (RAW.replace(b"1510.5", b"1" * 5000), "not-json"),
        (RAW.replace(b"Fenja", b"\xff\xfe"), "not-utf-8"),
        (RAW.decode().encode("utf-16"), "not-utf-8"),
        (RAW.replace(b'"Fenja"', b"[" * 40 + b"]" * 40), "too-deep"),
    ],
)
def test_what_two_readers_could_read_differently_is_refused(raw, code):
    assert faults(raw) == {"/document_id": code}


def test_half_characters_and_numbers_that_are_not_exact_are_refused_by_their_member():
    assert faults(RAW.replace(b'"Fenja"', b'"\\ud800"')) == {"/file/animals/0/name": "half-character"}
    assert faults(RAW.replace(b"1510.5", b"1e999")) == {"/file/animals/0/weights/0/mass_g": "number-too-large"}


def test_a_file_that_was_cut_off_anywhere_is_refused():
    for end in range(0, len(RAW), 29):
        assert len(faults(RAW[:end])) == 1


def test_what_is_told_of_a_fault_stays_short_however_long_the_member_is():
    with pytest.raises(RuleBroken) as caught:
        told_by(changed("x" * 100_000, to=1))
    with pytest.raises(RuleBroken) as twice:
        told_by(RAW[:-1] + b',"%b":1,"%b":2}' % (b"y" * 100_000, b"y" * 100_000))

    assert max(len(f"{one.pointer}{one.detail}") for one in (*caught.value.faults, *twice.value.faults)) < 600
    assert len(caught.value.detail) < 600


def test_not_all_faults_of_a_file_are_told():
    value = json.loads(RAW)
    value["animals"] = [{**value["animals"][0], "number": number, "sex": "both"} for number in range(1, 200)]

    assert len(faults(value)) == 20


def places(value, before=()):
    """Yield where members and elements stand."""
    for key, one in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield (*before, key)
        yield from places(one, (*before, key))


PLACES = [*places(json.loads(RAW))]
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats()
    | st.text(max_size=9)
    | st.sampled_from(["gift", "2026-03-01", CODE]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["number", "tag", "__proto__"]) | st.text(max_size=5), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(max_examples=250, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(place=st.sampled_from(PLACES), value=JSON, goes=st.booleans())
def test_one_member_that_is_anything_is_taken_or_refused_and_never_a_defect(place, value, goes):
    made = copy.deepcopy(json.loads(RAW))
    within = made
    for part in place[:-1]:
        within = within[part]
    if goes:
        del within[place[-1]]
    else:
        within[place[-1]] = value

    assert where_it_fails(json.dumps(made).encode()) in {None, "file", "document_id"}


def where_it_fails(raw):
    """Return into what the faults lead for which a file is refused, ``None`` where it is taken."""
    try:
        told_by(raw)
    except RuleBroken as refused:
        [into] = {one.pointer.split("/")[1] for one in refused.faults}
        return into
    return None
