"""Importing animals and groups as they came into the collection, in the order in which they came.

A list says what it says of the arrival. What happened since is told by events and placements, and by the lists of these; so a row that
says of a known animal what was so when it came, or is so now, says nothing new, and one that says otherwise is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any
from uuid import UUID

from domain.actions.animals import change_animal, register_animal
from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.marks import EVER_MARKED, mark_key
from domain.actions.imports.named_animals import animals_by_tag
from domain.actions.imports.named_enclosures import resolve_enclosures
from domain.actions.imports.places import resolve_places
from domain.actions.imports.rows import CellFault
from domain.actions.imports.sheet import Sheet, checked_value
from domain.actions.imports.tried import Came, Tally, check_as, day_order, differing, ever_of, fault_in, try_rows
from domain.actions.lives import EVENTS_OF, PLACEMENTS_OF
from domain.actions.marks import record_mark
from domain.errors import Fault, Refusal, RuleBroken
from domain.records.animals import Animal, AnimalEvent, AnimalStated, DatePrecision, Placement
from domain.records.holdings import CallName
from domain.records.marks import Mark, MarkEntered, MarkKind
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.lives import OPENING, LifeStage, Sex
from domain.rules.text import same_name

_TEXTS = (
    "tag", "locality", "acquired_on", "acquired_from", "reference", "placed_on", "name", "name_as_printed", "override_reason", "note",
)  # fmt: skip
_WORDS = ("grouping", "sex", "life_stage", "origin", "came_by", "basis")
_FACTS = ("grouping", "origin", "locality", "name_as_printed", "note")
"""What an animal is, which a row may correct."""
_COLUMNS = {"taxon_id": "taxon", "enclosure_id": "enclosure", "count": "number", "happened_on": "acquired_on", "from_on": "acquired_on"}
_MARK_COLUMNS = {"code": "transponder_code", "code_again": "transponder_code_again", "reading": "transponder_reading"}
_BY_ITS_FIRST_EVENT = "How and when it came is told by its first event; withdraw that one and tell it anew."
_BY_PLACEMENTS = "Where it was since is told by a list of placements."
_TOLD: Mapping[str, str] = {
    "number": "How many there are is told by events: a count, births, deaths.",
    "sex": "Its sex is told by an event of kind 'sexed'.",
    "life_stage": "Its stage of life is told by an event of kind 'staged'.",
    "name": "What it is called since is told by its names.",
    "enclosure": _BY_PLACEMENTS,
    "placed_on": _BY_PLACEMENTS,
    **dict.fromkeys(("came_by", "acquired_on", "basis", "acquired_from", "reference"), _BY_ITS_FIRST_EVENT),
}
"""What a list says of the arrival only, and how it is told of an animal that is on record."""
_PRECISIONS = tuple(DatePrecision)
EVER_CALLED = ever_of(CallName, "animal_id")


@dataclass(frozen=True, slots=True)
class _Known:
    """What each row's names stand for: accepted taxa and enclosures; and which animals bore its tag before the list."""

    taxa: Sequence[UUID | None]
    enclosures: Sequence[UUID | None]
    bearers: Sequence[Sequence[Mapping[str, Any]]]


