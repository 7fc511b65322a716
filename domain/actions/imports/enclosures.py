"""Planning the import of enclosures: shapes put together from their dimensions, parents before what lies within them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any, get_args
from uuid import UUID

from pydantic import TypeAdapter, ValidationError

from domain.actions.enclosures import derived_size as size_of
from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.places import resolve_places, system_at
from domain.actions.imports.plans import Plan, plan_row, started_plan
from domain.actions.imports.sheet import Sheet
from domain.errors import Fault, RuleBroken
from domain.records.enclosures import Enclosure, EnclosureStated
from domain.records.shapes import Shape
from domain.records.stated import faults_of
from domain.records.unit import Unit
from domain.rules.text import same_name

_PLAIN = ("name", "kind", "displacement_fraction", "walking_order", "note")
_SHAPE: TypeAdapter[Any] = TypeAdapter(Shape)
_DIMENSIONS = tuple(dict.fromkeys(name for shape in get_args(get_args(Shape)[0]) for name in shape.model_fields if name != "kind"))


def plan_enclosures(unit: Unit, sheet: Sheet) -> Plan:
    """Return what is to be done with a list of enclosures; one is known again by its site and its name, whose spelling is kept."""
    sheet.check(EnclosureStated, *_PLAIN)
    names = sheet.keys("name")
    places = resolve_places(unit, sheet)
    sheet.refuse_blank("site")
    sites = sheet.column("site")
    keys = [(site, name) if site and name else None for site, name in zip(sites, names, strict=True)]
    sheet.refuse_repeated(keys, name="name")
    nest = _Nest(unit, sheet, keys)
    plan = started_plan(unit, Enclosure, EnclosureStated, derived=size_of)
    for position in nest.parents_first():
        site_id = sites[position]
        system = system_at(sheet, places, position, site_id=site_id) if position not in sheet.refusals else None
        if position not in sheet.refusals:
            old = nest.found.get(keys[position])
            own = {"site_id": site_id, **({"life_support_system_id": system} if system else {})}
            facts = partial(_facts, sheet, position, old=old, own=own, nest=nest)
            nest.put(position, plan_row(unit, plan, sheet, position, old=old, facts=facts))
    return plan


class _Nest:
    """Which enclosures there are, and within which other each lies, as it will be after the import."""

    def __init__(self, unit: Unit, sheet: Sheet, keys: Sequence[Any]) -> None:
        self._unit, self._sheet, self._keys = unit, sheet, keys
        parents = [None if name is None else same_name(name) for name in sheet.column("parent")]
        self._within = [(key[0], parent) if key and parent else None for key, parent in zip(keys, parents, strict=True)]
        wanted = {key[1] for key in (*keys, *self._within) if key}
        rows = kept_by_key(unit, Enclosure, "name_key", wanted)
        self.found: dict[Any, Mapping[str, Any]] = {(row["site_id"], row["name_key"]): row for row in rows}
        self._ids: dict[Any, UUID] = {place: row["id"] for place, row in self.found.items()}
        self._parents: dict[UUID, UUID | None] = {row["id"]: row["parent_id"] for row in rows}

    def parents_first(self) -> Iterator[int]:
        """Yield the positions of the rows so that an enclosure comes before what lies within it."""
        standing = {key: position for position, key in reversed(list(enumerate(self._keys))) if key}
        done: set[int] = set()
        for start in range(len(self._keys)):
            path = [start]
            while (above := standing.get(self._within[path[-1]])) is not None and above not in done and above not in path:
                path.append(above)
            for position in reversed(path):
                if position not in done:
                    done.add(position)
                    yield position

    def parent_of(self, position: int, *, own_id: UUID | None) -> UUID | None:
        """Return the id of the enclosure that a row's enclosure lies within, ``None`` where the row names none.

        Raises:
            RuleBroken: There is none of that name at the site, or it would lie within itself.
        """
        place = self._within[position]
        if place is None:
            return None
        found = self._ids.get(place)
        if found is None:
            detail = "parent unknown: there is no such enclosure at the site, its own row is refused, or it lies within this one"
            raise RuleBroken(detail, code="parent-unknown", faults=(Fault("/parent", "parent-unknown", detail),))
        above: UUID | None = found
        while above is not None:
            if above == own_id:
                raise RuleBroken("An enclosure cannot lie within itself.", code="circular", field="parent")
            above = self._parent(above)
        return found

    def put(self, position: int, record_id: UUID | None) -> None:
        """Note that a row is planned."""
        if record_id is not None:
            place = self._within[position]
            self._ids[self._keys[position]] = record_id
            self._parents[record_id] = self._ids.get(place) if place else self._parents.get(record_id)

    def _parent(self, enclosure_id: UUID) -> UUID | None:
        if enclosure_id not in self._parents:
            found = self._unit.find(Enclosure, enclosure_id)
            self._parents[enclosure_id] = found.parent_id if found else None
        return self._parents[enclosure_id]


def _facts(sheet: Sheet, position: int, *, old: Mapping[str, Any] | None, own: Mapping[str, Any], nest: _Nest) -> dict[str, Any]:
    said = sheet.said(position, *_PLAIN, but=("name",) if old else ())
    parent_id = nest.parent_of(position, own_id=old["id"] if old else None)
    shape = _shape(sheet, position)
    return {**own, **said, **({"shape": shape} if shape else {}), **({"parent_id": parent_id} if parent_id else {})}


def _shape(sheet: Sheet, position: int) -> Any:  # noqa: ANN401 - any of the shapes
    dimensions = {name: list(value) if isinstance(value, tuple) else value for name, value in sheet.said(position, *_DIMENSIONS).items()}
    kind = sheet.column("shape")[position]
    if kind is None and not dimensions:
        return None
    if kind is None:
        raise RuleBroken("shape missing: say which shape these dimensions are of", code="shape-missing", field="shape")
    try:
        return _SHAPE.validate_python({"kind": kind, **dimensions})
    except ValidationError as refused:
        within: list[Any] = [{**error, "loc": ("shape", *error["loc"])} for error in refused.errors()]
        raise RuleBroken("The shape cannot be taken.", code="invalid", faults=faults_of(within)) from None
