"""Who an animal's parents are: recording, correcting and ending what is known of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.animal_parts import animal_to_describe, part_of, stated_of
from domain.actions.lives import today_of
from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.errors import Conflict, RuleBroken
from domain.records.animals import Animal, DatePrecision
from domain.records.base import table_of
from domain.records.kinship import Certainty, Parent, ParentStated
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import add_months
from domain.rules.lives import GONE

_parent = table_of(Parent)
PARENTS_OF = Statement(
    sa.select(_parent)
    .where(
        _parent.c.organisation_id == sa.bindparam("organisation_id"),
        _parent.c.animal_id == sa.bindparam("animal_id"),
        _parent.c.ended_on.is_(None),
    )
    .order_by(_parent.c.id)
)
_MONTHS_OF = {DatePrecision.MONTH: 1, DatePrecision.YEAR: 12}


def record_parent(unit: Unit, animal_id: UUID, stated: ParentStated, *, record_id: UUID | None = None) -> Parent:
    """Put a parent of an animal or clutch on record and return it. Either of them may have died or left meanwhile.

    Raises:
        RuleBroken: There is no such animal; or it cannot be the parent: it is the animal itself, descends from it, or hatched later.
        Conflict: That parent is on record already, or another one of its role is certain.
    """
    animal = animal_to_describe(unit, animal_id)
    said = stated_of(ParentStated, stated)
    _check(unit, animal, said, before=None)
    return recorded(unit, Parent, said, record_id=record_id, animal_id=animal.id)


def change_parent(unit: Unit, parentage_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Parent:
    """Apply a correction to what is on record of a parent and return it.

    Raises:
        NotFound: The animal has no such parent.
        RuleBroken, Conflict: As for recording.
    """
    part_of(unit, Parent, parentage_id, owner_id=owner_id)
    found = current(unit, Parent, parentage_id, expected_version=expected_version)
    animal = animal_to_describe(unit, owner_id)
    said = merged(ParentStated, found, patch)
    _check(unit, animal, said, before=found)
    return corrected(unit, found, said)


def end_parent(unit: Unit, parentage_id: UUID, ending: Ending, *, owner_id: UUID) -> Parent:
    """Take a parent that was entered wrongly out of account and return it.

    Raises:
        NotFound: The animal has no such parent.
        Conflict: It was taken out of account already.
    """
    found = part_of(unit, Parent, parentage_id, owner_id=owner_id)
    return ended(unit, found, ending, today=today_of(unit, unit.fetch(Animal, owner_id)))


def _check(unit: Unit, animal: Animal, said: ParentStated, *, before: Parent | None) -> None:
    known = [one for one in unit.all(Parent, PARENTS_OF, animal_id=animal.id) if before is None or one.id != before.id]
    if said.parent_id is not None and (before is None or before.parent_id != said.parent_id):
        _refuse_impossible(unit, animal, said.parent_id)
    if said.parent_id is not None and any((one.parent_id, one.role) == (said.parent_id, said.role) for one in known):
        raise Conflict(f"This {said.role.value} is on record already.", code="already-there", field="parent_id")
    if said.certainty is Certainty.CERTAIN and any((one.certainty, one.role) == (said.certainty, said.role) for one in known):
        raise Conflict(
            f"Another {said.role.value} is certain already; there is one of each. Say how sure this one is, or correct that one first.",
            code="certain-already",
            field="certainty",
        )


def _refuse_impossible(unit: Unit, animal: Animal, parent_id: UUID) -> None:
    """Refuse an animal that cannot be a parent of another, however sure it is said to be.

    Raises:
        RuleBroken: It is not there, is the animal itself, descends from it, or hatched later.
    """
    if parent_id == animal.id:
        raise RuleBroken("An animal is not its own parent.", code="own-parent", field="parent_id")
    parent = unit.find(Animal, parent_id)
    if parent is None or (parent.ended_on is not None and parent.status not in GONE):
        raise RuleBroken("There is no such animal.", code="reference-unknown", field="parent_id")
    born_by = _last_possible_birth(animal)
    if parent.hatched_on is not None and born_by is not None and parent.hatched_on > born_by:
        raise RuleBroken("That animal hatched or was born after this one.", code="born-later", field="parent_id")
    if _descends(unit, parent, of=animal):
        raise RuleBroken("That animal descends from this one.", code="circular", field="parent_id")


def _last_possible_birth(animal: Animal) -> date | None:
    """Return the last day on which an animal can have hatched or been born, by what is known; ``None`` where nothing is."""
    hatched_on = animal.hatched_on
    if hatched_on is not None and animal.hatched_precision is not DatePrecision.DAY:
        hatched_on = add_months(hatched_on, _MONTHS_OF[animal.hatched_precision]) - timedelta(days=1)
    return min((day for day in (hatched_on, animal.came_on) if day is not None), default=None)


def _descends(unit: Unit, animal: Animal, *, of: Animal) -> bool:
    """Return whether an animal is a descendant of another, by any parent on record, whether sure or not."""
    waiting, seen = [animal.id], {animal.id}
    while waiting:
        for one in unit.all(Parent, PARENTS_OF, animal_id=waiting.pop()):
            if one.parent_id == of.id:
                return True
            if one.parent_id is not None and one.parent_id not in seen:
                seen.add(one.parent_id)
                waiting.append(one.parent_id)
    return False
