"""Rows as a backup holds them: read from either database into the same bytes, and written from them into either."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from functools import cache
from hashlib import sha256
from itertools import islice
from math import isfinite
from typing import Annotated, Any, cast
from uuid import UUID

import msgspec
import sqlalchemy as sa

from domain.errors import RuleBroken
from domain.records.backups.manifest import Column, Content, Table
from domain.records.base import metadata
from domain.records.columns import InstantColumn, UuidColumn
from domain.records.statements import DialectName, OpenStatement, Statement, instant_text
from domain.records.tenancy import owner_column
from domain.records.unit import Unit

BATCH_ROWS = 1000
BATCH_FILES = 8
"""How many rows are held at once where each may bear a whole file."""

Convert = Callable[[Any], Any]
Whole = Annotated[int, msgspec.Meta(ge=-(2**63), le=2**63 - 1)]
"""What both databases take as a whole number."""


class Unreadable(RuleBroken):
    """The database holds what it cannot mean; ``reedbed verify`` says more."""

    code = "unreadable"


_TYPES: Mapping[str, Any] = {
    "uuid": UUID,
    "instant": Annotated[datetime, msgspec.Meta(tz=True)],
    "date": date,
    "boolean": bool,
    "integer": Whole,
    "float": float | str,
    "bytes": bytes,
    "text": str,
}
_ENCODER = msgspec.json.Encoder()


def tables() -> tuple[Table, ...]:
    """Return every table as a backup holds it, each after those that it refers to."""
    return tuple(_table(table) for table in metadata.sorted_tables)


def encoded(unit: Unit, table: Table) -> Iterator[bytes]:
    """Yield the unit's organisation's rows of a table as lines, in the order of the key, some at a time.

    Raises:
        Unreadable: A value is none of its column's kind. SQLite takes such a value from whoever writes into the file by another way.
    """
    compiled = _select(table.name, unit.dialect).on(unit.dialect)
    convert = _conversions(table, unit.dialect, _TO_FILE)
    rows = _streamed(unit, compiled.sql, compiled.bound({"organisation_id": unit.organisation_id}), size=_batch(table))
    while batch := [*islice(rows, _batch(table))]:
        try:
            lines = _ENCODER.encode_lines(_converted(batch, convert))
        except (AttributeError, TypeError, ValueError) as odd:
            raise Unreadable(f"The table {table.name} holds a value that cannot be read: {odd}.") from odd
        yield lines


def content(unit: Unit, table: Table) -> Content:
    """Return what the unit's organisation has in a table, as a backup's manifest says it."""
    digest, rows, size = sha256(), 0, 0
    for lines in encoded(unit, table):
        digest.update(lines)
        rows += lines.count(b"\n")
        size += len(lines)
    return Content(unit.organisation_id, table.name, rows, size, digest.hexdigest())


def store(unit: Unit, table: Table, pieces: Iterable[bytes]) -> None:
    """Write rows that ``encoded`` yielded, in any order in which they refer to each other.

    Raises:
        msgspec.DecodeError: A line is no row of this table.
    """
    decoder = msgspec.json.Decoder(_row_type(table))
    batches = (_converted(decoder.decode_lines(piece), _conversions(table, unit.dialect, _FROM_FILE)) for piece in pieces)
    if unit.dialect == "postgresql":
        _copied(unit, table, batches)
        return
    for batch in batches:
        unit.cursor.executemany(_sql_insert(table, values=f"VALUES ({', '.join('?' * len(table.columns))})"), batch)


def broken_references(unit: Unit) -> list[str]:
    """Return the tables with rows that refer to what is not there. PostgreSQL has looked when the rows were written."""
    if unit.dialect == "postgresql":
        return []
    unit.cursor.execute("PRAGMA foreign_key_check", [])
    return sorted({row[0] for row in unit.cursor.fetchall()})


def stored_bytes(unit: Unit) -> int:
    """Return how large the database is [bytes], with its indexes."""
    found = unit.row(_POSTGRES_SIZE if unit.dialect == "postgresql" else _SQLITE_SIZE)
    return int(found[0]) if found else 0


_POSTGRES_SIZE = Statement(sa.select(sa.func.pg_database_size(sa.func.current_database())))
_SQLITE_SIZE = Statement(sa.select(sa.literal_column("page_count * page_size")).select_from(sa.text("pragma_page_count, pragma_page_size")))


def _table(table: sa.Table) -> Table:
    columns = tuple(Column(str(column.name), _kind(column.type), bool(column.nullable)) for column in table.columns)
    return Table(str(table.name), columns, tuple(str(column.name) for column in table.primary_key.columns))


def _kind(kind: sa.types.TypeEngine[Any]) -> str:
    """Return how a column's values are written; a type that is not known here stops everything before anything is lost."""
    if isinstance(kind, sa.types.TypeDecorator) and not isinstance(kind, UuidColumn | InstantColumn):
        kind = kind.impl_instance
    kinds: tuple[tuple[Any, str], ...] = (
        (UuidColumn, "uuid"),
        (InstantColumn, "instant"),
        (sa.Boolean, "boolean"),
        (sa.Date, "date"),
        (sa.Float, "float"),
        (sa.Integer, "integer"),
        (sa.LargeBinary, "bytes"),
        (sa.String, "text"),
    )
    return next(word for known, word in kinds if isinstance(kind, known))


