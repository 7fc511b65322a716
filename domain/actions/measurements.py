"""What was measured on animals: recording it, asking back what looks like a slip of the unit, correcting and ending it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.animal_parts import animal_to_describe, entered_anew, part_of, refuse_untimely, stated_of
from domain.actions.lives import EVENTS_OF, today_of
from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalEvent
from domain.records.base import table_of
from domain.records.measurements import Measurement, MeasurementEntered, MeasurementStated
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.lives import Grouping
from domain.rules.measures import Measured, MeasureKind, unit_slip

_measurement = table_of(Measurement)
_alike = sa.select(_measurement).where(
    _measurement.c.organisation_id == sa.bindparam("organisation_id"),
    _measurement.c.animal_id == sa.bindparam("animal_id"),
    _measurement.c.kind == sa.bindparam("kind"),
    _measurement.c.id != sa.bindparam("but_id"),
    _measurement.c.ended_on.is_(None),
)
MEASURED_BEFORE = Statement(
    _alike.where(_measurement.c.measured_on <= sa.bindparam("on"))
    .order_by(_measurement.c.measured_on.desc(), _measurement.c.id.desc())
    .limit(1)
)
MEASURED_AFTER = Statement(
    _alike.where(_measurement.c.measured_on > sa.bindparam("on")).order_by(_measurement.c.measured_on, _measurement.c.id).limit(1)
)
NONE_YET = UUID(int=0)
"""The id of no measurement: a new one is compared with all."""
OF_EGGS = frozenset({MeasureKind.EGG_LENGTH, MeasureKind.EGG_WIDTH})
"""What is measured before anything hatches."""


def record_measurement(unit: Unit, animal_id: UUID, stated: MeasurementEntered, *, record_id: UUID | None = None) -> Measurement:
    """Put a measurement of an animal on record and return it.

    A value that looks like a slip of the unit, by the measurement of its kind that is nearest by date, is taken once it is ``confirmed``,
    and then marked as surprising. The first of its kind is compared with nothing. What was measured before the animal came can be told.

    Raises:
        RuleBroken: It looks like a slip of the unit; or the day, the member of staff or the number of animals cannot be.
    """
    animal = animal_to_describe(unit, animal_id)
    said = stated_of(MeasurementStated, stated)
    _check(unit, animal, said, before=None)
    surprising = _is_surprising(unit, animal, said, confirmed=stated.confirmed, but_id=NONE_YET)
    return recorded(unit, Measurement, said, record_id=record_id, animal_id=animal.id, surprising=surprising)


def change_measurement(unit: Unit, measurement_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Measurement:
    """Apply a correction to a measurement and return it. Another value, kind or day is judged as a new measurement is.

    Raises:
        NotFound: The animal has no such measurement.
        RuleBroken: As for recording.
    """
    part_of(unit, Measurement, measurement_id, owner_id=owner_id)
    found = current(unit, Measurement, measurement_id, expected_version=expected_version)
    animal = animal_to_describe(unit, owner_id)
    entered = entered_anew(MeasurementEntered, MeasurementStated, found, patch)
    said = stated_of(MeasurementStated, entered)
    _check(unit, animal, said, before=found)
    surprising = found.surprising
    if (said.kind, _value(said), said.measured_on) != (found.kind, _value(found), found.measured_on):
        surprising = _is_surprising(unit, animal, said, confirmed=entered.confirmed, but_id=found.id)
    return corrected(unit, found, said, surprising=surprising)


def end_measurement(unit: Unit, measurement_id: UUID, ending: Ending, *, owner_id: UUID) -> Measurement:
    """Take a measurement that was wrong out of account and return it; it stays on record.

    Raises:
        NotFound: The animal has no such measurement.
        Conflict: It was taken out of account already.
    """
    found = part_of(unit, Measurement, measurement_id, owner_id=owner_id)
    return ended(unit, found, ending, today=today_of(unit, unit.fetch(Animal, owner_id)))


def _check(unit: Unit, animal: Animal, said: MeasurementStated, *, before: Measurement | None) -> None:
    was_on, was_by, was_of = (before.measured_on, before.staff_id, before.of_number) if before else (None, None, None)
    refuse_untimely(unit, animal, field="measured_on", on=said.measured_on, before=was_on)
    if said.measured_on != was_on:
        _refuse_before_hatching(animal, said)
    if said.staff_id is not None and (said.staff_id, said.measured_on) != (was_by, was_on):
        _refuse_other_staff(unit, said, staff_id=said.staff_id)
    if before is None or (said.of_number, said.measured_on) != (was_of, was_on):
        _refuse_other_number(unit, animal, said)


def _refuse_before_hatching(animal: Animal, said: MeasurementStated) -> None:
    hatched_on = animal.hatched_on
    if hatched_on is not None and said.measured_on < hatched_on and said.kind not in OF_EGGS:
        raise RuleBroken(f"It hatched on {hatched_on.isoformat()} at the earliest.", code="before-hatching", field="measured_on")


def _refuse_other_staff(unit: Unit, said: MeasurementStated, *, staff_id: UUID) -> None:
    """Refuse whoever is not of the organisation's staff, or was not on that day any more.

    Raises:
        RuleBroken: They are not.
    """
    found = unit.find(Staff, staff_id)
    if found is None:
        raise RuleBroken("There is no such member of staff.", code="reference-unknown", field="staff_id")
    if found.ended_on is not None and said.measured_on > found.ended_on:
        raise RuleBroken(f"That member of staff left on {found.ended_on.isoformat()}.", code="reference-ended", field="staff_id")


def _refuse_other_number(unit: Unit, animal: Animal, said: MeasurementStated) -> None:
    """Refuse a number that cannot have been measured: of an individual other than one; of a group none, or more than there were.

    Raises:
        RuleBroken: It cannot.
    """
    number = said.of_number
    if animal.grouping is Grouping.INDIVIDUAL:
        if number not in {None, 1}:
            raise RuleBroken("This is one animal, not a group.", code="individual", field="of_number")
        return
    if number is None:
        raise RuleBroken("Say of how many animals of the group this is the mean.", code="required", field="of_number")
    there = _number_on(unit, animal, said)
    if there is not None and number > there:
        raise RuleBroken(f"There were only {there} on that day.", code="too-many", field="of_number")


def _number_on(unit: Unit, animal: Animal, said: MeasurementStated) -> int | None:
    """Return how many animals of a group were there at most on the day; ``None`` where that is not known exactly, or before they came."""
    events = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)
    until = [one for one in events if one.happened_on <= said.measured_on]
    if animal.estimated or not until:
        return None
    morning = sum(one.change for one in until if one.happened_on < said.measured_on)
    gained = sum(max(one.change, 0) for one in until if one.happened_on == said.measured_on)
    return morning + gained


def _is_surprising(unit: Unit, animal: Animal, said: MeasurementStated, *, confirmed: bool, but_id: UUID) -> bool:
    """Return whether a value looks like a slip of the unit and was confirmed.

    Raises:
        RuleBroken: It looks like one and was not confirmed; the sentence says what was expected, and what it would be in another unit.
    """
    beside = _nearest(unit, animal, said, but_id=but_id)
    if beside is None:
        return False
    slip = unit_slip(Measured(_value(said), said.measured_on), Measured(_value(beside), beside.measured_on), kind=said.kind)
    if slip is not None and not confirmed:
        raise RuleBroken(slip.sentence, code="unit-slip", field=said.kind.field)
    return slip is not None


def _nearest(unit: Unit, animal: Animal, said: MeasurementStated, *, but_id: UUID) -> Measurement | None:
    """Return the measurement of the same kind that is nearest by date; of two, the earlier."""
    alike = {"animal_id": animal.id, "kind": said.kind, "on": said.measured_on, "but_id": but_id}
    before, after = unit.first(Measurement, MEASURED_BEFORE, **alike), unit.first(Measurement, MEASURED_AFTER, **alike)
    if before is None or after is None:
        return before or after
    return before if said.measured_on - before.measured_on <= after.measured_on - said.measured_on else after


def _value(said: MeasurementStated) -> float:
    return float(getattr(said, said.kind.field))
