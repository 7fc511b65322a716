"""Importing staff: the people, not how they sign in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import sqlalchemy as sa

from domain.actions.imports.places import resolve_places
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, differing, fault_in, note_withdrawn, try_rows
from domain.actions.staff import change_staff, register_staff
from domain.errors import NotAllowed
from domain.records.base import table_of
from domain.records.staff import Staff, StaffStated
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.permissions import EVERYWHERE, Reach, Role
from domain.rules.text import same_name

_PLAIN = ("name", "contact", "note")
_COLUMNS = {"site_id": "site"}
_staff = table_of(Staff)
EVERYBODY = Statement(sa.select(_staff).where(_staff.c.organisation_id == sa.bindparam("organisation_id")).order_by(_staff.c.id))


def import_staff(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of staff states; a person is known again by the name, whose spelling on record is kept.

    Without a site a new person works for the whole organisation. Roles that whoever imports may not give are refused, and so is whatever
    would change the role or the site of somebody who has one.
    """
    sheet.check(StaffStated, *_PLAIN)
    resolve_places(unit, sheet)
    keys = sheet.keys("name")
    sheet.refuse_blank("role")
    sheet.refuse_repeated(keys, name="name")
    known: defaultdict[str, list[Staff]] = defaultdict(list)
    for one in unit.all(Staff, EVERYBODY):
        known[same_name(one.name)].append(one)
    act = partial(_act, unit, sheet, known, keys)
    return try_rows(unit, sheet, sheet.sound(), act=act, columns=_COLUMNS)


def _act(unit: Unit, sheet: Sheet, known: Mapping[str, Sequence[Staff]], keys: Sequence[str], position: int) -> Came:
    site_id = sheet.column("site")[position]
    said: dict[str, Any] = {**sheet.said(position, *_PLAIN, "role"), **({"site_id": site_id} if site_id else {})}
    ever = known.get(keys[position], ())
    here = [one for one in ever if one.ended_on is None]
    if len(here) > 1:
        raise fault_in("name", "name-ambiguous", f"name ambiguous: there are {len(here)} members of staff of this name")
    if not here and ever:
        return note_withdrawn(sheet, position, ever[-1])
    if not here:
        _refuse_role(sheet, said["role"])
        register_staff(unit, StaffStated(**said))
        return Came.CREATED
    patch = differing(here[0], {name: value for name, value in said.items() if name != "name"})
    if not patch:
        return Came.UNCHANGED
    try:
        change_staff(unit, here[0].id, patch, expected_version=here[0].version, gives=partial(_gives, sheet))
    except NotAllowed as refused:
        raise fault_in("role", refused.code, refused.detail) from None
    return Came.CHANGED


def _gives(sheet: Sheet, role: Role) -> Reach | None:
    return EVERYWHERE if role in sheet.roles else None


def _refuse_role(sheet: Sheet, role: Role) -> None:
    if role not in sheet.roles:
        raise fault_in("role", "role-not-yours", f"you may not give the role {role.value}")
