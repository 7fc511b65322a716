"""SQL that is built once, compiled once per database, and run on the driver without a layer between.

A ``Statement`` is made at import from SQLAlchemy Core with ``bindparam()``. Its parameters are given by name and converted by the column
type they are compared with; its rows come back as tuples, either as Python values or, for answers, in the form that JSON wants.

Whatever a statement reads, corrects or deletes, it also tells whose each row is, in a column behind the last. ``Compiled.own`` looks at it
and takes it away again, so another organisation's rows go no further, whatever the statement and the database made of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import Enum
from functools import lru_cache
from typing import Any, ClassVar, Literal, TypeAlias, cast
from uuid import UUID

import msgspec
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.sql.compiler import SQLCompiler

from domain.records.columns import InstantColumn, JsonColumn, UuidColumn

DialectName: TypeAlias = Literal["sqlite", "postgresql"]
Row: TypeAlias = tuple[Any, ...]
Converter: TypeAlias = Callable[[Any], Any]
Parameters: TypeAlias = dict[str, Any] | list[Any]

_DIALECTS: Mapping[str, sa.Dialect] = {
    "sqlite": cast("sa.Dialect", sqlite.dialect(paramstyle="qmark")),
    "postgresql": cast("sa.Dialect", postgresql.psycopg.dialect()),  # type: ignore[no-untyped-call]
}


Telling: TypeAlias = Literal["rows", "sum", "changes"]
"""What the column behind the last tells: whose each row is, whose the rows were that were summed up, or whose each changed row was."""

_SUMS = ("count", "group_concat", "max", "min", "string_agg", "sum")


class ForeignRow(Exception):  # noqa: N818 - a defect of ours, never a refusal
    """A statement was to write, or to sum up, rows of another organisation than its own."""


@dataclass(frozen=True, slots=True)
class Compiled:
    """One statement for one database: its text, how each parameter is given to the driver, and how each column is read."""

    sql: str
    parameters: tuple[tuple[str, Converter | None], ...]
    constants: Mapping[str, Any]
    positions: tuple[str, ...] | None
    keys: tuple[str, ...]
    to_python: tuple[tuple[int, Converter], ...]
    to_json: tuple[tuple[int, Converter], ...]
    owner: str | None = None
    """The parameter that says whose rows a writing statement is about."""
    telling: Telling | None = None

    def own(self, rows: list[Row], organisation_id: int) -> list[Row]:
        """Return an organisation's own among the rows that the driver gave, without the column that tells whose they are.

        Raises:
            ForeignRow: Rows of another organisation were changed, or are part of a sum.
        """
        if self.telling is None:
            return rows
        if self.telling == "rows":
            return [row[:-1] for row in rows if row[-1] == organisation_id]
        strange = next((row[-1] for row in rows if row[-1] not in {organisation_id, None}), None)
        if strange is not None:
            raise ForeignRow(f"rows of organisation {strange} in a statement of {organisation_id}")
        return [row[:-1] for row in rows]

    def bound(self, given: Mapping[str, Any]) -> Parameters:
        """Return the parameters as the driver takes them: by position where the driver counts, else by name.

        Raises:
            KeyError: One is missing. No parameter has a default, so a forgotten organisation is an error and not a leak.
        """
        values = {name: given[name] if convert is None else convert(given[name]) for name, convert in self.parameters}
        if self.constants:
            values.update(self.constants)
        return values if self.positions is None else [values[name] for name in self.positions]

    def python_row(self, row: Sequence[Any]) -> Row:
        """Return the row with Python values."""
        return _converted(row, self.to_python)

    def json_row(self, row: Sequence[Any]) -> Row:
        """Return the row with values that ``msgspec.json`` encodes as an answer shows them."""
        return _converted(row, self.to_json)


class Statement:
    """A statement to be run on either database."""

    tells: ClassVar[bool] = True

    def __init__(self, statement: sa.Executable) -> None:
        self.statement = statement
        self._compiled: dict[str, Compiled] = {}

    def on(self, dialect: DialectName) -> Compiled:
        """Return the statement compiled for a database."""
        found = self._compiled.get(dialect)
        if found is None:
            found = self._compiled[dialect] = _compiled(self.statement, dialect=dialect, tells=self.tells)
        return found


class OpenStatement(Statement):
    """A statement whose rows may be anybody's: it runs before it is known whose request it is, or for whoever keeps all organisations."""

    tells = False


