"""Lists whose rows are acts that bear on each other: each is tried as it would be done by hand, and undone where it is refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from enum import Enum, auto
from typing import Any, TypeAlias

import sqlalchemy as sa
from pydantic import BaseModel, ValidationError

from domain.actions.imports.sheet import Sheet, checked_value
from domain.errors import Fault, Refusal, RuleBroken
from domain.records.base import Record, table_of
from domain.records.stated import faults_of
from domain.records.statements import Statement
from domain.records.unit import Unit


class Came(Enum):
    """What came of a row: a new record, changes to what is on record, or nothing, since all was on record already."""

    CREATED = auto()
    CHANGED = auto()
    UNCHANGED = auto()


Tally: TypeAlias = Mapping[Came, int]
"""How many rows came to what; those that were refused are not among them."""

_PLANNED_AT_FIRST = 50
"""After how many new records statements are planned anew, and then whenever there are twice as many."""
_UNSAID = "This field is required."
"""What a stated class says of a field that is missing, where it has nothing of its own to say."""


def try_rows(
    unit: Unit, sheet: Sheet, positions: Iterable[int], *, act: Callable[[int], Came], columns: Mapping[str, str]
) -> Counter[Came]:
    """Do what rows state, one after the other, and return how many came to what.

    A row that is refused leaves nothing, and its faults stand in the columns that ``columns`` gives for their fields.
    """
    tally: Counter[Came] = Counter()
    planned = _PLANNED_AT_FIRST
    for position in positions:
        if position in sheet.refusals:
            continue
        if tally[Came.CREATED] >= planned:
            unit.plan_anew()
            planned *= 2
        try:
            with unit.attempt():
                tally[act(position)] += 1
        except (Refusal, ValidationError) as refused:
            _refuse(sheet, position, refused, columns=columns)
    return tally


def day_order(sheet: Sheet, name: str) -> list[int]:
    """Return the positions of the rows by the day in a column, those of one day as they stand in the list."""
    days = sheet.column(name)
    return sorted(sheet.sound(), key=lambda position: days[position].toordinal() if days[position] else 0)


def check_as(sheet: Sheet, stated: type[BaseModel], **fields: str) -> None:
    """Let columns hold what a stated class makes of their values; ``fields`` are its fields by the columns' names."""
    for column, field in fields.items():
        if column in sheet.columns:
            sheet.resolve(column, lambda value, field=field: checked_value(stated, field, value))


def differing(record: Record, said: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is said of a record that it does not say already."""
    return {name: value for name, value in said.items() if getattr(record, name) != value}


def fault_in(column: str, code: str, reason: str) -> RuleBroken:
    """Return the refusal of a row because of a column."""
    return RuleBroken(reason, code=code, faults=(Fault(f"/{column}", code, reason),))


def ever_of(record: type[Record], *columns: str) -> Statement:
    """Return the statement for the records with some columns as given, withdrawn ones as well, in the order in which they were made."""
    table = table_of(record)
    same = [table.c[name] == sa.bindparam(name, type_=table.c[name].type) for name in columns]
    return Statement(sa.select(table).where(table.c.organisation_id == sa.bindparam("organisation_id"), *same).order_by(table.c.id))


def note_withdrawn(sheet: Sheet, position: int, record: Record) -> Came:
    """Note that what a row states was on record and was withdrawn; it is not stated again."""
    day = "" if record.ended_on is None else f" on {record.ended_on.isoformat()}"
    why = f" ({record.end_reason})" if record.end_reason else ""
    sheet.notice(position, "", "withdrawn", f"this was on record and was withdrawn{day}{why}; it stays so")
    return Came.UNCHANGED


def _refuse(sheet: Sheet, position: int, refused: Refusal | ValidationError, *, columns: Mapping[str, str]) -> None:
    faults = faults_of(refused.errors()) if isinstance(refused, ValidationError) else refused.faults
    if isinstance(refused, Refusal):
        faults = faults or (Fault("", refused.code, refused.detail),)
        if refused.code == "unfit":
            faults = (*faults, Fault("/override_reason", "unfit", refused.detail))
    for fault in faults:
        field = fault.pointer.split("/")[1] if fault.pointer else ""
        name = columns.get(field, field)
        sheet.refuse(position, name, *_said(name, fault))


def _said(name: str, fault: Fault) -> tuple[str, str]:
    if fault.code != "required":
        return fault.code, fault.detail
    return f"{name}-missing", f"{name} missing" if fault.detail == _UNSAID else f"{name} missing: {fault.detail}"
