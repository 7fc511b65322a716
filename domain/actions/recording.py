"""How any record is made, corrected and ended; the nouns' own actions add their rules."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.errors import Conflict, RuleBroken, Stale
from domain.records.base import Record, Stated, row_of, table_of
from domain.records.belonging import refuse_beyond_reach
from domain.records.columns import Day, Name
from domain.records.statements import Statement
from domain.records.unit import Unit

R = TypeVar("R", bound=Record)
S = TypeVar("S", bound=Stated)


class Ending(Stated):
    """Why, and on which date at the site, a record ends. Nothing is deleted."""

    reason: Name
    on: Day | None = None


def recorded(unit: Unit, record: type[R], stated: Stated, *, record_id: UUID | None, **derived: Any) -> R:  # noqa: ANN401 - columns
    """Add a record of what was stated and return it. ``derived`` are the columns that follow from it."""
    facts = {name: getattr(stated, name) for name in type(stated).model_fields if name != "id"}
    made = record.model_construct(
        **facts,
        **derived,
        organisation_id=unit.organisation_id,
        id=record_id or unit.new_id(),
        created_at=unit.origin.at,
    )
    return unit.add(made, action=f"register_{record.noun}")


def current(unit: Unit, record: type[R], record_id: UUID, *, expected_version: int) -> R:
    """Return the record that is to be changed.

    Raises:
        NotFound: There is none.
        NotAllowed: It is at a site that the origin does not reach.
        Stale: It was changed since the caller read it.
        Conflict: It has ended.
    """
    found = unit.fetch_reached(record, record_id)
    if found.version != expected_version:
        raise Stale(f"This record was changed since you read it: it is at version {found.version}, you have {expected_version}.")
    if found.ended_on is not None:
        raise Conflict(f"This record ended on {found.ended_on.isoformat()} and is not changed any more.", code="ended")
    return found


def corrected(unit: Unit, found: R, stated: Stated, **derived: Any) -> R:  # noqa: ANN401 - columns
    """Change a record to what is now stated and return it; the journal keeps what it was."""
    facts = {name: getattr(stated, name) for name in type(stated).model_fields}
    return unit.change(found, {**facts, **derived}, action=f"change_{found.noun}")


def ended(unit: Unit, found: R, ending: Ending, *, today: date, **derived: Any) -> R:  # noqa: ANN401 - columns
    """End a record and return it. ``derived`` are the columns that change with it.

    Raises:
        RuleBroken: The date is after today at the site.
        Conflict: It has ended already.
        NotAllowed: It is at a site that the origin does not reach.
    """
    refuse_beyond_reach(unit, type(found), row_of(found))
    if found.ended_on is not None:
        raise Conflict(f"This record ended on {found.ended_on.isoformat()} already.", code="ended")
    on = ending.on or today
    if on > today:
        raise RuleBroken(f"It is {today.isoformat()} there; a record cannot end later than today.", code="in-future", field="on")
    gone = {"ended_on": on, "end_reason": ending.reason, **derived}
    return unit.change(found, gone, action=f"end_{found.noun}", reason=ending.reason)


def referred(unit: Unit, record: type[R], record_id: UUID, *, field: str, kept: UUID | None = None) -> R:
    """Return the record that a field refers to. One that the field has ``kept`` may have ended meanwhile.

    Raises:
        RuleBroken: There is none in this organisation, or it has ended; the field is named.
    """
    found = unit.find(record, record_id)
    noun = record.noun.replace("_", " ")
    if found is None:
        raise RuleBroken(f"There is no such {noun}.", code="reference-unknown", field=field)
    if found.ended_on is not None and record_id != kept:
        raise RuleBroken(f"That {noun} ended on {found.ended_on.isoformat()}.", code="reference-ended", field=field)
    return found


def referred_reached(unit: Unit, record: type[R], record_id: UUID, *, field: str, kept: UUID | None = None) -> R:
    """Return the record that a field refers to and that the origin reaches. One that the field has ``kept`` is not asked for again.

    Raises:
        RuleBroken: There is none in this organisation, or it has ended; the field is named.
        NotAllowed: It is at a site that the origin does not reach.
    """
    found = referred(unit, record, record_id, field=field, kept=kept)
    if record_id != kept:
        refuse_beyond_reach(unit, record, row_of(found))
    return found


def refuse_later_than(today: date, *, field: str, on: date | None) -> None:
    """Refuse a date that has not come yet at the site.

    Raises:
        RuleBroken: ``on`` is after ``today``; the field is named.
    """
    if on is not None and on > today:
        raise RuleBroken(f"It is {today.isoformat()} at the site; this date has not come yet.", code="in-future", field=field)


def refuse_while_used(unit: Unit, found: Record, uses: Sequence[tuple[type[Record], str]]) -> None:
    """Refuse to end a record while others that have not ended refer to it; ``uses`` are their classes and columns.

    Raises:
        Conflict: Some do; the sentence counts them.
        NotAllowed: It is at a site that the origin does not reach, so nothing is said about it.
    """
    refuse_beyond_reach(unit, type(found), row_of(found))
    counts = {record.noun.replace("_", " "): kept_with(unit, record, column, found.id) for record, column in uses}
    used = [f"{count} {noun}" for noun, count in counts.items() if count]
    if used:
        raise Conflict(f"Still in use by {', '.join(used)}. End or move them first.", code="in-use")


def kept_with(unit: Unit, record: type[Record], column: str, record_id: UUID) -> int:
    """Return how many records of a kind that have not ended refer to a record in a column."""
    row = unit.row(_count_kept(record, column), referred_id=record_id)
    return int(row[0]) if row else 0


@cache
def _count_kept(record: type[Record], column: str) -> Statement:
    table = table_of(record)
    return Statement(
        sa.select(sa.func.count()).where(
            table.c.organisation_id == sa.bindparam("organisation_id"),
            table.c[column] == sa.bindparam("referred_id"),
            table.c.ended_on.is_(None),
        )
    )