def _compiled(statement: sa.Executable, *, dialect: DialectName, tells: bool) -> Compiled:
    telling = _telling(statement) if tells else None
    text = _compiler(statement if telling is None else _made_to_tell(statement, telling), dialect=dialect)
    selected = _selected_columns(statement)
    types = [column.type for column in selected]
    return Compiled(
        sql=str(text),
        parameters=tuple((name, _to_driver(bind.type, dialect)) for bind, name in text.bind_names.items() if bind.required),
        constants={name: bind.value for bind, name in text.bind_names.items() if not bind.required},
        positions=None if text.positiontup is None else tuple(text.positiontup),
        keys=tuple(str(column.key) for column in selected),
        to_python=_present(_to_python(kind, dialect) for kind in types),
        to_json=_present(_to_json(kind, dialect) for kind in types),
        owner=_owner_parameter(statement, text.binds),
        telling=telling,
    )


def _whose(table: sa.FromClause) -> sa.ColumnElement[int]:
    """Return the column that says whose a row is."""
    return table.c["id" if getattr(table, "name", "") == "organisation" else "organisation_id"]


def _telling(statement: sa.Executable) -> Telling | None:
    """Return what a statement can tell of whose its rows are: nothing where it inserts what its parameters say, or reads no table."""
    if isinstance(statement, (sa.Update, sa.Delete)):
        return "changes"
    if not isinstance(statement, sa.Select) or _leading_table(statement) is None:
        return None
    computed = [getattr(column, "element", column) for column in _selected_columns(statement)]
    return "sum" if any(isinstance(one, sa.FunctionElement) and getattr(one, "name", "") in _SUMS for one in computed) else "rows"


def _made_to_tell(statement: Any, telling: Telling) -> sa.Executable:  # noqa: ANN401 - one of three classes of SQLAlchemy's
    if telling == "changes":
        return cast("sa.Executable", statement.returning(_whose(statement.table)))
    owner = _whose(cast("sa.FromClause", _leading_table(statement)))
    if telling == "sum":
        least, most = sa.func.min(owner), sa.func.max(owner)
        owner = sa.case((least < most, sa.literal_column("0")), else_=least)
    return cast("sa.Executable", statement.add_columns(owner.label("whose")))


def _leading_table(statement: sa.Select[Any]) -> sa.FromClause | None:
    """Return the first table, or selection from one, that a statement reads and that says whose its rows are; ``None`` without one."""
    leading: Any = next(iter(statement.get_final_froms()), None)
    while isinstance(leading, sa.Join):
        leading = leading.left
    if isinstance(leading, sa.Subquery):
        return leading if "organisation_id" in leading.c else None
    table = leading.element if isinstance(leading, sa.Alias) else leading
    return leading if isinstance(table, sa.Table) else None


def _compiler(statement: sa.Executable, *, dialect: DialectName) -> SQLCompiler:
    """Compile a statement. On SQLite one that writes names the tables behind the views that a connection is furnished with."""
    behind: dict[str, Any] = {}
    if dialect == "sqlite" and statement.is_dml:
        behind = {"schema_translate_map": {None: "main"}, "render_schema_translate": True}
    return cast("SQLCompiler", statement.compile(dialect=_DIALECTS[dialect], **behind))  # type: ignore[attr-defined]


