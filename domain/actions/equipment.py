"""Registering, changing, ending and replacing equipment, and the models it is of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import (
    Ending,
    corrected,
    current,
    ended,
    recorded,
    referred,
    refuse_later_than,
)
from domain.actions.sites import today_at
from domain.errors import Conflict, RuleBroken
from domain.records.base import Stated, table_of
from domain.records.columns import Day, Hours, Id, Name, Note
from domain.records.enclosures import Enclosure, LifeSupportSystem
from domain.records.equipment import (
    Equipment,
    EquipmentCheck,
    EquipmentModel,
    EquipmentModelStated,
    EquipmentStated,
    HourReading,
    OutputReading,
    RunPeriodStated,
    Spare,
)
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.text import same_name


class ReplacementStated(Stated):
    """A replacement that was carried out: when, why the old item went, and what is new about the new one.

    What is left out stays as it was: model, tag, position, run schedule. ``spare_id`` names the shelf the part was taken from; without it
    the shelf of that model with the most parts at the site is taken, and no shelf at all where ``no_spare`` says so.
    """

    installed_on: Day
    reason: Name
    id: Id | None = None
    tag: Name | None = None
    model_id: Id | None = None
    serial: Name | None = None
    manufactured_on: Day | None = None
    expires_on: Day | None = None
    opened_on: Day | None = None
    counter_at_installation_h: Hours = 0.0
    spare_id: Id | None = None
    no_spare: bool = False
    note: Note = ""


_spare = table_of(Spare)
SPARES_OF_MODEL = Statement(
    sa.select(_spare)
    .where(
        _spare.c.organisation_id == sa.bindparam("organisation_id"),
        _spare.c.site_id == sa.bindparam("site_id"),
        _spare.c.model_id == sa.bindparam("model_id"),
        _spare.c.ended_on.is_(None),
        _spare.c.on_hand > 0,
    )
    .order_by(_spare.c.on_hand.desc(), _spare.c.shelf_key)
)


def _least(column: sa.Column[Any]) -> Statement:
    table = column.table
    return Statement(
        sa.select(sa.func.min(column, type_=column.type)).where(
            table.c.organisation_id == sa.bindparam("organisation_id"),
            table.c.equipment_id == sa.bindparam("equipment_id"),
            table.c.ended_on.is_(None),
        )
    )


LEAST_COUNTER = _least(table_of(HourReading).c.counter_h)
FIRST_SEEN = (
    _least(table_of(HourReading).c.read_on),
    _least(table_of(OutputReading).c.measured_on),
    _least(table_of(EquipmentCheck).c.done_on),
)


def register_equipment_model(unit: Unit, stated: EquipmentModelStated, *, record_id: UUID | None = None) -> EquipmentModel:
    """Register an equipment model and return it."""
    return recorded(unit, EquipmentModel, stated, record_id=record_id, name_key=same_name(stated.name))


def change_equipment_model(unit: Unit, model_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> EquipmentModel:
    """Apply a correction to an equipment model and return it."""
    found = current(unit, EquipmentModel, model_id, expected_version=expected_version)
    stated = merged(EquipmentModelStated, found, patch)
    return corrected(unit, found, stated, name_key=same_name(stated.name))


def end_equipment_model(unit: Unit, model_id: UUID, ending: Ending) -> EquipmentModel:
    """End an equipment model and return it; items of it stay as they are."""
    return ended(unit, unit.fetch(EquipmentModel, model_id), ending, today=unit.origin.at.date())


def register_equipment(unit: Unit, stated: EquipmentStated, *, record_id: UUID | None = None) -> Equipment:
    """Register an installed item and return it.

    Raises:
        RuleBroken: It refers to nothing, to another site, or to a date that has not come yet at the site.
    """
    _check_equipment(unit, stated, before=None)
    return recorded(unit, Equipment, stated, record_id=record_id, **derived_of(stated))


def change_equipment(unit: Unit, equipment_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Equipment:
    """Apply a correction to an item and return it. A part that was exchanged is a replacement, not a correction of this item.

    Raises:
        RuleBroken: As for registering; or what was read on the item would then lie before its installation.
    """
    found = current(unit, Equipment, equipment_id, expected_version=expected_version)
    stated = merged(EquipmentStated, found, patch)
    _check_equipment(unit, stated, before=found)
    _check_readings(unit, found, stated)
    return corrected(unit, found, stated, **derived_of(stated))


def end_equipment(unit: Unit, equipment_id: UUID, ending: Ending) -> Equipment:
    """End an item, taken out with nothing in its place, and return it.

    Raises:
        RuleBroken: The date lies before the item's installation.
    """
    found = unit.fetch_reached(Equipment, equipment_id)
    if ending.on is not None and found.installed_on is not None and ending.on < found.installed_on:
        sentence = f"The item was installed on {found.installed_on.isoformat()}, later than this."
        raise RuleBroken(sentence, code="before-installation", field="on")
    return ended(unit, found, ending, today=today_at(unit, unit.fetch(Site, found.site_id)))


def replace_equipment(unit: Unit, equipment_id: UUID, stated: ReplacementStated, *, expected_version: int | None = None) -> Equipment:
    """Retire the old item, install the new one in the same position, take the part from the shelf; return the new item.

    Raises:
        Conflict: The old item has ended, for example because it was replaced already.
        RuleBroken: A date has not come yet or lies before the old item's installation, or no such spare is on the shelf.
    """
    old = (
        current(unit, Equipment, equipment_id, expected_version=expected_version)
        if expected_version
        else unit.fetch_reached(Equipment, equipment_id)
    )
    if old.ended_on is not None:
        raise Conflict(
            f"This item ended on {old.ended_on.isoformat()}: {old.end_reason}. Replace the item that is there now.",
            code="ended",
        )
    if old.installed_on is not None and stated.installed_on < old.installed_on:
        raise RuleBroken("The new item cannot be older than the one it replaces.", code="before-old", field="installed_on")
    today = today_at(unit, unit.fetch(Site, old.site_id))
    refuse_later_than(today, field="installed_on", on=stated.installed_on)
    ended(unit, old, Ending(reason=stated.reason, on=stated.installed_on), today=today)
    new_facts = _facts_of_new(old, stated)
    _check_equipment(unit, new_facts, before=old)
    if stated.no_spare and stated.spare_id is not None:
        raise RuleBroken("Say spare_id or no_spare, not both.", code="not-together", field="spare_id")
    if not stated.no_spare:
        _take_spare(unit, site_id=old.site_id, model_id=new_facts.model_id, stated=stated)
    return recorded(unit, Equipment, new_facts, record_id=stated.id, **derived_of(new_facts), replaces_id=old.id)


def derived_of(stated: EquipmentStated) -> dict[str, Any]:
    """Return the columns of an item that follow from what is stated."""
    return {"tag_key": same_name(stated.tag), "hours_per_day": constant_hours(stated.run_schedule)}


def constant_hours(schedule: Sequence[RunPeriodStated]) -> float | None:
    """Return the hours a day of a schedule that has been the same since installation, ``None`` for any other [h/day]."""
    if len(schedule) != 1 or schedule[0].starts_on is not None:
        return None
    return schedule[0].hours_per_day


def _check_equipment(unit: Unit, stated: EquipmentStated, *, before: Equipment | None) -> None:
    """Check what an item refers to, and its dates, as far as they differ from those ``before``: what stays may have ended meanwhile."""
    changed = {name for name in (*_PLACES, *_DATES, "model_id") if before is None or getattr(before, name) != getattr(stated, name)}
    if "model_id" in changed:
        referred(unit, EquipmentModel, stated.model_id, field="model_id")
    if changed.intersection(_PLACES):
        _check_places(unit, stated, before=before)
    if changed.intersection(_DATES) or "site_id" in changed:
        today = today_at(unit, unit.fetch(Site, stated.site_id))
        for field in _DATES:
            refuse_later_than(today, field=field, on=getattr(stated, field))


_PLACES = ("site_id", "enclosure_id", "life_support_system_id")
_DATES = ("installed_on", "manufactured_on", "opened_on")


def _check_places(unit: Unit, stated: EquipmentStated, *, before: Equipment | None) -> None:
    kept = {name: getattr(before, name, None) for name in _PLACES}
    referred(unit, Site, stated.site_id, field="site_id", kept=kept["site_id"])
    if stated.enclosure_id is not None:
        enclosure = referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id", kept=kept["enclosure_id"])
        _refuse_elsewhere(enclosure.site_id, stated.site_id, field="enclosure_id")
    if stated.life_support_system_id is not None:
        field = "life_support_system_id"
        system = referred(unit, LifeSupportSystem, stated.life_support_system_id, field=field, kept=kept[field])
        _refuse_elsewhere(system.site_id, stated.site_id, field=field)


def _check_readings(unit: Unit, found: Equipment, stated: EquipmentStated) -> None:
    """Refuse a correction of the installation that what was read, measured or checked since then contradicts."""
    if (stated.installed_on, stated.counter_at_installation_h) == (found.installed_on, found.counter_at_installation_h):
        return
    firsts = [unit.row(statement, equipment_id=found.id) for statement in FIRST_SEEN]
    days = [row[0] for row in firsts if row is not None and row[0] is not None]
    if stated.installed_on is not None and days and min(days) < stated.installed_on:
        sentence = f"Something was recorded on the item on {min(days).isoformat()}, before this date."
        raise RuleBroken(sentence, code="after-readings", field="installed_on")
    counter = unit.row(LEAST_COUNTER, equipment_id=found.id)
    if counter is not None and counter[0] is not None and counter[0] < stated.counter_at_installation_h:
        sentence = f"The counter has stood at {counter[0]:g} h since, less than this."
        raise RuleBroken(sentence, code="counter-backwards", field="counter_at_installation_h")


def _refuse_elsewhere(place_site: UUID, own_site: UUID, *, field: str) -> None:
    if place_site != own_site:
        raise RuleBroken("That place is at another site.", code="other-site", field=field)


def _facts_of_new(old: Equipment, stated: ReplacementStated) -> EquipmentStated:
    schedule = [RunPeriodStated.model_validate(period, strict=False) for period in old.run_schedule]
    return EquipmentStated.model_construct(
        tag=stated.tag or old.tag,
        model_id=stated.model_id or old.model_id,
        site_id=old.site_id,
        enclosure_id=old.enclosure_id,
        life_support_system_id=old.life_support_system_id,
        position=old.position,
        serial=stated.serial,
        installed_on=stated.installed_on,
        manufactured_on=stated.manufactured_on,
        expires_on=stated.expires_on,
        opened_on=stated.opened_on,
        run_schedule=schedule,
        counter_at_installation_h=stated.counter_at_installation_h,
        note=stated.note,
    )


def _take_spare(unit: Unit, *, site_id: UUID, model_id: UUID, stated: ReplacementStated) -> None:
    if stated.spare_id is not None:
        shelf = referred(unit, Spare, stated.spare_id, field="spare_id")
        if (shelf.site_id, shelf.model_id) != (site_id, model_id):
            raise RuleBroken("That shelf holds another model, or is at another site.", code="other-spare", field="spare_id")
    else:
        found = unit.first(Spare, SPARES_OF_MODEL, site_id=site_id, model_id=model_id)
        if found is None:
            raise RuleBroken(
                "No spare of this model is on a shelf at this site. Say no_spare if the part came from elsewhere.",
                code="no-spare",
                field="spare_id",
            )
        shelf = found
    if shelf.on_hand < 1:
        raise RuleBroken(f"Shelf {shelf.shelf} holds none.", code="no-spare", field="spare_id")
    unit.change(shelf, {"on_hand": shelf.on_hand - 1}, action="take_spare")