def import_animals(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of animals states; one is known again by its tag."""
    sheet.check(AnimalStated, *_TEXTS)
    check_as(sheet, AnimalStated, number="count")
    check_as(sheet, MarkEntered, transponder_code="code", transponder_code_again="code_again")
    _settle_hatching(sheet)
    keys = sheet.keys("tag")
    sheet.refuse_repeated(keys, name="tag")
    known = animals_by_tag(unit, keys)
    bearers = [known.get(key, ()) for key in keys]
    taxa = _accepted_taxa(unit, sheet)
    places = resolve_places(unit, sheet)
    sites = sheet.column("site")
    for position, enclosure in enumerate(sheet.column("enclosure")):
        if enclosure is not None and sites[position] is None and not sheet.refused_for(position, "site"):
            sheet.refuse(position, "site", "site-missing", "site missing: say at which site this enclosure is")
    enclosures = resolve_enclosures(unit, sheet, sites, places=places, create=False).ids
    act = partial(_act, unit, sheet, _Known(taxa, enclosures, bearers))
    return try_rows(unit, sheet, day_order(sheet, "acquired_on"), act=act, columns=_COLUMNS)


def _settle_hatching(sheet: Sheet) -> None:
    """Let the day of hatching and how exactly it is known be two columns; of two precisions the coarser one holds."""
    said = list(sheet.column("hatched_on"))
    stated = list(sheet.column("hatched_precision"))
    for position, one in enumerate(said):
        if one is None:
            if stated[position] is not None and not sheet.refused_for(position, "hatched_on"):
                sheet.refuse(
                    position, "hatched_on", "hatched_on-missing", "hatched_on missing: say the date of which this is the precision"
                )
            continue
        day, precision = one
        found = checked_value(AnimalStated, "hatched_on", day)
        if isinstance(found, CellFault):
            sheet.refuse(position, "hatched_on", found.code, found.reason)
            continue
        precision = max(precision, stated[position] or precision, key=_PRECISIONS.index)
        said[position], stated[position] = _first_day(day, precision), precision
    if "hatched_on" in sheet.columns or "hatched_precision" in sheet.columns:
        sheet.columns |= {"hatched_on": said, "hatched_precision": stated}


def _first_day(day: date, precision: DatePrecision) -> date:
    if precision is DatePrecision.DAY:
        return day
    return day.replace(day=1) if precision is DatePrecision.MONTH else day.replace(month=1, day=1)


def _accepted_taxa(unit: Unit, sheet: Sheet) -> Sequence[UUID | None]:
    """Return the taxon of each row by its name, of a synonym the accepted one, which is noted; unknown names are refused."""
    names = sheet.column("taxon")
    found = {row["name_key"]: row for row in kept_by_key(unit, Taxon, "name_key", {same_name(one) for one in names if one is not None})}
    accepted = {row["accepted_id"]: unit.fetch(Taxon, row["accepted_id"]) for row in found.values() if row["accepted_id"]}
    ids: list[UUID | None] = []
    for position, name in enumerate(names):
        row = None if name is None else found.get(same_name(name))
        ids.append(None if row is None else row["accepted_id"] or row["id"])
        if name is not None and row is None:
            sheet.refuse(position, "taxon", "taxon-unknown", f"taxon unknown: there is no taxon {name.strip()!r}, nor such a synonym")
        if row is not None and row["accepted_id"] is not None:
            meant = accepted[row["accepted_id"]].scientific_name
            sheet.notice(position, "taxon", "synonym", f"this is a synonym of {meant}, and taken for it")
    return ids


def _act(unit: Unit, sheet: Sheet, known: _Known, position: int) -> Came:
    bearer = _bearer(sheet, position, known.bearers[position], taxon_id=known.taxa[position])
    if bearer is None:
        return _register(unit, sheet, known, position)
    animal = unit.fetch(Animal, bearer)
    _refuse_told_elsewhere(unit, sheet, position, animal, enclosure_id=known.enclosures[position])
    said = {**sheet.said(position, *_FACTS, "hatched_on", "hatched_precision"), **_taxon_said(unit, animal, known.taxa[position])}
    patch = differing(animal, said)
    if patch:
        change_animal(unit, animal.id, patch, expected_version=animal.version)
    marked = _mark(unit, sheet, position, animal)
    if animal.ended_on is not None:
        until = animal.ended_on.isoformat()
        sheet.notice(
            position, "tag", "ended", f"it was here until {until}; another animal of this tag would need an acquired_on of its own"
        )
    return Came.CHANGED if patch or marked else Came.UNCHANGED


def _register(unit: Unit, sheet: Sheet, known: _Known, position: int) -> Came:
    said = sheet.said(position, *_TEXTS, *_WORDS, "hatched_on", "hatched_precision")
    number = sheet.column("number")[position]
    beside = {"taxon_id": known.taxa[position], "enclosure_id": known.enclosures[position], "count": number}
    said |= {name: value for name, value in beside.items() if value is not None}
    animal = register_animal(unit, AnimalStated(**said))
    _mark(unit, sheet, position, animal)
    if sheet.column("site")[position] is not None and known.enclosures[position] is None:
        sheet.notice(position, "enclosure", "enclosure-missing", "enclosure missing: it is on record, but at no site before it is placed")
    return Came.CREATED


def _bearer(sheet: Sheet, position: int, rows: Sequence[Mapping[str, Any]], *, taxon_id: UUID | None) -> UUID | None:
    """Return the animal on record that a row is about, ``None`` where it is about a new one.

    A tag whose bearer died or left may be given to another animal, which came then or later.

    Raises:
        RuleBroken: It cannot be told whether the row is about such an animal or another.
    """
    acquired_on = sheet.column("acquired_on")[position]
    living = [row for row in rows if row["ended_on"] is None]
    came_then = [row for row in rows if acquired_on is not None and row["came_on"] == acquired_on]
    if came_then or living or not rows:
        return next((row["id"] for row in (*came_then, *living)), None)
    last = max(rows, key=lambda row: row["ended_on"])
    if acquired_on is not None and acquired_on >= last["ended_on"]:
        return None
    if acquired_on is None and taxon_id in {None, last["taxon_id"]}:
        found: UUID = last["id"]
        return found
    reason = f"an animal of this tag was here until {last['ended_on'].isoformat()}; for another one say acquired_on, not earlier than that"
    raise fault_in("tag", "tag-ended", reason)


def _taxon_said(unit: Unit, animal: Animal, taxon_id: UUID | None) -> dict[str, UUID]:
    """Return the taxon that a row says, where it is another one than the animal's, whose own name may be a synonym of it."""
    if taxon_id is None or unit.fetch(Taxon, animal.taxon_id).accepted_id == taxon_id:
        return {}
    return {"taxon_id": taxon_id}


def _refuse_told_elsewhere(unit: Unit, sheet: Sheet, position: int, animal: Animal, *, enclosure_id: UUID | None) -> None:
    """Refuse what a row says of a known animal's arrival, place or name that is on record neither for then nor for now.

    Raises:
        RuleBroken: It says such; each column is a fault.
    """
    said = {name: sheet.column(name)[position] for name in _TOLD if name != "enclosure"}
    if enclosure_id is None and all(one is None for one in said.values()):
        return
    on_record: dict[str, set[Any]] = {
        "number": {animal.count},
        "sex": {animal.sex},
        "life_stage": {animal.life_stage},
        "name": {animal.name, *_names(unit, animal, said["name"])},
        **{name: set() for name in ("came_by", "acquired_on", "basis", "acquired_from", "reference")},
    }
    came = next((one for one in unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id) if one.kind in OPENING), None)
    for name, then in _arrival(came).items() if came else ():
        on_record[name].add(then)
    wrong = [name for name, known in on_record.items() if said[name] is not None and said[name] not in known]
    wrong += _misplaced(unit, animal, enclosure_id=enclosure_id, placed_on=said["placed_on"])
    if wrong:
        told = tuple(Fault(f"/{name}", "told-elsewhere", f"{name} is another one than on record. {_TOLD[name]}") for name in wrong)
        raise RuleBroken("Some of this is not corrected here.", code="invalid", faults=told)