def _owner_parameter(statement: sa.Executable, names: Iterable[str]) -> str | None:
    """Return the parameter that says whose rows a writing statement is about, ``None`` for one that reads.

    Raises:
        LookupError: It writes, and says nothing about whose rows.
    """
    if not statement.is_dml:
        return None
    table = cast("sa.Table", statement.table)  # type: ignore[attr-defined]
    owner = _whose(table).name
    found = next((name for name in (f"at_{owner}", owner) if name in names), None)
    if found is None:
        raise LookupError(f"a statement on {table.name} does not say whose rows it writes")
    return found


def _selected_columns(statement: sa.Executable) -> list[Any]:
    if isinstance(statement, sa.SelectBase):
        return list(statement.selected_columns)
    return list(getattr(statement, "exported_columns", None) or ())


def _present(converters: Any) -> tuple[tuple[int, Converter], ...]:  # noqa: ANN401 - an iterable of converters or None
    return tuple((position, convert) for position, convert in enumerate(converters) if convert is not None)


def _converted(row: Sequence[Any], converters: tuple[tuple[int, Converter], ...]) -> Row:
    values = list(row)
    for position, convert in converters:
        if values[position] is not None:
            values[position] = convert(values[position])
    return tuple(values)


def _to_driver(kind: sa.types.TypeEngine[Any], dialect: DialectName) -> Converter | None:
    if isinstance(kind, JsonColumn):
        return json_text
    if isinstance(kind, sa.Enum):
        return _enum_value
    if dialect == "postgresql":
        return None
    if isinstance(kind, UuidColumn):
        return lambda value: None if value is None else value.bytes
    if isinstance(kind, InstantColumn):
        return lambda value: None if value is None else instant_text(value)
    if isinstance(kind, sa.Date):
        return lambda value: None if value is None else value.isoformat()
    return None


def _to_python(kind: sa.types.TypeEngine[Any], dialect: DialectName) -> Converter | None:
    if isinstance(kind, JsonColumn):
        return msgspec.json.decode
    if isinstance(kind, sa.Enum) and kind.enum_class is not None:
        return cast("Converter", kind.enum_class)
    if dialect == "postgresql":
        return None
    if isinstance(kind, UuidColumn):
        return lambda value: UUID(bytes=value)
    if isinstance(kind, InstantColumn):
        return datetime.fromisoformat
    if isinstance(kind, sa.Date):
        return date.fromisoformat
    if isinstance(kind, sa.Boolean):
        return bool
    return None


def _to_json(kind: sa.types.TypeEngine[Any], dialect: DialectName) -> Converter | None:
    if isinstance(kind, JsonColumn):
        return _raw
    if dialect == "postgresql":
        return instant_text if isinstance(kind, InstantColumn) else None
    if isinstance(kind, UuidColumn):
        return _uuid_text
    if isinstance(kind, sa.Boolean):
        return bool
    return None


@lru_cache(maxsize=256)
def instant_text(at: datetime) -> str:
    """Return an instant as RFC 3339 text in UTC with six digits of a second and Z, always of one length.

    Raises:
        ValueError: The instant has no offset.
    """
    if at.tzinfo is None:
        raise ValueError("an instant needs its offset")
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def json_text(value: Any) -> str:  # noqa: ANN401 - any JSON value
    """Return a small JSON value as its text, names in one order so that equal values have equal text."""
    return msgspec.json.encode(value, enc_hook=_plain, order="deterministic").decode()


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever json cannot say by itself
    if hasattr(value, "model_dump"):
        return value.model_dump(mode="json")
    raise TypeError(f"{type(value).__name__} is no JSON value")


def _raw(text: str) -> msgspec.Raw:
    return msgspec.Raw(text.encode())


def _uuid_text(value: bytes) -> str:
    digits = value.hex()
    return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"


def _enum_value(value: Any) -> Any:  # noqa: ANN401 - a member or its value
    return value.value if isinstance(value, Enum) else value
