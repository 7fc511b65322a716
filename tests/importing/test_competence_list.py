"""A list of competences: of whom, since when and until when; and the same list again."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.competences import end_competence
from domain.actions.recording import Ending
from domain.actions.staff import end_staff
from domain.records.competences import Competence
from domain.records.staff import Staff
from tests import makers
from tests.importing.conftest import codes, counts

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = "staff title hazard from_on expires_on assessed_by note"
SNAKES = ["ada MARSH", "Venomous snakes", "venomous", "2025-06-01", "2027-05-31", "B. Assessor", "hook and tube"]
FIRST_AID = ["Ada Marsh", "First aid", "", "2025-01-10", "", "", ""]


@pytest.fixture
def assessed(listed):
    return lambda *rows, **rest: listed("competences", HEADINGS, *rows, **rest)


def competences(stored):
    return {row["title"]: row for row in stored(Competence)}


def test_competences_come_in(assessed, stored):
    assert counts(assessed(SNAKES, FIRST_AID)) == (2, 0, 0, 0)
    found, (ada,) = competences(stored), stored(Staff)
    snakes = found["Venomous snakes"]
    assert (snakes["staff_id"], snakes["hazard"].value, snakes["from_on"]) == (ada["id"], "venomous", date(2025, 6, 1))
    assert (snakes["expires_on"], snakes["assessed_by"], found["First aid"]["hazard"]) == (date(2027, 5, 31), "B. Assessor", None)


def test_the_same_list_again_changes_nothing(assessed, stored):
    assessed(SNAKES, FIRST_AID)
    before = stored(Competence)

    assert counts(assessed(FIRST_AID, SNAKES)) == (0, 0, 2, 0)
    assert counts(assessed([SNAKES[0], "venomous  SNAKES", *SNAKES[2:]])) == (0, 0, 1, 0)
    assert stored(Competence) == before


def test_blank_keeps_and_a_later_assessment_is_another_competence(assessed, stored):
    assessed(SNAKES)

    report = assessed([*SNAKES[:4], "2026-12-31", "", ""], ["Ada Marsh", "Venomous snakes", "venomous", "2026-02-01", "", "", ""])

    assert counts(report) == (1, 1, 0, 0)
    first = next(row for row in stored(Competence) if row["from_on"] == date(2025, 6, 1))
    assert (first["expires_on"], first["assessed_by"], first["note"]) == (date(2026, 12, 31), "B. Assessor", "hook and tube")


@pytest.mark.parametrize(
    ("changed", "column", "code"),
    [
        ({"staff": ""}, "staff", "staff-missing"),
        ({"staff": "Nobody"}, "staff", "staff-unknown"),
        ({"title": ""}, "title", "title-missing"),
        ({"hazard": "itchy"}, "hazard", "hazard-unknown"),
        ({"from_on": ""}, "from_on", "from_on-missing"),
        ({"from_on": "2026-03-02"}, "from_on", "in-future"),
        ({"expires_on": "2025-05-31"}, "expires_on", "not-together"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(assessed, stored, changed, column, code):
    row = [changed.get(name, cell) for name, cell in zip(HEADINGS.split(), SNAKES, strict=True)]

    assert (codes(assessed(row)), stored(Competence)) == ([(0, column, code)], [])


def test_a_name_that_two_people_bear_tells_neither(assessed, store):
    with store.transaction(makers.origin()) as unit:
        makers.staff(unit, name="Ada Marsh")

    assert codes(assessed(SNAKES)) == [(0, "staff", "staff-ambiguous")]


def test_rows_that_say_one_competence_twice_are_refused(assessed):
    assert codes(assessed(SNAKES, [*SNAKES[:2], "", *SNAKES[3:]])) == [(1, "title", "title-repeated")]


def test_a_competence_that_was_taken_out_of_account_is_not_put_on_record_again(assessed, store, stored):
    assessed(SNAKES)
    (row,) = stored(Competence)
    with store.transaction(makers.origin()) as unit:
        end_competence(unit, row["id"], Ending(reason="another person's"), owner_id=row["staff_id"])

    report = assessed(SNAKES)

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 1, 0), ["withdrawn"])


def test_whoever_has_left_gets_no_competence(assessed, store, stored):
    with store.transaction(makers.origin()) as unit:
        makers.staff(unit, name="D. Head", role="administrator")
        end_staff(unit, next(row["id"] for row in stored(Staff) if row["name"] == "Ada Marsh"), Ending(reason="moved away"))

    report = assessed(SNAKES)

    assert (codes(report), stored(Competence)) == ([(0, "", "ended")], [])
