"""The enclosures that equipment rows name, and those that are made because nobody had recorded them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.places import Places, by_place
from domain.actions.imports.plans import blank_row
from domain.actions.imports.rows import CellFault
from domain.actions.imports.sheet import Sheet, checked_value
from domain.records.enclosures import Enclosure, EnclosureStated
from domain.records.unit import Unit
from domain.rules.text import same_name


@dataclass(frozen=True, slots=True)
class NamedEnclosures:
    """The enclosure's id for each row, and the rows of those that are not on record yet, by id."""

    ids: Sequence[UUID | None]
    new: Mapping[UUID, Mapping[str, Any]]

    def rows_for(self, positions: Iterable[int]) -> list[Mapping[str, Any]]:
        """Return the new enclosures that the rows at these positions need."""
        if not self.new:
            return []
        needed = dict.fromkeys(self.ids[position] for position in positions)
        return [self.new[one] for one in needed if one is not None and one in self.new]


def resolve_enclosures(unit: Unit, sheet: Sheet, sites: Sequence[UUID | None], *, places: Places, create: bool) -> NamedEnclosures:
    """Find each row's enclosure by its name at the row's site; an unknown one is refused, or prepared where it is to be made."""
    sheet.resolve("enclosure", lambda value: checked_value(EnclosureStated, "name", value))
    names = sheet.column("enclosure")
    keys = {name: same_name(name) for name in set(names) if name is not None}
    known = by_place(kept_by_key(unit, Enclosure, "name_key", keys.values()))
    new: dict[UUID, Mapping[str, Any]] = {}
    ids: list[UUID | None] = []
    for position, (name, site) in enumerate(zip(names, sites, strict=True)):
        if name is None or site is None:
            ids.append(None)
            continue
        place = (site, keys[name])
        if place not in known and create:
            row = _new_row(unit, name=name, name_key=keys[name], site_id=site)
            known[place] = row["id"]
            new[row["id"]] = row
        ids.append(known.get(place))
        if place not in known:
            fault = _unknown(name, site=places.site_names.get(site))
            sheet.refuse(position, "enclosure", fault.code, fault.reason)
    return NamedEnclosures(ids, new)


def _new_row(unit: Unit, *, name: str, name_key: str, site_id: UUID) -> dict[str, Any]:
    return {**blank_row(unit, Enclosure), "id": unit.new_id(), "site_id": site_id, "name": name, "name_key": name_key}


def _unknown(name: str, *, site: str | None) -> CellFault:
    return CellFault("enclosure-unknown", f"enclosure unknown: there is no {name!r} at {site or 'the site'}")
