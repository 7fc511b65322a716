"""Importing taxa: what others lie in or are synonyms of comes first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any
from uuid import UUID

from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, differing, fault_in, try_rows
from domain.actions.taxa import change_taxon, register_taxon
from domain.records.taxa import Taxon, TaxonStated
from domain.records.unit import Unit
from domain.rules.text import same_name

_PLAIN = ("scientific_name", "rank", "common_name", "name_authorship", "according_to", "hazard", "note")
_ABOVE = {"parent": "parent_id", "accepted_name": "accepted_id"}
"""The columns that name another taxon, and the fields for which they stand."""


def import_taxa(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of taxa states; one is known again by its scientific name, whose spelling on record is kept."""
    sheet.check(TaxonStated, *_PLAIN)
    keys = sheet.keys("scientific_name")
    sheet.refuse_repeated(keys, name="scientific_name")
    names = _Names(unit, sheet, keys)
    act = partial(_act, unit, sheet, names)
    return try_rows(unit, sheet, names.uppermost_first(), act=act, columns={field: column for column, field in _ABOVE.items()})


class _Names:
    """Which taxa there are by name, and what each row's taxon lies in or is a synonym of."""

    def __init__(self, unit: Unit, sheet: Sheet, keys: Sequence[str]) -> None:
        self.keys = keys
        self._above = {name: [None if one is None else same_name(one) for one in sheet.column(name)] for name in _ABOVE}
        wanted = {key for column in (keys, *self._above.values()) for key in column if key}
        self.ids: dict[str, UUID] = {row["name_key"]: row["id"] for row in kept_by_key(unit, Taxon, "name_key", wanted)}

    def uppermost_first(self) -> Iterator[int]:
        """Yield the positions of the rows so that a taxon comes before those that name it. Of a circle, any comes first."""
        standing = {key: position for position, key in reversed(list(enumerate(self.keys))) if key}
        done: set[int] = set()
        for start in range(len(self.keys)):
            path = {start: None} if start not in done else {}
            while path:
                position = next(reversed(path))
                named = (standing.get(key) for column in self._above.values() if (key := column[position]) is not None)
                before = next((one for one in named if one is not None and one not in done and one not in path), None)
                if before is not None:
                    path[before] = None
                    continue
                del path[position]
                done.add(position)
                yield position

    def above(self, position: int) -> dict[str, UUID]:
        """Return the taxa that a row names, by the field that holds them.

        Raises:
            RuleBroken: There is none of that name.
        """
        found = {}
        for column, field in _ABOVE.items():
            key = self._above[column][position]
            if key is None:
                continue
            if key not in self.ids:
                raise fault_in(column, f"{column}-unknown", f"{column} unknown: there is no such taxon, or its own row cannot be taken")
            found[field] = self.ids[key]
        return found


def _act(unit: Unit, sheet: Sheet, names: _Names, position: int) -> Came:
    key = names.keys[position]
    known = names.ids.get(key)
    above: dict[str, Any] = names.above(position)
    if known is None:
        names.ids[key] = register_taxon(unit, TaxonStated(**sheet.said(position, *_PLAIN), **above)).id
        return Came.CREATED
    found = unit.fetch(Taxon, known)
    patch = differing(found, {**sheet.said(position, *_PLAIN, but=("scientific_name",)), **above})
    if not patch:
        return Came.UNCHANGED
    change_taxon(unit, found.id, patch, expected_version=found.version)
    return Came.CHANGED