def _batch(table: Table) -> int:
    return BATCH_FILES if any(column.kind == "bytes" for column in table.columns) else BATCH_ROWS


def _streamed(unit: Unit, sql: str, parameters: Any, *, size: int) -> Iterator[Any]:  # noqa: ANN401 - as the driver takes them
    """Yield rows as the driver gives them, without holding all of them."""
    if unit.dialect == "sqlite":
        unit.cursor.execute(sql, parameters)
        yield from cast("Iterator[Any]", unit.cursor)
        return
    with unit.cursor.connection.cursor(name="reedbed_backup") as cursor:
        cursor.itersize = size
        cursor.execute(sql, parameters)
        yield from cursor


def _copied(unit: Unit, table: Table, batches: Iterable[list[list[Any]]]) -> None:
    """Write rows by way of a table of the session's own: a guarded table takes no COPY, and one statement may refer to itself."""
    cursor: Any = unit.cursor
    names = ", ".join(column.name for column in table.columns)
    cursor.execute(f"CREATE TEMPORARY TABLE incoming (LIKE {table.name}) ON COMMIT DROP")
    with cursor.copy(f"COPY incoming ({names}) FROM STDIN") as copy:
        for batch in batches:
            for row in batch:
                copy.write_row(row)
    cursor.execute(_sql_insert(table, values=f"SELECT {names} FROM incoming"))  # noqa: S608 - names of our own tables
    cursor.execute("DROP TABLE incoming")


def _sql_insert(table: Table, *, values: str) -> str:
    return f"INSERT INTO {table.name} ({', '.join(column.name for column in table.columns)}) {values}"


@cache
def _select(name: str, dialect: DialectName) -> OpenStatement:
    """Return what reads an organisation's rows in the order of the key: text by its bytes on both databases."""
    table = metadata.tables[name]
    collation = {"sqlite": "BINARY", "postgresql": "C"}[dialect]
    by = [sa.collate(one, collation) if _kind(one.type) == "text" else one for one in table.primary_key.columns]
    own = table.c[owner_column(table)] == sa.bindparam("organisation_id")
    return OpenStatement(sa.select(table).where(own).order_by(*by))


def _row_type(table: Table) -> Any:  # noqa: ANN401 - a type made at run time
    return tuple[tuple(_TYPES[one.kind] | None if one.nullable else _TYPES[one.kind] for one in table.columns)]  # type: ignore[misc]


def _conversions(table: Table, dialect: str, known: Mapping[str, Mapping[str, Convert]]) -> list[tuple[int, Convert]]:
    found = ((place, known[dialect].get(column.kind)) for place, column in enumerate(table.columns))
    return [(place, convert) for place, convert in found if convert is not None]


def _converted(rows: Sequence[Sequence[Any]], conversions: Sequence[tuple[int, Convert]]) -> list[list[Any]]:
    made = [[*row] for row in rows]
    for place, convert in conversions:
        for row in made:
            if row[place] is not None:
                row[place] = convert(row[place])
    return made


def _number(value: float) -> float | str:
    return value + 0.0 if isfinite(value) else repr(value)


_TO_FILE: Mapping[str, Mapping[str, Convert]] = {
    "sqlite": {"uuid": lambda value: UUID(bytes=value), "boolean": bool, "float": _number},
    "postgresql": {"instant": instant_text, "float": _number},
}
_FROM_FILE: Mapping[str, Mapping[str, Convert]] = {
    "sqlite": {"uuid": lambda value: value.bytes, "instant": instant_text, "date": date.isoformat, "float": float},
    "postgresql": {"float": float},
}
