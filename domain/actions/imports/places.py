"""The sites, models, systems and enclosures that rows name, found by name and known by id."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.rows import CellFault
from domain.actions.imports.sheet import Sheet
from domain.records.base import Record
from domain.records.enclosures import LifeSupportSystem
from domain.records.equipment import EquipmentModel
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from domain.rules.text import same_name


@dataclass(frozen=True, slots=True)
class Places:
    """What the sheet's names stand for. ``today`` is the date at each site."""

    today: Mapping[UUID, date]
    site_names: Mapping[UUID, str]
    systems: Mapping[tuple[UUID, str], UUID]


def resolve_places(unit: Unit, sheet: Sheet) -> Places:
    """Put ids in the place of the sheet's site and model names, refusing the unknown; return what is known of the sites."""
    sites = _resolve(unit, sheet, "site", Site)
    _resolve(unit, sheet, "model", EquipmentModel)
    names = {same_name(value) for value in sheet.column("life_support_system") if value is not None}
    return Places(
        today={row["id"]: date_at_site(unit.origin.at, row["zone"]) for row in sites},
        site_names={row["id"]: row["name"] for row in sites},
        systems=by_place(kept_by_key(unit, LifeSupportSystem, "name_key", names)),
    )


def by_place(rows: Iterable[Mapping[str, Any]]) -> dict[tuple[UUID, str], Any]:
    """Return the ids of records by their site and the form in which two spellings of their name are equal."""
    return {(row["site_id"], row["name_key"]): row["id"] for row in rows}


def system_at(sheet: Sheet, places: Places, position: int, *, site_id: UUID) -> UUID | None:
    """Return the life-support system that a row names, ``None`` where it names none or is refused because there is no such system."""
    name = sheet.column("life_support_system")[position]
    if name is None:
        return None
    found = places.systems.get((site_id, same_name(name)))
    if found is None:
        site = places.site_names.get(site_id, "the site")
        reason = f"life_support_system unknown: there is no {name!r} at {site}"
        sheet.refuse(position, "life_support_system", "life_support_system-unknown", reason)
    return found


def _resolve(unit: Unit, sheet: Sheet, name: str, record: type[Record]) -> list[dict[str, Any]]:
    if name not in sheet.columns:
        return []
    wanted = {same_name(value) for value in sheet.column(name) if value is not None}
    rows = kept_by_key(unit, record, "name_key", wanted)
    ids = {row["name_key"]: row["id"] for row in rows}
    noun = record.noun.replace("_", " ")
    sheet.resolve(
        name,
        lambda value: ids.get(same_name(value)) or CellFault(f"{name}-unknown", f"{name} unknown: there is no {noun} {value.strip()!r}"),
    )
    return rows
