"""Where animals live, day by day."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier

import pytest

from domain.actions.lives import PLACEMENTS_OF, withdraw_event
from domain.actions.placements import change_placement, end_placement
from domain.actions.recording import Ending
from domain.errors import Conflict, Refusal, RuleBroken
from domain.records.animals import Animal, Placement
from domain.records.engine import run_unit
from domain.records.unit import Unit
from tests import makers

WRONG = Ending(reason="entered by mistake")


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def halls(unit):
    site = makers.site(unit)
    return [makers.enclosure(unit, site, name=name) for name in ("A 01", "B 02", "C 03")]


@pytest.fixture
def tortoise(unit, halls):
    return makers.animal(unit, makers.taxon(unit), enclosure_id=str(halls[0].id), acquired_on="2026-01-10")


def places(unit: Unit, animal: Animal) -> list[tuple[str, str | None]]:
    """Return the days of an animal's placements."""
    return [
        (str(one.from_on), None if one.until_on is None else str(one.until_on))
        for one in unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    ]


def test_a_move_ends_the_placement_before_on_the_day_before(unit, tortoise, halls):
    makers.move(unit, tortoise, halls[1], "2026-02-01")

    assert places(unit, tortoise) == [("2026-01-10", "2026-01-31"), ("2026-02-01", None)]
    assert unit.fetch(Animal, tortoise.id).enclosure_id == halls[1].id


def test_a_move_that_is_told_late_lasts_until_the_next(unit, tortoise, halls):
    makers.move(unit, tortoise, halls[1], "2026-02-01")
    makers.move(unit, tortoise, halls[2], "2026-01-20")

    assert places(unit, tortoise) == [("2026-01-10", "2026-01-19"), ("2026-01-20", "2026-01-31"), ("2026-02-01", None)]
    assert unit.fetch(Animal, tortoise.id).enclosure_id == halls[1].id


@pytest.mark.parametrize(("day", "code"), [("2026-01-09", "before-arrival"), ("2026-03-02", "in-future")])
def test_it_is_placed_neither_before_it_came_nor_tomorrow(unit, tortoise, halls, day, code):
    with pytest.raises(RuleBroken) as refused:
        makers.move(unit, tortoise, halls[1], day)

    assert (refused.value.code, refused.value.faults[0].pointer) == (code, "/from_on")


def test_who_believes_it_to_be_elsewhere_moves_nothing(unit, tortoise, halls):
    with pytest.raises(Conflict) as refused:
        makers.move(unit, tortoise, halls[1], "2026-02-01", from_enclosure_id=str(halls[2].id))

    assert (refused.value.code, refused.value.detail) == ("elsewhere", "It is in A 01 on that day, not where you believe it to be.")


def test_a_second_move_on_one_day_has_to_say_from_where(unit, tortoise, halls):
    makers.move(unit, tortoise, halls[1], "2026-02-01")

    with pytest.raises(Conflict) as refused:
        makers.move(unit, tortoise, halls[2], "2026-02-01")
    assert refused.value.code == "moved-already"

    makers.move(unit, tortoise, halls[2], "2026-02-01", from_enclosure_id=str(halls[1].id))
    assert places(unit, tortoise) == [("2026-01-10", "2026-01-31"), ("2026-02-01", None)]
    assert unit.fetch(Animal, tortoise.id).enclosure_id == halls[2].id


def test_it_is_not_moved_to_where_it_is(unit, tortoise, halls):
    with pytest.raises(Conflict) as refused:
        makers.move(unit, tortoise, halls[0], "2026-02-01")

    assert refused.value.code == "there-already"


def test_a_death_ends_the_placement_and_its_withdrawal_opens_it_again(unit, tortoise):
    told = makers.event(unit, tortoise, "died", "2026-02-05", cause="not known")
    assert places(unit, tortoise) == [("2026-01-10", "2026-02-05")]

    withdraw_event(unit, told.event.id, WRONG, owner_id=tortoise.id)

    assert places(unit, tortoise) == [("2026-01-10", None)]
    assert unit.fetch(Animal, tortoise.id).ended_on is None


def test_the_dead_are_not_moved_but_what_was_forgotten_can_be_told(unit, tortoise, halls):
    makers.event(unit, tortoise, "died", "2026-02-05")

    with pytest.raises(RuleBroken) as refused:
        makers.move(unit, tortoise, halls[1], "2026-02-06")
    makers.move(unit, tortoise, halls[1], "2026-01-20")

    assert refused.value.code == "not-here"
    assert places(unit, tortoise) == [("2026-01-10", "2026-01-19"), ("2026-01-20", "2026-02-05")]


def test_a_death_before_the_last_placement_is_refused(unit, tortoise, halls):
    makers.move(unit, tortoise, halls[1], "2026-02-01")

    with pytest.raises(Conflict) as refused:
        makers.event(unit, tortoise, "died", "2026-01-15")

    assert (refused.value.code, "2026-02-01" in refused.value.detail) == ("placed-later", True)


def test_a_placement_withdrawn_lets_the_one_before_go_on(unit, tortoise, halls):
    wrong = makers.move(unit, tortoise, halls[1], "2026-02-01")

    end_placement(unit, wrong.id, WRONG, owner_id=tortoise.id)

    assert places(unit, tortoise) == [("2026-01-10", None)]
    assert unit.fetch(Animal, tortoise.id).enclosure_id == halls[0].id


