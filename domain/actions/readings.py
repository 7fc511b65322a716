"""Recording what was read, measured and checked on an item, and ending a record that was wrong."""

from __future__ import annotations

from datetime import date
from typing import TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, ended, recorded, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import Conflict, RuleBroken
from domain.records.base import table_of
from domain.records.equipment import (
    Equipment,
    EquipmentCheck,
    EquipmentCheckStated,
    EquipmentModel,
    HourReading,
    HourReadingStated,
    OutputReading,
    OutputReadingStated,
)
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit

Measured = TypeVar("Measured", HourReading, OutputReading, EquipmentCheck)

_hours = table_of(HourReading)
_of_item = (
    _hours.c.organisation_id == sa.bindparam("organisation_id"),
    _hours.c.equipment_id == sa.bindparam("equipment_id"),
    _hours.c.ended_on.is_(None),
)
READING_BEFORE = Statement(
    sa.select(_hours)
    .where(*_of_item, _hours.c.read_on <= sa.bindparam("on"))
    .order_by(_hours.c.read_on.desc(), _hours.c.counter_h.desc())
    .limit(1)
)
READING_AFTER = Statement(
    sa.select(_hours).where(*_of_item, _hours.c.read_on > sa.bindparam("on")).order_by(_hours.c.read_on, _hours.c.counter_h).limit(1)
)


def record_hours(unit: Unit, equipment_id: UUID, stated: HourReadingStated, *, record_id: UUID | None = None) -> HourReading:
    """Record an hour-counter reading and return it.

    Raises:
        RuleBroken: The counter would have run backwards; after an exchange of the counter the item's schedule is stated anew.
    """
    item = _item_on(unit, equipment_id, on=stated.read_on, field="read_on")
    before = unit.first(HourReading, READING_BEFORE, equipment_id=equipment_id, on=stated.read_on)
    after = unit.first(HourReading, READING_AFTER, equipment_id=equipment_id, on=stated.read_on)
    least = before.counter_h if before else item.counter_at_installation_h
    if stated.counter_h < least:
        raise RuleBroken(
            f"The counter stood at {least:g} h before; it does not run backwards.",
            code="counter-backwards",
            field="counter_h",
        )
    if after is not None and stated.counter_h > after.counter_h:
        raise RuleBroken(
            f"The counter stood at {after.counter_h:g} h on {after.read_on.isoformat()}, later than this reading.",
            code="counter-backwards",
            field="counter_h",
        )
    return recorded(unit, HourReading, stated, record_id=record_id, equipment_id=equipment_id)


def record_output(unit: Unit, equipment_id: UUID, stated: OutputReadingStated, *, record_id: UUID | None = None) -> OutputReading:
    """Record an output reading and return it.

    Raises:
        RuleBroken: The item's model has no output unit, so the number would mean nothing.
    """
    item = _item_on(unit, equipment_id, on=stated.measured_on, field="measured_on")
    if unit.fetch(EquipmentModel, item.model_id).output_unit is None:
        raise RuleBroken("The item's model has no output_unit; state it there first.", code="no-unit", field="value")
    return recorded(unit, OutputReading, stated, record_id=record_id, equipment_id=equipment_id)


def record_check(unit: Unit, equipment_id: UUID, stated: EquipmentCheckStated, *, record_id: UUID | None = None) -> EquipmentCheck:
    """Record a check with its result and return it."""
    _item_on(unit, equipment_id, on=stated.done_on, field="done_on")
    return recorded(unit, EquipmentCheck, stated, record_id=record_id, equipment_id=equipment_id)


def end_measured(unit: Unit, kind: type[Measured], equipment_id: UUID, record_id: UUID, ending: Ending) -> Measured:
    """Take a wrong reading or check out of account, with the reason, and return it; it stays on record."""
    item = unit.fetch_reached(Equipment, equipment_id)
    found = unit.fetch(kind, record_id)
    if found.equipment_id != item.id:
        raise Conflict("That record belongs to another item.", code="other-item")
    return ended(unit, found, ending, today=today_at(unit, unit.fetch(Site, item.site_id)))


def _item_on(unit: Unit, equipment_id: UUID, *, on: date, field: str) -> Equipment:
    item = unit.fetch_reached(Equipment, equipment_id)
    if item.ended_on is not None:
        raise Conflict(f"This item ended on {item.ended_on.isoformat()}; nothing is measured on it any more.", code="ended")
    refuse_later_than(today_at(unit, unit.fetch(Site, item.site_id)), field=field, on=on)
    if item.installed_on is not None and on < item.installed_on:
        raise RuleBroken(
            f"The item was installed on {item.installed_on.isoformat()}, later than this date.",
            code="before-installation",
            field=field,
        )
    return item
