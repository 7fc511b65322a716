"""Whose an animal is, and what it is called: recording, correcting and ending what holds from a day until a day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.animal_parts import animal_to_describe, part_of, refuse_before_it_came, refuse_untimely, stated_of
from domain.actions.intervals import NONE_YET, make_room, refuse_overlap
from domain.actions.lives import of_animal, today_of
from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.holdings import CallName, CallNameStated, Holding, HoldingStated
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.text import same_name

HOLDINGS_OF = of_animal(Holding, "from_on")
_name = table_of(CallName)
NAME_WITHOUT_END = Statement(
    sa.select(_name).where(
        _name.c.organisation_id == sa.bindparam("organisation_id"),
        _name.c.animal_id == sa.bindparam("animal_id"),
        _name.c.until_on.is_(None),
        _name.c.ended_on.is_(None),
    )
)


def record_holding(unit: Unit, animal_id: UUID, stated: HoldingStated, *, record_id: UUID | None = None) -> Holding:
    """Put on record whose an animal is from a day on, and return it. The holding that was open until then ends the day before.

    Raises:
        RuleBroken: A day has not come yet, is before the animal came, or is after it died or left.
        Conflict: Another holding has some of the days.
    """
    animal = animal_to_describe(unit, animal_id)
    said = stated_of(HoldingStated, stated)
    _refuse_untimely(unit, animal, said, before=None)
    refuse_before_it_came(animal, field="from_on", on=said.from_on)
    _take_over(unit, animal, Holding, said)
    return recorded(unit, Holding, said, record_id=record_id, animal_id=animal.id)


def holding_on(unit: Unit, animal_id: UUID, *, on: date) -> Holding | None:
    """Return on what footing an animal is held on a day, ``None`` where that is not on record."""
    held = unit.all(Holding, HOLDINGS_OF, animal_id=animal_id)
    return next((one for one in held if one.from_on <= on and (one.until_on is None or on <= one.until_on)), None)


def change_holding(unit: Unit, holding_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Holding:
    """Apply a correction to a holding and return it.

    Raises:
        NotFound: The animal has no such holding.
        RuleBroken: As for recording.
        Conflict: Another holding has some of the days.
    """
    part_of(unit, Holding, holding_id, owner_id=owner_id)
    found = current(unit, Holding, holding_id, expected_version=expected_version)
    animal = animal_to_describe(unit, owner_id)
    said = merged(HoldingStated, found, patch)
    _refuse_untimely(unit, animal, said, before=found)
    refuse_before_it_came(animal, field="from_on", on=said.from_on, before=found.from_on)
    refuse_overlap(unit, found, from_on=said.from_on, until_on=said.until_on, animal_id=animal.id)
    return corrected(unit, found, said)


def end_holding(unit: Unit, holding_id: UUID, ending: Ending, *, owner_id: UUID) -> Holding:
    """Take a holding that was entered wrongly out of account and return it. One that is over is corrected: its ``until_on``.

    Raises:
        NotFound: The animal has no such holding.
        Conflict: It was taken out of account already.
    """
    found = part_of(unit, Holding, holding_id, owner_id=owner_id)
    return ended(unit, found, ending, today=today_of(unit, unit.fetch(Animal, owner_id)))


def record_call_name(unit: Unit, animal_id: UUID, stated: CallNameStated, *, record_id: UUID | None = None) -> CallName:
    """Put on record what an animal is called from a day on, and return it. The name that it had until then ends the day before.

    A name from before the animal came can be told. The animal's record shows the name that has no end.

    Raises:
        RuleBroken: A day has not come yet, or is after the animal died or left.
        Conflict: The animal had another name on some of the days.
    """
    animal = animal_to_describe(unit, animal_id)
    said = stated_of(CallNameStated, stated)
    _refuse_untimely(unit, animal, said, before=None)
    _take_over(unit, animal, CallName, said)
    made = recorded(unit, CallName, said, record_id=record_id, animal_id=animal.id, name_key=same_name(said.name))
    _show_name(unit, animal)
    return made


def change_call_name(unit: Unit, call_name_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> CallName:
    """Apply a correction to a name and return it.

    Raises:
        NotFound: The animal has no such name.
        RuleBroken: As for recording.
        Conflict: The animal had another name on some of the days.
    """
    part_of(unit, CallName, call_name_id, owner_id=owner_id)
    found = current(unit, CallName, call_name_id, expected_version=expected_version)
    animal = animal_to_describe(unit, owner_id)
    said = merged(CallNameStated, found, patch)
    _refuse_untimely(unit, animal, said, before=found)
    refuse_overlap(unit, found, from_on=said.from_on, until_on=said.until_on, animal_id=animal.id)
    changed = corrected(unit, found, said, name_key=same_name(said.name))
    _show_name(unit, animal)
    return changed


def end_call_name(unit: Unit, call_name_id: UUID, ending: Ending, *, owner_id: UUID) -> CallName:
    """Take a name that was entered wrongly out of account and return it.

    Raises:
        NotFound: The animal has no such name.
        Conflict: It was taken out of account already.
    """
    found = part_of(unit, CallName, call_name_id, owner_id=owner_id)
    animal = unit.fetch(Animal, owner_id)
    gone = ended(unit, found, ending, today=today_of(unit, animal))
    _show_name(unit, animal)
    return gone


def _refuse_untimely(
    unit: Unit, animal: Animal, said: HoldingStated | CallNameStated, *, before: HoldingStated | CallNameStated | None
) -> None:
    began, ended_then = (before.from_on, before.until_on) if before else (None, None)
    refuse_untimely(unit, animal, field="from_on", on=said.from_on, before=began)
    refuse_untimely(unit, animal, field="until_on", on=said.until_on, before=ended_then)


def _take_over(unit: Unit, animal: Animal, record: type[Holding | CallName], said: HoldingStated | CallNameStated) -> None:
    """End what is open the day before something new begins. What has an end itself takes over from nothing: the open one goes on after it.

    Raises:
        Conflict: Another one has some of the days.
    """
    if said.until_on is None:
        make_room(unit, record, from_on=said.from_on, until_on=None, animal_id=animal.id)
    else:
        new = record.model_construct(id=NONE_YET)
        refuse_overlap(unit, new, from_on=said.from_on, until_on=said.until_on, animal_id=animal.id)


def _show_name(unit: Unit, animal: Animal) -> None:
    """Have the animal's record show the name that has no end."""
    found = unit.first(CallName, NAME_WITHOUT_END, animal_id=animal.id)
    unit.change(unit.fetch(Animal, animal.id), {"name": found and found.name}, action="name_animal")