@pytest.mark.parametrize(("day", "before_ends"), [("2026-01-25", "2026-01-24"), ("2026-02-10", "2026-02-09")])
def test_a_corrected_beginning_moves_the_end_of_the_one_before(unit, tortoise, halls, day, before_ends):
    moved = makers.move(unit, tortoise, halls[1], "2026-02-01")

    change_placement(unit, moved.id, {"from_on": day}, owner_id=tortoise.id, expected_version=1)

    assert places(unit, tortoise) == [("2026-01-10", before_ends), (day, None)]


def test_a_beginning_that_reaches_past_the_one_before_is_refused(unit, tortoise, halls):
    makers.move(unit, tortoise, halls[1], "2026-02-01")
    last = makers.move(unit, tortoise, halls[2], "2026-02-20")

    with pytest.raises(Conflict) as refused:
        change_placement(unit, last.id, {"from_on": "2026-01-20"}, owner_id=tortoise.id, expected_version=1)

    assert refused.value.code == "overlap"


def test_the_database_itself_refuses_two_places_on_one_day(store, organisation):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        hall, other = (makers.enclosure(unit, site, name=name) for name in ("A 01", "B 02"))
        animal = makers.animal(unit, makers.taxon(unit), enclosure_id=str(hall.id))

    def twice(unit: Unit) -> None:
        unit.add(
            Placement.model_construct(
                animal_id=animal.id,
                enclosure_id=other.id,
                from_on=date(2026, 3, 1),
                note="",
                organisation_id=unit.organisation_id,
                id=unit.new_id(),
                created_at=unit.origin.at,
            ),
            action="register_placement",
        )

    with pytest.raises(Conflict) as refused:
        run_unit(store, twice, origin=makers.origin())

    assert refused.value.code == "overlap"


def test_what_goes_and_comes_back_on_one_day_stays_where_it_was(unit, tortoise, halls):
    makers.event(unit, tortoise, "sent_away", "2026-01-20")
    makers.event(unit, tortoise, "came_back", "2026-01-20")

    assert places(unit, tortoise) == [("2026-01-10", None)]
    makers.move(unit, tortoise, halls[1], "2026-02-01")
    assert places(unit, tortoise) == [("2026-01-10", "2026-01-31"), ("2026-02-01", None)]


def test_a_placement_that_was_withdrawn_after_an_absence_leaves_the_animal_where_it_was_last(unit, tortoise, halls):
    makers.event(unit, tortoise, "sent_away", "2026-01-20")
    makers.event(unit, tortoise, "came_back", "2026-02-01")
    mistaken = makers.move(unit, tortoise, halls[2], "2026-02-01")

    end_placement(unit, mistaken.id, WRONG, owner_id=tortoise.id)

    assert places(unit, tortoise) == [("2026-01-10", "2026-01-20")]
    assert unit.fetch(Animal, tortoise.id).enclosure_id == halls[0].id


@pytest.mark.parametrize("went", ["sent_away", "died", "departed"])
def test_a_placement_that_is_told_late_lasts_until_the_animal_went(unit, halls, went):
    animal = makers.animal(unit, makers.taxon(unit), acquired_on="2026-01-10")
    makers.event(unit, animal, went, "2026-01-20")

    makers.move(unit, animal, halls[0], "2026-01-15")

    assert places(unit, animal) == [("2026-01-15", "2026-01-20")]


def test_a_placement_that_is_corrected_to_begin_before_an_absence_ends_with_it(unit, tortoise, halls):
    makers.event(unit, tortoise, "sent_away", "2026-01-20")
    makers.event(unit, tortoise, "came_back", "2026-02-10")
    later = makers.move(unit, tortoise, halls[2], "2026-02-10")

    change_placement(unit, later.id, {"from_on": "2026-01-15"}, owner_id=tortoise.id, expected_version=1)

    assert places(unit, tortoise) == [("2026-01-10", "2026-01-14"), ("2026-01-15", "2026-01-20")]


def test_an_absence_that_is_told_late_ends_the_placement_of_its_day(unit, tortoise, halls):
    makers.event(unit, tortoise, "died", "2026-02-10")
    makers.event(unit, tortoise, "sent_away", "2026-01-20")

    assert places(unit, tortoise) == [("2026-01-10", "2026-01-20")]


def test_of_two_who_move_one_animal_at_once_one_wins_and_the_other_is_told(store, organisation):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        halls = [makers.enclosure(unit, site, name=f"A {number}") for number in range(3)]
        animal = makers.animal(unit, makers.taxon(unit), enclosure_id=str(halls[0].id), acquired_on="2026-01-10")
    together = Barrier(2)

    def move(to):
        together.wait()
        try:
            run_unit(store, lambda unit: makers.move(unit, animal, to, "2026-03-01"), origin=makers.origin())
        except Refusal as refused:
            return refused.code
        return to.name

    with ThreadPoolExecutor(2) as pool:
        outcomes = list(pool.map(move, halls[1:]))

    assert sorted(outcomes)[1] == "moved-already"
    with store.snapshot(makers.origin()) as unit:
        place = unit.fetch(Animal, animal.id).enclosure_id
    assert {one.id: one.name for one in halls}[place] == min(outcomes)
