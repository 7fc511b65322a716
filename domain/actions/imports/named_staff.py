"""The members of staff that rows name. Several may bear one name, of whom the one who has not left is meant."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from uuid import UUID

import sqlalchemy as sa

from domain.actions.imports.rows import CellFault
from domain.actions.imports.sheet import Sheet
from domain.records.base import table_of
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.text import same_name

_staff = table_of(Staff)
STAFF = Statement(
    sa.select(_staff.c.id, _staff.c.name, _staff.c.ended_on)
    .where(_staff.c.organisation_id == sa.bindparam("organisation_id"))
    .order_by(_staff.c.id)
)


def resolve_staff(unit: Unit, sheet: Sheet, column: str) -> Sequence[UUID | None]:
    """Return who is meant by each name in a column; of several of one name, the one who has not left."""
    if column not in sheet.columns:
        return sheet.column(column)
    known: defaultdict[str, list[tuple[UUID, bool]]] = defaultdict(list)
    for one_id, name, ended_on in unit.rows(STAFF):
        known[same_name(name)].append((one_id, ended_on is None))

    def found(name: str) -> UUID | CellFault:
        ever = known.get(same_name(name), [])
        chosen = [one for one, is_here in ever if is_here] or [one for one, _ in ever]
        if len(chosen) == 1:
            return chosen[0]
        if chosen:
            return CellFault(f"{column}-ambiguous", f"{column} ambiguous: there are {len(chosen)} members of staff of this name")
        return CellFault(f"{column}-unknown", f"{column} unknown: there is no member of staff of this name")

    sheet.resolve(column, found)
    return sheet.column(column)
