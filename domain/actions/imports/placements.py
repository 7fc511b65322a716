"""Importing placements: where animals were put, in the order of the days."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from domain.actions.imports.named_animals import resolve_animals
from domain.actions.imports.named_enclosures import resolve_enclosures
from domain.actions.imports.places import resolve_places
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, day_order, differing, ever_of, fault_in, note_withdrawn, try_rows
from domain.actions.placements import MoveStated, change_placement, place_animal
from domain.errors import Conflict
from domain.records.animals import Placement
from domain.records.unit import Unit

_PLAIN = ("from_on", "override_reason", "note")
_COLUMNS = {"enclosure_id": "enclosure"}
EVER_PLACED = ever_of(Placement, "animal_id")


def import_placements(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of placements states; one is known again by its animal, its enclosure and its first day."""
    sheet.check(MoveStated, *_PLAIN)
    animals = resolve_animals(unit, sheet, day="from_on")
    places = resolve_places(unit, sheet)
    for name in ("site", "enclosure", "from_on"):
        sheet.refuse_blank(name)
    enclosures = resolve_enclosures(unit, sheet, sheet.column("site"), places=places, create=False).ids
    days = sheet.column("from_on")
    keys = [(animal, day) if animal and day else None for animal, day in zip(animals, days, strict=True)]
    sheet.refuse_repeated(keys, name="from_on")
    act = partial(_act, unit, sheet, animals, enclosures)
    return try_rows(unit, sheet, day_order(sheet, "from_on"), act=act, columns=_COLUMNS)


def _act(unit: Unit, sheet: Sheet, animals: Sequence[Any], enclosures: Sequence[Any], position: int) -> Came:
    animal_id, enclosure_id = animals[position], enclosures[position]
    said: dict[str, Any] = sheet.said(position, *_PLAIN)
    ever = unit.all(Placement, EVER_PLACED, animal_id=animal_id)
    of_that_day = [one for one in ever if one.from_on == said["from_on"]]
    alike = [one for one in of_that_day if one.enclosure_id == enclosure_id]
    kept = next((one for one in alike if one.ended_on is None), None)
    if kept is not None:
        patch = differing(kept, said)
        if patch:
            change_placement(unit, kept.id, patch, owner_id=animal_id, expected_version=kept.version)
        return Came.CHANGED if patch else Came.UNCHANGED
    if alike:
        return note_withdrawn(sheet, position, alike[-1])
    try:
        place_animal(unit, animal_id, MoveStated(enclosure_id=enclosure_id, **said))
    except Conflict as refused:
        if refused.code != "moved-already":
            raise
        raise fault_in("from_on", refused.code, "it was put elsewhere on that day already; correct that placement, or the day") from None
    return Came.CREATED
