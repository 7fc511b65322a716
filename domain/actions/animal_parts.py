"""What all that belongs to an animal has in common: whose it is, and on which days something can be said of the animal."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, TypeVar
from uuid import UUID

from domain.actions.lives import EVENTS_OF, today_of
from domain.actions.recording import refuse_later_than
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records.animals import Animal, AnimalEvent
from domain.records.base import Record, Stated
from domain.records.stated import merged, read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.lives import GONE

R = TypeVar("R", bound=Record)
S = TypeVar("S", bound=Stated)
E = TypeVar("E", bound=Stated)


def animal_to_describe(unit: Unit, animal_id: UUID) -> Animal:
    """Return the animal that something is to be put on record of. It may have died or left: what was so before can still be said.

    Raises:
        NotFound: There is none.
        NotAllowed: It is at a site that the origin does not reach.
        Conflict: It was never here; its record was entered by mistake.
    """
    animal = unit.fetch_reached(Animal, animal_id)
    if animal.ended_on is not None and animal.status not in GONE:
        raise Conflict("This record was entered by mistake and taken back; nothing is said of it any more.", code="ended")
    return animal


def part_of(unit: Unit, record: type[R], record_id: UUID, *, owner_id: UUID) -> R:
    """Return a record that belongs to an animal.

    Raises:
        NotFound: There is no such animal, or it has no such record.
        NotAllowed: It is at a site that the origin does not reach.
    """
    animal = unit.fetch_reached(Animal, owner_id)
    found: Any = unit.fetch(record, record_id)
    if found.animal_id != animal.id:
        raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")
    return found  # type: ignore[no-any-return]


def refuse_untimely(unit: Unit, animal: Animal, *, field: str, on: date | None, before: date | None = None) -> None:
    """Refuse a day on which nothing can be said of an animal. One that stays as it was ``before`` is not judged again.

    Raises:
        RuleBroken: The day has not come at the site, or the animal had died or left before it; the field is named.
    """
    if on is None or on == before:
        return
    refuse_later_than(today_of(unit, animal), field=field, on=on)
    if animal.ended_on is not None and on > animal.ended_on:
        raise RuleBroken(
            f"It died or left on {animal.ended_on.isoformat()}; only what was so until then can be said.", code="after-end", field=field
        )


def refuse_before_it_came(animal: Animal, *, field: str, on: date, before: date | None = None) -> None:
    """Refuse a day on which an animal was not in the collection yet. One that stays as it was ``before`` is not judged again.

    Raises:
        RuleBroken: It came later; the field is named.
    """
    if animal.came_on is not None and on < animal.came_on and on != before:
        raise RuleBroken(f"It came on {animal.came_on.isoformat()}, later than this.", code="before-arrival", field=field)


def last_event(unit: Unit, animal: Animal) -> AnimalEvent | None:
    """Return the event with which an animal's life here ended, ``None`` while it goes on."""
    if animal.ended_on is None:
        return None
    until = [one for one in unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id) if one.happened_on <= animal.ended_on]
    return until[-1] if until else None


def stated_of(kind: type[S], entered: Stated, **instead: Any) -> S:  # noqa: ANN401 - fields of any record
    """Return what is kept of what was entered, with some fields ``instead`` of those that were said."""
    return kind.model_construct(**{name: getattr(entered, name) for name in kind.model_fields} | instead)


def entered_anew(kind: type[E], stated: type[S], record: Record, patch: Mapping[str, Any]) -> E:
    """Return what is entered by a correction: what is ``stated`` of a record once the patch is applied, and what is only said beside it.

    Raises:
        RuleBroken: With one fault for each field that cannot be taken.
    """
    beside = {name: value for name, value in patch.items() if name in kind.model_fields and name not in stated.model_fields}
    kept = merged(stated, record, {name: value for name, value in patch.items() if name not in beside})
    said = {name: value for name, value in beside.items() if value is not None}
    return read_stated(kind, json_text({**kept.model_dump(mode="json"), **said}))
