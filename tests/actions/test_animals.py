"""How animals leave the collection without more being said."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.animals import end_animal
from domain.actions.lives import EVENTS_OF
from domain.actions.recording import Ending
from domain.errors import RuleBroken
from domain.records.animals import AnimalEvent
from domain.rules.lives import EventKind
from tests import makers


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def shoal(unit):
    return makers.group(unit, makers.taxon(unit, "Danio fictivus"), 12, acquired_on="2026-01-10")


def test_all_that_are_left_of_a_group_leave_with_it(unit, shoal):
    makers.event(unit, shoal, "died", "2026-02-01", number=4)

    gone = end_animal(unit, shoal.id, Ending(reason="given to a school", on=date(2026, 2, 10)))

    *_, left = unit.all(AnimalEvent, EVENTS_OF, animal_id=shoal.id)
    assert (left.kind, left.number, gone.count, gone.ended_on) == (EventKind.DEPARTED, 8, 0, date(2026, 2, 10))


def test_a_group_does_not_leave_on_a_day_after_which_something_happened_to_it(unit, shoal):
    makers.event(unit, shoal, "died", "2026-02-01", number=4)

    with pytest.raises(RuleBroken) as refused:
        end_animal(unit, shoal.id, Ending(reason="given to a school", on=date(2026, 1, 20)))

    assert (refused.value.code, "2026-02-01 (died)" in refused.value.detail) == ("after-end", True)


def test_an_animal_does_not_leave_before_it_came(unit, shoal):
    with pytest.raises(RuleBroken) as refused:
        end_animal(unit, shoal.id, Ending(reason="given to a school", on=date(2026, 1, 9)))

    assert refused.value.code == "before-arrival"
