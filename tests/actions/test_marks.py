"""Marks: what is taken for a code, whose it is, and what becomes of it when its bearer dies."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from domain.actions.lives import EVENTS_OF, withdraw_event
from domain.actions.marks import change_mark, end_mark, record_mark
from domain.errors import Conflict, NotFound, Stale
from domain.records.animals import AnimalEvent
from domain.records.base import row_of
from domain.records.documents import Document, MediaType
from domain.records.engine import Store
from domain.records.marks import Mark, MarkKind, MarkReading
from domain.records.unit import Unit
from tests import makers
from tests.actions.of_animals import CHIP, MISTAKE, OTHER_CHIP, an_animal, bound_to, mark, refusal, refused_by

pytestmark = pytest.mark.usefixtures("organisation")

NOTCH = {"kind": "scute_notch", "code": "R1-L3", "scheme": "marginals from the head", "reading": None}
PHOTOGRAPH = {"kind": "photograph", "code": None, "view": "plastron", "scale_mm": 50.0, "reading": None}


def corrected(unit: Unit, found: Mark, **patch: Any) -> Mark:
    now = unit.fetch(Mark, found.id)
    return change_mark(unit, found.id, patch, owner_id=found.animal_id, expected_version=now.version)


def test_a_scanned_code_is_kept_as_fifteen_digits(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = record_mark(unit, an_animal(unit).id, mark(code="985 1120 0345 6789"))

        kept = unit.fetch(Mark, made.id)
        assert (kept.code, kept.reading, kept.warning) == (CHIP, MarkReading.SCANNER, None)
        assert kept.live_key == CHIP


@pytest.mark.parametrize("kind", ["transponder", "other_transponder"])
def test_a_transponder_that_no_scanner_read_is_typed_twice(store: Store, kind: str) -> None:
    code = CHIP if kind == "transponder" else "012345678"
    stated = {"kind": kind, "code": code, "reader": "125 kHz"}
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        def typed(**again: Any) -> Mark:
            return record_mark(unit, animal.id, mark(**stated | again))

        assert refusal(typed, reading=None) == ("required", "/code_again")
        assert refusal(typed, reading="typed_twice") == ("required", "/code_again")
        assert refusal(typed, reading="typed_twice", code_again=OTHER_CHIP) == ("codes-differ", "/code_again")
        assert refusal(typed, reading="scanner", code_again=OTHER_CHIP) == ("codes-differ", "/code_again")
        made = typed(reading=None, code_again=f" {code[:3]} {code[3:]}")
        assert made.reading is MarkReading.TYPED_TWICE
        assert not hasattr(made, "code_again")


@pytest.mark.parametrize(
    ("code", "why"),
    [("9851120O3456789", "code-not-digits"), ("98511200345678", "code-length"), ("985999999999999", "code-too-large")],
)
def test_what_is_no_code_is_refused(store: Store, code: str, why: str) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        refused = refused_by(record_mark, unit, animal.id, mark(code=code))
        assert (refused.code, refused.faults[0].pointer) == (why, "/code")
        assert refused.detail[0].isupper()


def test_a_test_code_and_one_of_no_country_are_taken_with_a_warning(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        assert "no legal mark" in str(record_mark(unit, animal.id, mark(code="999000000000001")).warning)
        stray = record_mark(unit, animal.id, mark(code="001000000000001"))
        assert "No country" in str(stray.warning)
        assert corrected(unit, stray, code="276000000000001", reading="scanner").warning is None


def test_an_older_transponder_has_its_own_form_and_its_reader(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        made = record_mark(unit, animal.id, mark(kind="other_transponder", code="4a1b*2c3d*4e", reader="125 kHz"))

        assert made.code == "4A1B2C3D4E"
        assert refusal(record_mark, unit, animal.id, mark(kind="other_transponder", code=CHIP, reader="x")) == ("code-length", "/code")
        assert refusal(mark, kind="other_transponder", code="012345678") == ("required", "/reader")


def test_marks_say_what_their_kind_needs() -> None:
    assert refusal(mark, **NOTCH | {"scheme": None}) == ("required", "/scheme")
    assert refusal(mark, **PHOTOGRAPH | {"view": None}) == ("required", "/view")
    assert refusal(mark, **PHOTOGRAPH | {"reading": "scanner"}) == ("not-together", "/reading")
    assert refusal(mark, kind="band", code=None, reading=None) == ("required", "/code")
    assert refusal(mark, until_reason="lost") == ("required", "/until_on")
    assert refusal(mark, until_on="2025-05-31") == ("not-together", "/until_on")


def test_photographs_and_notches_are_no_codes_that_only_one_may_bear(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        for animal in (one, other):
            assert record_mark(unit, animal.id, mark(**NOTCH)).live_key is None
            photograph = record_mark(unit, animal.id, mark(**PHOTOGRAPH))
            assert (photograph.view, photograph.scale_mm, photograph.code_key) == ("plastron", 50.0, None)


def test_a_code_on_another_living_animal_is_refused_and_that_animal_named(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        record_mark(unit, one.id, mark())

        refused = refused_by(record_mark, unit, other.id, mark(code="985 112003456789"))
        assert isinstance(refused, Conflict)
        assert (refused.code, refused.faults[0].pointer) == ("mark-taken", "/code")
        assert "T-1" in refused.detail
        again = refused_by(record_mark, unit, one.id, mark())
        assert (again.code, "this animal already" in again.detail) == ("mark-taken", True)


def test_whoever_does_not_reach_the_bearer_is_told_no_more_than_that_the_code_is_taken(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Saltings Hall")
        ours, theirs = an_animal(unit, "T-1", at=here), an_animal(unit, "T-2", at=there)
        record_mark(unit, theirs.id, mark())

    with store.transaction(bound_to(here)) as unit:
        refused = refused_by(record_mark, unit, ours.id, mark())

    assert refused.code == "mark-taken"
    assert "T-2" not in refused.detail


def test_tags_are_compared_within_their_kind_and_scheme(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        record_mark(unit, one.id, mark(kind="tag", code="B 12", scheme="yellow", reading=None))

        assert refusal(record_mark, unit, other.id, mark(kind="tag", code="b12", scheme="Yellow")) == ("mark-taken", "/code")
        assert record_mark(unit, other.id, mark(kind="tag", code="B 12", scheme="blue", reading=None)).code == "B 12"
        assert record_mark(unit, other.id, mark(kind="band", code="B 12", scheme="yellow", reading=None)).code == "B 12"


def test_a_mark_that_is_over_or_was_a_mistake_frees_its_code(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        lost = record_mark(unit, one.id, mark())
        lost = corrected(unit, lost, until_on="2025-08-01", until_reason="came out")
        assert lost.live_key is None
        wrong = record_mark(unit, other.id, mark())
        assert refusal(corrected, unit, lost, until_on=None, until_reason=None) == ("mark-taken", "/code")
        gone = end_mark(unit, wrong.id, MISTAKE, owner_id=other.id)
        assert (gone.live_key, gone.version, gone.end_reason) == (None, 2, "entered wrongly")
        assert corrected(unit, lost, until_on=None, until_reason=None).live_key == CHIP
        assert refusal(end_mark, unit, wrong.id, MISTAKE, owner_id=other.id)[0] == "ended"


def test_a_dead_animals_code_may_be_recorded_again(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        borne = record_mark(unit, one.id, mark())
        died = makers.event(unit, one, "died", "2025-10-01").event
        after = unit.fetch(Mark, borne.id)
        assert (after.live_key, str(after.until_on), after.closed_by_id) == (None, "2025-10-01", died.id)
        taken = record_mark(unit, other.id, mark())

    with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
        withdraw_event(unit, died.id, MISTAKE, owner_id=one.id)
    with store.transaction(makers.origin()) as unit:
        end_mark(unit, taken.id, MISTAKE, owner_id=other.id)
        withdraw_event(unit, died.id, MISTAKE, owner_id=one.id)
        assert unit.fetch(Mark, borne.id).live_key == CHIP


def test_what_a_dead_animal_bore_can_be_told_later_and_holds_again_if_it_lives(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        died = makers.event(unit, animal, "died", "2025-10-01").event
        told = record_mark(unit, animal.id, mark(is_primary=True))

        assert (str(told.until_on), told.closed_by_id, told.live_key, told.is_primary) == ("2025-10-01", died.id, None, True)
        assert corrected(unit, told, note="as the paper says").closed_by_id == died.id
        assert corrected(unit, told, until_on="2025-09-01").closed_by_id is None
        assert corrected(unit, told, until_on=None).closed_by_id == died.id
        withdraw_event(unit, died.id, MISTAKE, owner_id=animal.id)
        kept = unit.fetch(Mark, told.id)
        assert (kept.until_on, kept.live_key) == (None, CHIP)


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        ({"from_on": "2026-03-02"}, ("in-future", "/from_on")),
        ({"from_on": "2019-04-30"}, None),
        ({"until_on": "2026-03-02"}, ("in-future", "/until_on")),
        ({"from_on": "2025-05-01"}, None),
        ({"from_on": "2026-03-01"}, None),
        ({"until_on": "2026-03-01"}, None),
    ],
)
def test_a_mark_may_be_older_than_the_arrival_but_not_of_tomorrow(store: Store, days: dict[str, str], expected: Any) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        if expected is None:
            assert record_mark(unit, animal.id, mark(**days))
        else:
            assert refusal(record_mark, unit, animal.id, mark(**days)) == expected


@pytest.mark.parametrize("kind", ["died", "departed"])
def test_nothing_is_marked_after_its_end_but_what_was_before_it(store: Store, kind: str) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        early = record_mark(unit, animal.id, mark(**NOTCH))
        makers.event(unit, animal, kind, "2025-10-01")

        assert refusal(record_mark, unit, animal.id, mark(from_on="2025-10-02")) == ("after-end", "/from_on")
        assert refusal(corrected, unit, early, from_on="2025-10-02", until_on=None) == ("after-end", "/from_on")
        assert record_mark(unit, animal.id, mark(from_on="2025-10-01"))


def test_of_an_animal_that_was_never_here_nothing_is_said(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        (came,) = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)
        withdraw_event(unit, came.id, MISTAKE, owner_id=animal.id)

        assert refusal(record_mark, unit, animal.id, mark())[0] == "ended"


def test_a_new_primary_mark_takes_the_place_of_the_one_before(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        first = record_mark(unit, animal.id, mark(is_primary=True))
        record_mark(unit, other.id, mark(**NOTCH, is_primary=True))
        second = record_mark(unit, animal.id, mark(**NOTCH, is_primary=True))

        assert [unit.fetch(Mark, one.id).is_primary for one in (first, second)] == [False, True]
        corrected(unit, first, is_primary=True)
        assert [unit.fetch(Mark, one.id).is_primary for one in (first, second)] == [True, False]


def test_a_mark_that_is_over_is_primary_no_more(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        first = record_mark(unit, animal.id, mark(is_primary=True))

        over = {"until_on": "2025-08-01"}
        assert refusal(corrected, unit, first, **over, is_primary=True) == ("not-together", "/is_primary")
        assert corrected(unit, first, **over).is_primary is False
        assert refusal(record_mark, unit, animal.id, mark(code=OTHER_CHIP, is_primary=True, **over)) == ("not-together", "/is_primary")


def test_another_code_has_to_be_read_or_typed_twice_as_well(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = record_mark(unit, an_animal(unit).id, mark())

        assert refusal(corrected, unit, made, code=OTHER_CHIP) == ("required", "/code_again")
        assert refusal(corrected, unit, made, code=OTHER_CHIP, reading="typed_twice") == ("required", "/code_again")
        assert refusal(corrected, unit, made, code=OTHER_CHIP, code_again=CHIP) == ("codes-differ", "/code_again")
        assert refusal(corrected, unit, made, code_again=5) == ("not-text", "/code_again")
        assert refusal(corrected, unit, made, reading=None) == ("required", "/code_again")
        assert refusal(corrected, unit, made, colour="red") == ("unknown-field", "/colour")
        typed = corrected(unit, made, code=OTHER_CHIP, code_again=OTHER_CHIP)
        assert (typed.code, typed.reading, typed.live_key) == (OTHER_CHIP, MarkReading.TYPED_TWICE, OTHER_CHIP)
        assert corrected(unit, made, note="left thigh").reading is MarkReading.TYPED_TWICE
        assert corrected(unit, made, code="985 112003456788").reading is MarkReading.TYPED_TWICE
        assert corrected(unit, made, reading="scanner").reading is MarkReading.SCANNER


def test_a_tag_that_turns_out_to_be_a_transponder_has_to_be_read(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = record_mark(unit, an_animal(unit).id, mark(kind="tag", reading=None))

        assert refusal(corrected, unit, made, kind="transponder") == ("required", "/code_again")
        assert corrected(unit, made, kind="transponder", reading="scanner").kind is MarkKind.TRANSPONDER


def test_a_group_bears_no_transponder(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        group = an_animal(unit, "G-1", grouping="group", count=12)

        assert refusal(record_mark, unit, group.id, mark()) == ("individual-only", "/kind")
        made = record_mark(unit, group.id, mark(kind="elastomer", code="red dorsal", scheme="tank colours", reading=None))
        assert refusal(corrected, unit, made, kind="transponder", code=CHIP, reading="scanner") == ("individual-only", "/kind")


def test_a_mark_is_corrected_under_its_own_animal_and_at_its_version(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        made = record_mark(unit, one.id, mark())

        with pytest.raises(NotFound):
            change_mark(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1)
        with pytest.raises(NotFound):
            end_mark(unit, made.id, MISTAKE, owner_id=other.id)
        with pytest.raises(Stale):
            change_mark(unit, made.id, {"note": "n"}, owner_id=one.id, expected_version=2)


def test_a_photograph_shows_a_document_that_is_there_and_reached(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Saltings Hall")
        animal = an_animal(unit, at=here)
        ours, theirs = a_document(unit, here.id), a_document(unit, there.id)
        gone = unit.change(a_document(unit, here.id), {"ended_on": unit.origin.at.date()}, action="end_document")

    absent = ("reference-unknown", "/document_id")
    with store.transaction(bound_to(here)) as unit:
        for document_id in (theirs.id, gone.id, animal.id):
            assert refusal(record_mark, unit, animal.id, mark(**PHOTOGRAPH, document_id=str(document_id))) == absent
        made = record_mark(unit, animal.id, mark(**PHOTOGRAPH, document_id=str(ours.id)))
        assert made.document_id == ours.id
    with store.transaction(makers.origin()) as unit:
        unit.change(unit.fetch(Document, ours.id), {"ended_on": unit.origin.at.date()}, action="end_document")
        assert corrected(unit, made, note="sharp").document_id == ours.id


def test_of_two_who_record_one_code_at_once_the_database_refuses_the_second(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        made = record_mark(unit, one.id, mark(is_primary=True))

    for columns in ({"animal_id": other.id, "live_key": CHIP}, {"animal_id": one.id, "live_key": None}):
        twin = Mark.model_construct(**row_of(made) | columns | {"id": uuid4()})
        with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
            unit.add(twin, action="register_mark")


def a_document(unit: Unit, site_id: Any) -> Document:
    made = Document.model_construct(
        title="Plastron",
        note="",
        file_name="plastron.jpg",
        media_type=MediaType.JPEG,
        size_bytes=1,
        sha256="0" * 64,
        received_sha256="0" * 64,
        received_at=unit.origin.at,
        site_id=site_id,
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        created_at=unit.origin.at,
    )
    return unit.add(made, action="register_document")
