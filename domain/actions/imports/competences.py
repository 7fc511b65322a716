"""Importing what members of staff were assessed to be able to do."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from domain.actions.competences import change_competence, record_competence
from domain.actions.imports.named_staff import resolve_staff
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, differing, ever_of, note_withdrawn, try_rows
from domain.records.competences import Competence, CompetenceStated
from domain.records.unit import Unit
from domain.rules.text import same_name

_PLAIN = ("title", "from_on", "expires_on", "assessed_by", "note")
EVER_ASSESSED = ever_of(Competence, "staff_id", "from_on")


def import_competences(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of competences states; one is known again by its member of staff, its title and its first day."""
    sheet.check(CompetenceStated, *_PLAIN)
    for name in ("staff", "title", "from_on"):
        sheet.refuse_blank(name)
    members = resolve_staff(unit, sheet, "staff")
    titles, days = sheet.column("title"), sheet.column("from_on")
    keys = [
        (member, same_name(title), day) if member and title and day else None
        for member, title, day in zip(members, titles, days, strict=True)
    ]
    sheet.refuse_repeated(keys, name="title")
    return try_rows(unit, sheet, sheet.sound(), act=partial(_act, unit, sheet, members), columns={})


def _act(unit: Unit, sheet: Sheet, members: Sequence[Any], position: int) -> Came:
    staff_id, said = members[position], sheet.said(position, *_PLAIN, "hazard")
    ever = unit.all(Competence, EVER_ASSESSED, staff_id=staff_id, from_on=said["from_on"])
    alike = [one for one in ever if same_name(one.title) == same_name(said["title"])]
    kept = next((one for one in alike if one.ended_on is None), None)
    if kept is None and alike:
        return note_withdrawn(sheet, position, alike[-1])
    if kept is None:
        record_competence(unit, staff_id, CompetenceStated(**said))
        return Came.CREATED
    patch = differing(kept, {name: value for name, value in said.items() if name != "title"})
    if not patch:
        return Came.UNCHANGED
    change_competence(unit, kept.id, patch, owner_id=staff_id, expected_version=kept.version)
    return Came.CHANGED
