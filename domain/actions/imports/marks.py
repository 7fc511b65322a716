"""Importing marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any
from uuid import UUID

from domain.actions.imports.named_animals import resolve_animals
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, day_order, differing, ever_of, note_withdrawn, try_rows
from domain.actions.marks import change_mark, record_mark
from domain.errors import Unfit
from domain.records.marks import Mark, MarkEntered, MarkKind
from domain.records.unit import Unit
from domain.rules.transponders import code_key, read_other_code

_TEXTS = (
    "code", "code_again", "scheme", "body_site", "from_on", "until_on", "until_reason", "reader", "applied_by", "view", "scale_mm", "note",
)  # fmt: skip
_WORDS = ("kind", "reading", "is_primary")
_HOW_IT_WAS_READ = ("code", "code_again", "reading", "kind")
"""What is said with a code that is put on record, and not again of one that is there."""
EVER_MARKED = ever_of(Mark, "animal_id", "kind")


def import_marks(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of marks states; one is known again by its animal, kind and code, without a code by body site, view and first day."""
    sheet.check(MarkEntered, *_TEXTS)
    animals = resolve_animals(unit, sheet, day="from_on")
    for name in ("kind", "from_on"):
        sheet.refuse_blank(name)
    _refuse_repeated(sheet, animals)
    act = partial(_act, unit, sheet, animals)
    return try_rows(unit, sheet, day_order(sheet, "from_on"), act=act, columns={})


def mark_key(kind: MarkKind, code: str | None) -> str | None:
    """Return the form in which two spellings of a code are equal once they are on record."""
    if code is not None and kind is MarkKind.OTHER_TRANSPONDER:
        try:
            code = read_other_code(code)
        except Unfit:
            return code_key(code)
    return None if code is None else code_key(code)


def _refuse_repeated(sheet: Sheet, animals: Sequence[UUID | None]) -> None:
    columns = [sheet.column(name) for name in ("kind", "code", "body_site", "view", "from_on", "is_primary", "until_on")]
    keys, primary = [], []
    for animal, kind, code, body_site, view, from_on, is_primary, until_on in zip(animals, *columns, strict=True):
        whole = animal is not None and kind is not None and from_on is not None
        keys.append((animal, kind, mark_key(kind, code), None if code else (body_site, view), from_on) if whole else None)
        primary.append(animal if is_primary and until_on is None else None)
    sheet.refuse_repeated(keys, name="code")
    sheet.refuse_repeated(primary, name="is_primary")


def _act(unit: Unit, sheet: Sheet, animals: Sequence[Any], position: int) -> Came:
    animal_id, said = animals[position], sheet.said(position, *_TEXTS, *_WORDS)
    alike = [one for one in unit.all(Mark, EVER_MARKED, animal_id=animal_id, kind=said["kind"]) if _is_of(one, said)]
    kept = _known(alike, said)
    if kept is None:
        withdrawn = [one for one in alike if one.ended_on is not None and one.from_on == said["from_on"]]
        if withdrawn:
            return note_withdrawn(sheet, position, withdrawn[-1])
        record_mark(unit, animal_id, MarkEntered(**said))
        return Came.CREATED
    patch = differing(kept, {name: value for name, value in said.items() if name not in _HOW_IT_WAS_READ})
    if not patch:
        return Came.UNCHANGED
    change_mark(unit, kept.id, patch, owner_id=animal_id, expected_version=kept.version)
    return Came.CHANGED


def _is_of(one: Mark, said: Mapping[str, Any]) -> bool:
    """Return whether a mark on record may be the one that a row states."""
    key = mark_key(said["kind"], said.get("code"))
    if key is not None:
        return one.code_key == key
    return one.code_key is None and (one.body_site, one.view, one.from_on) == (said.get("body_site"), said.get("view"), said["from_on"])


def _known(alike: Sequence[Mark], said: Mapping[str, Any]) -> Mark | None:
    """Return the mark of that day, else the only one that was not over by then: its first day is corrected."""
    kept = [one for one in alike if one.ended_on is None]
    of_that_day = [one for one in kept if one.from_on == said["from_on"]]
    possible = [one for one in kept if one.until_on is None or said["from_on"] <= one.until_on]
    if of_that_day:
        return of_that_day[0]
    return possible[0] if len(possible) == 1 else None
