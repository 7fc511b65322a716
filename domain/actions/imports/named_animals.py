"""The animals that rows name by their tags. A tag may have been borne by several, one after the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.imports.lookups import ever_by_key
from domain.actions.imports.sheet import Sheet
from domain.records.animals import Animal
from domain.records.unit import Unit
from domain.rules.lives import GONE


def animals_by_tag(unit: Unit, keys: Iterable[str]) -> Mapping[str, Sequence[Mapping[str, Any]]]:
    """Return the animals that bear tags or bore them, those that died or left among them, in the order in which they were registered.

    Records that were taken back because the animal was never here are left out.
    """
    found: dict[str, list[Mapping[str, Any]]] = {}
    for row in ever_by_key(unit, Animal, "tag_key", keys):
        if row["ended_on"] is None or row["status"] in GONE:
            found.setdefault(row["tag_key"], []).append(row)
    return found


def bearer_on(rows: Sequence[Mapping[str, Any]], day: date | None) -> Mapping[str, Any]:
    """Return the animal that bore a tag on a day: one that was here then, else the one that bears it now, else the last that bore it."""
    here = [row for row in rows if day is not None and _was_here(row, day)]
    living = [row for row in rows if row["ended_on"] is None]
    return (here or living or rows)[-1]


def resolve_animals(unit: Unit, sheet: Sheet, *, day: str) -> Sequence[UUID | None]:
    """Return the id of each row's animal by its tag and the day in the column ``day``; the rows of unknown tags are refused."""
    keys = sheet.keys("animal")
    known = animals_by_tag(unit, keys)
    days = sheet.column(day)
    found: list[UUID | None] = []
    for position, key in enumerate(keys):
        rows = known.get(key)
        found.append(bearer_on(rows, days[position])["id"] if rows else None)
        if rows is None and not sheet.refused_for(position, "animal"):
            sheet.refuse(position, "animal", "animal-unknown", "animal unknown: there is no animal or group with this tag")
    return found


def _was_here(row: Mapping[str, Any], day: date) -> bool:
    return row["came_on"] is not None and row["came_on"] <= day and (row["ended_on"] is None or day <= row["ended_on"])