def _arrival(came: AnimalEvent) -> Mapping[str, Any]:
    """Return what an animal's first event says, by the columns of a list."""
    return {
        "number": came.number,
        "sex": came.sex or Sex.UNKNOWN,
        "life_stage": came.life_stage or LifeStage.UNKNOWN,
        "came_by": came.kind,
        "acquired_on": came.happened_on,
        "basis": came.basis,
        "acquired_from": came.party,
        "reference": came.reference,
    }


def _names(unit: Unit, animal: Animal, said: str | None) -> set[str | None]:
    """Return what is said, where the animal is or was called so in any spelling."""
    if said is None:
        return set()
    called = unit.all(CallName, EVER_CALLED, animal_id=animal.id)
    return {said for one in called if one.ended_on is None and one.name_key == same_name(said)}


def _misplaced(unit: Unit, animal: Animal, *, enclosure_id: UUID | None, placed_on: date | None) -> list[str]:
    if enclosure_id is None and placed_on is None:
        return []
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    there = [one for one in places if enclosure_id is None or one.enclosure_id == enclosure_id]
    if not there:
        return ["enclosure"]
    return [] if placed_on is None or any(one.from_on == placed_on for one in there) else ["placed_on"]


def _mark(unit: Unit, sheet: Sheet, position: int, animal: Animal) -> bool:
    """Put the transponder that a row names on record, borne since the animal came, and return whether it was not there yet.

    Raises:
        RuleBroken: Its code cannot be one or was not read or typed twice, or the animal bears another.
        Conflict: Another living animal bears it.
    """
    said = {field: sheet.column(column)[position] for field, column in _MARK_COLUMNS.items()}
    code = said["code"]
    if code is None:
        if said["code_again"] is not None:
            raise fault_in("transponder_code", "transponder_code-missing", "transponder_code missing: only the second column has one")
        return False
    ever = unit.all(Mark, EVER_MARKED, animal_id=animal.id, kind=MarkKind.TRANSPONDER)
    if any(one.code_key == mark_key(MarkKind.TRANSPONDER, code) for one in ever):
        return False
    if any(one.ended_on is None for one in ever):
        reason = "the animal bears another transponder; one that was misread is corrected, and a second one is told by a list of marks"
        raise fault_in("transponder_code", "told-elsewhere", reason)
    stated: dict[str, Any] = {field: one for field, one in said.items() if one is not None} | {"from_on": animal.came_on}
    try:
        record_mark(unit, animal.id, MarkEntered(kind=MarkKind.TRANSPONDER, **stated))
    except Refusal as refused:
        faults = tuple(Fault(f"/{_MARK_COLUMNS.get(one.pointer[1:], one.pointer[1:])}", one.code, one.detail) for one in refused.faults)
        raise RuleBroken(refused.detail, code=refused.code, faults=faults) from None
    return True
