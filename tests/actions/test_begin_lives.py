"""Animals that were registered before lives were kept get the beginning of one."""

from __future__ import annotations

from datetime import date

import pytest
import sqlalchemy as sa

from domain.actions.animals import begin_lives
from domain.actions.lives import EVENTS_OF, PLACEMENTS_OF
from domain.actions.verify import prove
from domain.records.animals import Animal, AnimalEvent, Placement
from domain.records.base import table_of
from domain.records.statements import Statement
from domain.rules.lives import EventKind, Status
from tests import makers

EVERY_ANIMAL = Statement(sa.select(table_of(Animal)).where(table_of(Animal).c.organisation_id == sa.bindparam("organisation_id")))


def as_it_was(unit, taxon, *, enclosure=None, **columns):
    """Put an animal on record as it was done before lives were kept: without an event, a state or a placement."""
    facts = {"tag": "T-1", "tag_key": "t-1", "count": 1, "name": None, "ended_on": None, "end_reason": None} | columns
    made = Animal.model_construct(
        **facts,
        taxon_id=taxon.id,
        enclosure_id=enclosure.id if enclosure else None,
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        created_at=unit.origin.at,
    )
    return unit.add(made, action="register_animal")


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


def test_an_animal_came_on_the_day_on_which_it_was_registered(unit):
    place = makers.enclosure(unit, makers.site(unit))
    animal = as_it_was(unit, makers.taxon(unit), enclosure=place, name="Ada")

    assert begin_lives(unit, at_most=10) == 1

    [came] = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)
    [there] = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    now = unit.fetch(Animal, animal.id)
    assert (came.kind, came.happened_on, came.change) == (EventKind.ACQUIRED, date(2026, 3, 1), 1)
    assert (there.enclosure_id, there.from_on) == (place.id, date(2026, 3, 1))
    assert (now.status, now.came_on, now.count, now.name) == (Status.PRESENT, date(2026, 3, 1), 1, "Ada")


def test_one_that_had_ended_left_on_that_day_for_that_reason(unit):
    animal = as_it_was(unit, makers.taxon(unit), ended_on=date(2026, 2, 1), end_reason="went to Quillback", count=3, grouping="group")

    begin_lives(unit, at_most=10)

    now = unit.fetch(Animal, animal.id)
    assert (now.status, now.ended_on, now.count) == (Status.DEPARTED, date(2026, 2, 1), 0)
    assert now.end_reason == "departed: other, went to Quillback"


def test_nothing_is_begun_twice(unit):
    for number in range(5):
        as_it_was(unit, makers.taxon(unit, f"Testudo {number}"), tag=f"T-{number}", tag_key=f"t-{number}")
    makers.animal(unit, makers.taxon(unit, "Rana"), tag="R-1")

    assert [begin_lives(unit, at_most=2) for _ in range(4)] == [2, 2, 1, 0]


def test_the_journal_proves_it(store, organisation):
    with store.transaction(makers.origin()) as unit:
        as_it_was(
            unit, makers.taxon(unit), enclosure=makers.enclosure(unit, makers.site(unit)), ended_on=date(2026, 2, 1), end_reason="sold"
        )
    with store.transaction(makers.origin()) as unit:
        begin_lives(unit, at_most=10)

    with store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []
        [animal] = unit.all(Animal, EVERY_ANIMAL)
    assert animal.came_on == date(2026, 2, 1)
