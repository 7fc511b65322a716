"""Dated intervals that never overlap. The databases keep them so: PostgreSQL by an exclusion constraint, SQLite by two triggers."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar

import sqlalchemy as sa
from sqlmodel import SQLModel

from domain.records.base import Record, table_of


class Dated(SQLModel):
    """What holds from a day until a day, both included; without ``until_on`` it still holds.

    Of two records that have not ended and are alike in the columns ``apart``, no day is in both.
    """

    from_on: date
    until_on: date | None = None

    apart: ClassVar[tuple[str, ...]]


def by_day(table_name: str, *columns: str) -> sa.Index:
    """Return the index by which the interval of a day is found, without a look at those that are over."""
    return sa.Index(f"ix_{table_name}_days", "organisation_id", *columns, "from_on", "until_on")


_DAYS = (("from_on", "until_on"), ("applies_from", "applies_until"))
"""What the columns are called that say from when and until when; law applies."""


def holds_on(record: type[Record], day: sa.ColumnElement[Any]) -> sa.ColumnElement[bool]:
    """Return the condition that a dated record holds on a day and was not withdrawn."""
    table = table_of(record)
    first, last = next((table.c[begins], table.c[ends]) for begins, ends in _DAYS if begins in table.c)
    return sa.and_(table.c.ended_on.is_(None), first <= day, sa.or_(last.is_(None), last >= day))


def has_days(record: type[Record]) -> bool:
    """Return whether records of a class hold from a day until a day."""
    return any({*names} <= set(table_of(record).columns.keys()) for names in _DAYS)
