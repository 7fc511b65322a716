"""Finding records by their names, very many at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache, partial
from itertools import islice
from typing import Any

import sqlalchemy as sa

from domain.records.base import Record, table_of
from domain.records.statements import Statement
from domain.records.unit import Unit

_AT_ONCE = 100


def kept_by_key(unit: Unit, record: type[Record], key: str, wanted: Iterable[str]) -> list[dict[str, Any]]:
    """Return the rows, not ended, whose column ``key`` is among the wanted."""
    return _in_turns(unit, partial(_kept, record, key), wanted)


def ever_by_key(unit: Unit, record: type[Record], key: str, wanted: Iterable[str]) -> list[dict[str, Any]]:
    """Return the rows, ended ones as well, whose column ``key`` is among the wanted, in the order in which they were made."""
    return _in_turns(unit, partial(_ever, record, key), wanted)


def _in_turns(unit: Unit, statement: Callable[[int], Statement], wanted: Iterable[str]) -> list[dict[str, Any]]:
    keys = iter(sorted(set(wanted) - {""}))
    found: list[dict[str, Any]] = []
    while chunk := list(islice(keys, _AT_ONCE)):
        size = 1 if len(chunk) == 1 else _AT_ONCE
        padded = chunk + chunk[-1:] * (size - len(chunk))
        found += unit.named(statement(size), **{f"key_{at}": one for at, one in enumerate(padded)})
    return found


@cache
def _kept(record: type[Record], key: str, size: int) -> Statement:
    return Statement(_among(record, key, size).where(table_of(record).c.ended_on.is_(None)))


@cache
def _ever(record: type[Record], key: str, size: int) -> Statement:
    return Statement(_among(record, key, size).order_by(table_of(record).c.id))


def _among(record: type[Record], key: str, size: int) -> sa.Select[Any]:
    table = table_of(record)
    return sa.select(table).where(
        table.c.organisation_id == sa.bindparam("organisation_id"),
        table.c[key].in_([sa.bindparam(f"key_{at}") for at in range(size)]),
    )
