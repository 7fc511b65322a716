"""Making room for what holds from a day until a day: of records that are alike, no day is in two."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.errors import Conflict
from domain.records.base import table_of
from domain.records.intervals import Dated
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import in_words
from domain.rules.lives import DAY

NONE_YET = UUID(int=0)
"""The id of no record: a new one is compared with all."""


def make_room(unit: Unit, record: type[Dated], *, from_on: date, until_on: date | None, **alike: Any) -> None:  # noqa: ANN401 - columns
    """Let what holds until further notice end the day before ``from_on``, so that a new record can begin then.

    ``alike`` are the values of the columns that the record class keeps ``apart``.

    Raises:
        Conflict: Another record holds on one of the new one's days, and would not give way by ending the day before.
    """
    for one in _in_the_way(unit, record, from_on=from_on, until_on=until_on, but_id=NONE_YET, alike=alike):
        if one.until_on is not None or one.from_on >= from_on:
            raise _overlap(one)
        unit.change(one, {"until_on": from_on - DAY}, action=f"change_{one.noun}")


def refuse_overlap(unit: Unit, found: Any, *, from_on: date, until_on: date | None, **alike: Any) -> None:  # noqa: ANN401 - columns
    """Refuse days of a corrected record on which another one holds.

    Raises:
        Conflict: Another one does; the sentence says since when and until when.
    """
    others = _in_the_way(unit, type(found), from_on=from_on, until_on=until_on, but_id=found.id, alike=alike)
    if others:
        raise _overlap(others[0])


def _in_the_way(unit: Unit, record: type[Dated], *, from_on: date, until_on: date | None, but_id: UUID, alike: dict[str, Any]) -> list[Any]:
    kept = unit.all(record, _kept_alike(record), but_id=but_id, **alike)
    before_end = (one for one in kept if until_on is None or one.from_on <= until_on)
    return [one for one in before_end if one.until_on is None or one.until_on >= from_on]


def _overlap(other: Any) -> Conflict:  # noqa: ANN401 - any dated record
    until = "until further notice" if other.until_on is None else f"until {in_words(other.until_on)}"
    noun = other.noun.replace("_", " ")
    return Conflict(
        f"Another {noun} holds from {in_words(other.from_on)} {until}. Change its days, or these.", code="overlap", field="from_on"
    )


@cache
def _kept_alike(record: type[Dated]) -> Statement:
    table = table_of(record)
    return Statement(
        sa.select(table)
        .where(
            table.c.organisation_id == sa.bindparam("organisation_id"),
            *(table.c[name] == sa.bindparam(name) for name in record.apart),
            table.c.ended_on.is_(None),
            table.c.id != sa.bindparam("but_id"),
        )
        .order_by(table.c.from_on)
    )
