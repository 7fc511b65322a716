"""A list of placements: in the order of the days, whatever the order of the rows; and the same list again."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.lives import PLACEMENTS_OF, record_event
from domain.actions.placements import end_placement
from domain.actions.recording import Ending
from domain.records.animals import Animal, AnimalEventStated, Placement
from domain.records.enclosures import Enclosure
from domain.rules.lives import EventKind
from tests import makers
from tests.importing.conftest import codes, counts

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = "animal site enclosure from_on override_reason note"
MOVES = (
    ["T-1", "Quillback Rescue", "Ward 1", "2025-09-01", "", ""],
    ["t-1", "reedmere house", "HALL A 02", "2025-03-01", "", "after the storm"],
    ["G-1", "Reedmere House", "Hall A 02", "2025-02-01", "", ""],
)


@pytest.fixture
def moves(listed):
    return lambda *rows, **rest: listed("placements", HEADINGS, *rows, **rest)


def life(stored, tag):
    """Return where an animal was and since when, of what holds."""
    names = {row["id"]: row["name"] for row in stored(Enclosure)}
    (animal,) = [row for row in stored(Animal) if row["tag"] == tag]
    places = [row for row in stored(Placement) if row["animal_id"] == animal["id"] and row["ended_on"] is None]
    return sorted((row["from_on"], row["until_on"], names[row["enclosure_id"]]) for row in places)


T_1 = [
    (date(2025, 1, 10), date(2025, 2, 28), "Hall A 01"),
    (date(2025, 3, 1), date(2025, 8, 31), "Hall A 02"),
    (date(2025, 9, 1), None, "Ward 1"),
]


def test_moves_are_made_in_the_order_of_the_days(moves, stored):
    report = moves(*MOVES)

    assert counts(report) == (3, 0, 0, 0)
    assert life(stored, "T-1") == T_1
    assert life(stored, "G-1") == [(date(2025, 2, 1), None, "Hall A 02")]
    (animal,) = [row for row in stored(Animal) if row["tag"] == "T-1"]
    assert {row["id"]: row["name"] for row in stored(Enclosure)}[animal["enclosure_id"]] == "Ward 1"


def test_the_same_list_again_changes_nothing(moves, stored):
    moves(*MOVES)
    before = stored(Placement)

    assert counts(moves(*reversed(MOVES))) == (0, 0, 3, 0)
    assert stored(Placement) == before


def test_a_move_that_was_forgotten_is_put_between(moves, stored):
    moves(MOVES[0])

    assert counts(moves(*MOVES)) == (2, 0, 1, 0)
    assert life(stored, "T-1") == T_1


def test_a_note_is_corrected_and_a_blank_one_keeps(moves, stored):
    moves(*MOVES)

    assert counts(moves(["T-1", "Reedmere House", "Hall A 02", "2025-03-01", "", "flood"])) == (0, 1, 0, 0)
    assert counts(moves(["T-1", "Reedmere House", "Hall A 02", "2025-03-01", "", ""])) == (0, 0, 1, 0)
    assert "flood" in {row["note"] for row in stored(Placement)}


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        (["T-9", "Reedmere House", "Hall A 02", "2025-03-01"], "animal", "animal-unknown"),
        (["", "Reedmere House", "Hall A 02", "2025-03-01"], "animal", "animal-missing"),
        (["T-1", "", "Hall A 02", "2025-03-01"], "site", "site-missing"),
        (["T-1", "Reedmere House", "", "2025-03-01"], "enclosure", "enclosure-missing"),
        (["T-1", "Reedmere House", "Ward 1", "2025-03-01"], "enclosure", "enclosure-unknown"),
        (["T-1", "Reedmere House", "Hall A 02", ""], "from_on", "from_on-missing"),
        (["T-1", "Reedmere House", "Hall A 02", "2026-03-02"], "from_on", "in-future"),
        (["T-1", "Reedmere House", "Hall A 02", "2025-01-09"], "from_on", "before-arrival"),
        (["T-1", "Reedmere House", "Hall A 02", "2025-01-10"], "from_on", "moved-already"),
        (["T-1", "Reedmere House", "Hall A 01", "2025-03-01"], "enclosure", "there-already"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(listed, stored, row, column, code):
    before = stored(Placement)

    report = listed("placements", "animal site enclosure from_on", row, skip_invalid=True)

    assert (codes(report), stored(Placement)) == ([(0, column, code)], before)


def test_two_places_on_one_day_are_refused(moves):
    report = moves(MOVES[1], [*MOVES[1][:1], "Quillback Rescue", "Ward 1", *MOVES[1][3:]], skip_invalid=True)

    assert (counts(report), codes(report)) == ((1, 0, 0, 1), [(1, "from_on", "from_on-repeated")])


def test_a_row_that_does_not_fit_leaves_the_place_before_as_it_was(moves, store, stored):
    with store.transaction(makers.origin()) as unit:
        makers.enclosure(unit, makers.site(unit, name="Mill"), name="Jar", capacity=1)
    before = life(stored, "G-1")
    row = ["G-1", "Mill", "Jar", "2025-03-01", "", ""]

    refused = moves(row, MOVES[0], skip_invalid=True)

    assert (counts(refused), codes(refused)[0]) == ((1, 0, 0, 1), (0, "enclosure", "too-many"))
    assert life(stored, "G-1") == before
    assert counts(moves([*row[:4], "cleaning day", ""])) == (1, 0, 0, 0)


def test_a_placement_that_was_withdrawn_is_not_made_again(moves, store, stored):
    moves(MOVES[1])
    (animal,) = [row for row in stored(Animal) if row["tag"] == "T-1"]
    with store.transaction(makers.origin()) as unit:
        made = unit.all(Placement, PLACEMENTS_OF, animal_id=animal["id"])[-1]
        end_placement(unit, made.id, Ending(reason="another animal"), owner_id=animal["id"])

    report = moves(MOVES[1])

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 1, 0), ["withdrawn"])
    assert "another animal" in report.notices[0].reason
    assert life(stored, "T-1") == [(date(2025, 1, 10), None, "Hall A 01")]


def test_where_one_that_died_lived_before_can_still_be_told_and_not_afterwards(moves, store, stored):
    (animal,) = [row for row in stored(Animal) if row["tag"] == "T-1"]
    with store.transaction(makers.origin()) as unit:
        record_event(unit, animal["id"], AnimalEventStated(kind=EventKind.DIED, happened_on=date(2025, 6, 1)))

    report = moves(*MOVES, skip_invalid=True)

    assert (counts(report), codes(report)) == ((2, 0, 0, 1), [(0, "from_on", "not-here")])
    assert life(stored, "T-1")[-1] == (date(2025, 3, 1), date(2025, 6, 1), "Hall A 02")


def test_a_dry_run_says_the_same_and_leaves_no_trace(moves, stored):
    before = stored(Placement)

    dry = moves(*MOVES, dry_run=True)

    assert (counts(dry), dry.written, stored(Placement)) == ((3, 0, 0, 0), False, before)
