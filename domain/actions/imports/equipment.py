"""Planning the import of equipment: column by column, since a list may have a hundred thousand items.

Every distinct value passes the stated class's own field once; the rules between fields (a limit of the item's own needs its reason) are
asked of the stated class for the rows that have such limits. ``tests/importing/test_equipment_columns.py`` shows that both ways agree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.equipment import derived_of
from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.named_enclosures import resolve_enclosures
from domain.actions.imports.places import Places, resolve_places, system_at
from domain.actions.imports.plans import Plan, plan_row, started_plan
from domain.actions.imports.schedules import constant_schedule, schedule_said
from domain.actions.imports.sheet import Sheet
from domain.records.equipment import Equipment, EquipmentStated, RunPeriodStated
from domain.records.unit import Unit

PLAIN = (
    "tag", "position", "serial", "installed_on", "manufactured_on", "expires_on", "opened_on", "counter_at_installation_h",
    "override_life_months", "override_life_hours", "override_output_minimum", "override_reason", "note",
)  # fmt: skip
"""The columns that are fields of the stated class as they stand."""
OVERRIDES = ("override_life_months", "override_life_hours", "override_output_minimum")
NOT_LATER_THAN_TODAY = ("installed_on", "manufactured_on", "opened_on")


def plan_equipment(unit: Unit, sheet: Sheet, *, create_enclosures: bool) -> Plan:
    """Return what is to be done with a list of equipment; an item is known again by its tag among those that have not ended."""
    sheet.check(EquipmentStated, *PLAIN)
    sheet.check(RunPeriodStated, "hours_per_day")
    keys = sheet.keys("tag")
    sheet.refuse_repeated(keys, name="tag")
    places = resolve_places(unit, sheet)
    found = {row["tag_key"]: row for row in kept_by_key(unit, Equipment, "tag_key", keys)}
    olds = [found.get(key) for key in keys] if found else [None] * len(keys)
    _refuse_incomplete(sheet, olds)
    sites = _sites(sheet, olds)
    _refuse_later_than_today(sheet, sites, places)
    _check_overrides(sheet)
    enclosures = resolve_enclosures(unit, sheet, sites, places=places, create=create_enclosures)
    systems = _systems(sheet, sites, places)
    refs = {"site_id": sites, "model_id": sheet.column("model"), "enclosure_id": enclosures.ids, "life_support_system_id": systems}
    plan = started_plan(unit, Equipment, EquipmentStated, derived=derived_of)
    _plan_new(unit, plan, sheet, keys=keys, olds=olds, refs=refs)
    for position, old in enumerate(olds):
        if old is not None and position not in sheet.refusals:
            _plan_known(unit, plan, sheet, position, old=old, refs=refs)
    plan.new_enclosures = enclosures.rows_for(sheet.sound())
    _notice_missing_dates(sheet, olds)
    return plan


def _refuse_incomplete(sheet: Sheet, olds: Sequence[Mapping[str, Any] | None]) -> None:
    for name in ("site", "model"):
        for position, value in enumerate(sheet.column(name)):
            if value is None and olds[position] is None and not sheet.refused_for(position, name):
                sheet.refuse(position, name, f"{name}-missing", f"{name} missing")


def _sites(sheet: Sheet, olds: Sequence[Mapping[str, Any] | None]) -> Sequence[UUID | None]:
    said = sheet.column("site")
    if None not in said:
        return said
    return [old["site_id"] if site is None and old is not None else site for site, old in zip(said, olds, strict=True)]


def _refuse_later_than_today(sheet: Sheet, sites: Sequence[UUID | None], places: Places) -> None:
    earliest = min(places.today.values(), default=date.max)
    for name in NOT_LATER_THAN_TODAY:
        for position, day in enumerate(sheet.column(name)):
            site = sites[position] if day is not None and day > earliest else None
            if site is not None and day > (today := places.today[site]):
                sheet.refuse(
                    position, name, "in-future", f"{name} {day.isoformat()} has not come yet: it is {today.isoformat()} at the site"
                )


def _systems(sheet: Sheet, sites: Sequence[UUID | None], places: Places) -> Sequence[UUID | None]:
    if "life_support_system" not in sheet.columns:
        return sheet.column("life_support_system")
    return [None if site is None else system_at(sheet, places, position, site_id=site) for position, site in enumerate(sites)]


def _check_overrides(sheet: Sheet) -> None:
    """Refuse limits of the item's own that come without a reason, in the stated class's own words."""
    present = [sheet.column(name) for name in OVERRIDES if name in sheet.columns]
    if not present:
        return
    nowhere = UUID(int=0)
    for position in sheet.sound():
        if any(column[position] is not None for column in present):
            said = sheet.said(position, *PLAIN)
            sheet.try_stated(position, EquipmentStated, {**said, "model_id": nowhere, "site_id": nowhere})


def _plan_new(
    unit: Unit,
    plan: Plan,
    sheet: Sheet,
    *,
    keys: Sequence[str],
    olds: Sequence[Any],
    refs: Mapping[str, Sequence[UUID | None]],
) -> None:
    columns: dict[str, Sequence[Any]] = {
        name: _with_default(sheet.columns[name], plan.blank[name]) for name in PLAIN if name in sheet.columns
    }
    hours = sheet.column("hours_per_day")
    schedules: dict[float | None, list[Any]] = {
        None: [],
        **{value: constant_schedule(value) for value in set(hours) if value is not None},
    }
    columns |= {**refs, "tag_key": keys, "hours_per_day": hours, "run_schedule": [schedules[value] for value in hours]}
    names, blank, refused = tuple(columns), plan.blank, sheet.refusals
    for position, values in enumerate(zip(*columns.values(), strict=True)):
        if olds[position] is None and position not in refused:
            plan.created.append({**blank, **dict(zip(names, values, strict=True)), "id": unit.new_id()})


def _with_default(values: list[Any], default: Any) -> list[Any]:  # noqa: ANN401 - a column's default
    return values if default is None else [default if value is None else value for value in values]


def _plan_known(
    unit: Unit,
    plan: Plan,
    sheet: Sheet,
    position: int,
    *,
    old: Mapping[str, Any],
    refs: Mapping[str, Sequence[UUID | None]],
) -> None:
    said = {
        **sheet.said(position, *PLAIN, but=("tag",)),
        **{name: column[position] for name, column in refs.items() if column[position] is not None},
        **schedule_said(sheet, position, old),
    }
    _refuse_left_behind(sheet, position, old, said)
    if position not in sheet.refusals:
        plan_row(unit, plan, sheet, position, old=old, facts=lambda: said)


def _refuse_left_behind(sheet: Sheet, position: int, old: Mapping[str, Any], said: Mapping[str, Any]) -> None:
    if said["site_id"] == old["site_id"]:
        return
    for name in ("enclosure_id", "life_support_system_id"):
        if old[name] is not None and name not in said:
            noun = name.removesuffix("_id").replace("_", " ")
            sheet.refuse(position, "site", "other-site", f"its {noun} is at another site; say where it is now")


def _notice_missing_dates(sheet: Sheet, olds: Sequence[Mapping[str, Any] | None]) -> None:
    for position, day in enumerate(sheet.column("installed_on")):
        old = olds[position]
        if day is None and (old is None or old["installed_on"] is None) and position not in sheet.refusals:
            sheet.notice(
                position,
                "installed_on",
                "installed_on-missing",
                "installed_on missing: what it is due by its age or hours stays unknown",
            )
