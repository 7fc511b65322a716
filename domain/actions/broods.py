"""Putting on record that young are expected, correcting that, and ending it once they have come."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.animal_parts import part_of, refuse_before_it_came
from domain.actions.lives import today_of
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred_reached, refuse_later_than
from domain.errors import Conflict, RuleBroken
from domain.records.animals import CAME_BY, Animal, AnimalEvent
from domain.records.base import table_of
from domain.records.broods import ExpectedBrood, ExpectedBroodStated
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.lives import EventKind, Sex

OUTCOMES = CAME_BY - {EventKind.ACQUIRED}
"""The events with which young, or eggs, come on record."""
_brood = table_of(ExpectedBrood)
_most = sa.func.coalesce(_brood.c.number_high, _brood.c.number_low, sa.literal_column("1"))
EXPECTED_OF_ANIMALS = Statement(
    sa.select(_brood.c.animal_id, sa.func.sum(_most).label("number"))
    .where(_brood.c.organisation_id == sa.bindparam("organisation_id"), _brood.c.ended_on.is_(None), _brood.c.outcome_event_id.is_(None))
    .group_by(_brood.c.animal_id)
)
"""How many young are expected of each animal at the most; one where no number was said."""


def record_expected_brood(unit: Unit, animal_id: UUID, stated: ExpectedBroodStated, *, record_id: UUID | None = None) -> ExpectedBrood:
    """Put on record that young of an animal are expected, and return that.

    Raises:
        RuleBroken: The animal is a male, came later, or the day has not come on which that was seen; or the outcome is no such event.
        NotAllowed: The outcome is at a site that the origin does not reach.
        Conflict: The animal died or left.
    """
    animal = _animal_here(unit, animal_id)
    _check(unit, animal, stated, before=None)
    return recorded(unit, ExpectedBrood, stated, record_id=record_id, animal_id=animal.id)


def change_expected_brood(
    unit: Unit, expected_brood_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> ExpectedBrood:
    """Apply a correction to what is expected, or what came of it, and return it.

    Raises:
        NotFound: Of this animal no such young are expected.
        RuleBroken, NotAllowed, Conflict: As for recording.
    """
    part_of(unit, ExpectedBrood, expected_brood_id, owner_id=owner_id)
    found = current(unit, ExpectedBrood, expected_brood_id, expected_version=expected_version)
    animal = _animal_here(unit, owner_id)
    said = merged(ExpectedBroodStated, found, patch)
    _check(unit, animal, said, before=found)
    return corrected(unit, found, said)


def end_expected_brood(unit: Unit, expected_brood_id: UUID, ending: Ending, *, owner_id: UUID) -> ExpectedBrood:
    """End an expectation, since the young have come or nobody expects them any more, and return it.

    Raises:
        NotFound: Of this animal no such young are expected.
    """
    found = part_of(unit, ExpectedBrood, expected_brood_id, owner_id=owner_id)
    return ended(unit, found, ending, today=today_of(unit, unit.fetch(Animal, owner_id)))


def _animal_here(unit: Unit, animal_id: UUID) -> Animal:
    animal = unit.fetch_reached(Animal, animal_id)
    if animal.ended_on is not None:
        raise Conflict(f"This animal's record ended on {animal.ended_on.isoformat()}; no young of it are expected.", code="ended")
    return animal


def _check(unit: Unit, animal: Animal, said: ExpectedBroodStated, *, before: ExpectedBrood | None) -> None:
    if animal.sex is Sex.MALE:
        raise RuleBroken("This animal is on record as a male; correct its sex first.", code="not-female")
    if before is None or said.seen_on != before.seen_on:
        refuse_later_than(today_of(unit, animal), field="seen_on", on=said.seen_on)
        refuse_before_it_came(animal, field="seen_on", on=said.seen_on)
    if said.outcome_event_id is not None:
        _check_outcome(unit, said, outcome_event_id=said.outcome_event_id, kept=before.outcome_event_id if before else None)


def _check_outcome(unit: Unit, said: ExpectedBroodStated, *, outcome_event_id: UUID, kept: UUID | None) -> None:
    event = referred_reached(unit, AnimalEvent, outcome_event_id, field="outcome_event_id", kept=kept)
    if event.kind not in OUTCOMES:
        words = ", ".join(sorted(kind.value for kind in OUTCOMES))
        raise RuleBroken(f"The outcome should be an event of one of these kinds: {words}.", code="not-a-birth", field="outcome_event_id")
    if event.happened_on < said.seen_on:
        sentence = f"That was on {event.happened_on.isoformat()}, before the young were expected."
        raise RuleBroken(sentence, code="before-expected", field="outcome_event_id")
