"""Broods that are expected: of whom, for when, how many, and what came of it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from domain.actions.broods import change_expected_brood, end_expected_brood
from domain.actions.lives import EVENTS_OF
from domain.errors import NotAllowed, NotFound, RuleBroken
from domain.records.animals import AnimalEvent
from domain.records.broods import ExpectedBrood, ExpectedBroodStated
from domain.records.engine import Store
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from tests import makers
from tests.actions.of_animals import MISTAKE, an_animal, bound_to, refusal
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")


def corrected(unit: Unit, found: ExpectedBrood, **patch: Any) -> ExpectedBrood:
    now = unit.fetch(ExpectedBrood, found.id)
    return change_expected_brood(unit, found.id, patch, owner_id=found.animal_id, expected_version=now.version)


def a_birth(unit: Unit, tag: str, on: str, came_by: str = "hatched", **stated: Any) -> AnimalEvent:
    """Register animals and return the event with which they came."""
    young = an_animal(unit, tag, came_by=came_by, acquired_on=on, **stated)
    return unit.all(AnimalEvent, EVENTS_OF, animal_id=young.id)[0]


def test_a_brood_is_expected_corrected_and_ended_with_what_came_of_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        female = an_animal(unit, sex="female")
        made = makers.expected_brood(unit, female, expected_on="2026-04-20", number_low=4, number_high=7)

        assert (made.animal_id, made.expected_on, made.number_low, made.number_high) == (female.id, date(2026, 4, 20), 4, 7)
        birth = a_birth(unit, "Y-1", "2026-02-20")
        assert corrected(unit, made, outcome_event_id=str(birth.id)).outcome_event_id == birth.id
        assert end_expected_brood(unit, made.id, MISTAKE, owner_id=female.id).end_reason == MISTAKE.reason
        assert refusal(corrected, unit, made, note="n") == ("ended", "")
    assert proven(store).flaws == []


@pytest.mark.parametrize(
    ("said", "pointer", "code"),
    [
        ({"expected_on": "2026-02-09"}, "/expected_on", "not-together"),
        ({"number_low": 7, "number_high": 6}, "/number_high", "not-together"),
        ({"number_low": 0}, "/number_low", "greater-than-equal"),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(said: dict[str, Any], pointer: str, code: str) -> None:
    with pytest.raises(RuleBroken) as refused:
        read_stated(ExpectedBroodStated, json_text({"seen_on": "2026-02-10", **said}))

    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]


def test_it_was_seen_on_a_day_that_has_come_while_the_animal_was_here(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        made = makers.expected_brood(unit, animal, seen_on="2025-05-01")

        assert refusal(makers.expected_brood, unit, animal, seen_on="2026-03-02") == ("in-future", "/seen_on")
        assert refusal(makers.expected_brood, unit, animal, seen_on="2025-04-30") == ("before-arrival", "/seen_on")
        assert refusal(corrected, unit, made, seen_on="2025-04-30") == ("before-arrival", "/seen_on")


def test_no_brood_is_expected_of_a_male_or_of_an_animal_that_is_gone(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        male, group, gone = (
            an_animal(unit, "T-1", sex="male"),
            an_animal(unit, "T-2", sex="mixed", grouping="group"),
            an_animal(unit, "T-3"),
        )
        made = makers.expected_brood(unit, gone)
        makers.event(unit, gone, "died", "2026-02-20")

        assert refusal(makers.expected_brood, unit, male) == ("not-female", "")
        assert makers.expected_brood(unit, group)
        assert refusal(makers.expected_brood, unit, gone) == ("ended", "")
        assert refusal(corrected, unit, made, note="n") == ("ended", "")
        assert end_expected_brood(unit, made.id, MISTAKE, owner_id=gone.id).ended_on is not None


def test_the_outcome_is_a_birth_since_it_was_seen(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        made = makers.expected_brood(unit, animal)
        bought, early = a_birth(unit, "Y-1", "2026-02-20", "acquired"), a_birth(unit, "Y-2", "2026-02-09")
        laid = a_birth(unit, "Y-3", "2026-02-10", "laid")

        assert refusal(corrected, unit, made, outcome_event_id=str(unit.new_id())) == ("reference-unknown", "/outcome_event_id")
        assert refusal(corrected, unit, made, outcome_event_id=str(bought.id)) == ("not-a-birth", "/outcome_event_id")
        assert refusal(corrected, unit, made, outcome_event_id=str(early.id)) == ("before-expected", "/outcome_event_id")
        assert corrected(unit, made, outcome_event_id=str(laid.id)).outcome_event_id == laid.id
        assert refusal(corrected, unit, made, seen_on="2026-02-11") == ("before-expected", "/outcome_event_id")


def test_an_expectation_belongs_to_its_animal_and_is_where_that_is(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        own, other = an_animal(unit, "T-1", at=here), an_animal(unit, "T-2", at=there)
        made, foreign = makers.expected_brood(unit, own), makers.expected_brood(unit, other)
        birth = a_birth(unit, "Y-1", "2026-02-20", at=there)
        with pytest.raises(NotFound):
            end_expected_brood(unit, made.id, MISTAKE, owner_id=other.id)

    with store.transaction(bound_to(here)) as unit:
        assert corrected(unit, made, note="n").note == "n"
        for work in (
            lambda: makers.expected_brood(unit, other),
            lambda: corrected(unit, foreign, note="n"),
            lambda: end_expected_brood(unit, foreign.id, MISTAKE, owner_id=other.id),
            lambda: corrected(unit, made, outcome_event_id=str(birth.id)),
        ):
            with pytest.raises(NotAllowed):
                work()
