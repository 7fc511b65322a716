"""Column types that mean the same on SQLite and PostgreSQL, and the stated types that a person or a file may fill them with."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from enum import Enum as PythonEnum
from typing import Annotated, Any, cast
from uuid import UUID

import sqlalchemy as sa
from pydantic import UUID7, AfterValidator, BeforeValidator, ValidationInfo, WithJsonSchema
from pydantic_core import PydanticCustomError, PydanticKnownError
from sqlalchemy.dialects import postgresql
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import Field

from domain.errors import Unfit
from domain.rules.calendar import zone_named
from domain.rules.text import kept_line, kept_lines, same_name

NAME_LENGTH = 120
NOTE_LENGTH = 4000
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?([Zz]|[+-][0-9]{2}:[0-9]{2})")
_ID = re.compile(r"[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}")
_ID_7 = "^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-7[0-9a-fA-F]{3}-[89abAB][0-9a-fA-F]{3}-[0-9a-fA-F]{12}$"

LINE_SCHEMA = {"type": "string", "minLength": 1, "maxLength": NAME_LENGTH, "format": "line"}
LINES_SCHEMA = {"type": "string", "maxLength": NOTE_LENGTH, "format": "lines"}
PASSAGE_SCHEMA = {**LINES_SCHEMA, "minLength": 1}
DAY_SCHEMA = {"type": "string", "format": "date", "description": "A day between 1900 and 2200."}
INSTANT_SCHEMA = {"type": "string", "format": "date-time", "description": "An instant with its offset from UTC, between 1900 and 2200."}
"""As OpenAPI describes them; what the formats ``line`` and ``lines`` mean is said in the description of the API."""


class UuidColumn(TypeDecorator[UUID]):
    """A UUID: native on PostgreSQL, 16 bytes on SQLite."""

    impl = sa.LargeBinary
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Return the column type of the database at hand."""
        if dialect.name == "postgresql":
            return dialect.type_descriptor(cast("TypeEngine[Any]", sa.Uuid()))
        return dialect.type_descriptor(sa.LargeBinary(16))


class InstantColumn(TypeDecorator[Any]):
    """An instant in UTC: timestamptz on PostgreSQL, RFC 3339 text with microseconds and Z on SQLite, where text order is time order."""

    impl = sa.String
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Return the column type of the database at hand."""
        if dialect.name == "postgresql":
            return dialect.type_descriptor(postgresql.TIMESTAMP(timezone=True))
        return dialect.type_descriptor(sa.String(27))


class JsonColumn(TypeDecorator[Any]):
    """A small JSON value, kept as its text on both databases."""

    impl = sa.Text
    cache_ok = True


def words_of(enumeration: type[PythonEnum]) -> Any:  # noqa: ANN401 - sqlmodel's sa_type takes any type engine
    """Return the column type of an enumeration: its values as text, and a named check that both databases keep."""
    return sa.Enum(
        enumeration,
        native_enum=False,
        create_constraint=True,
        length=32,
        values_callable=lambda members: [member.value for member in members],
        name=_snake(enumeration.__name__),
    )


def _snake(name: str) -> str:
    return "".join(f"_{c.lower()}" if c.isupper() else c for c in name).lstrip("_")


def _written_day(value: object, said: ValidationInfo) -> object:
    """Refuse a day that is not written YYYY-MM-DD: numbers, and digits alone, would be read as seconds since 1970."""
    if isinstance(value, date):
        return value
    if not isinstance(value, str) or not _DAY.fullmatch(value):
        raise PydanticKnownError("date_type")
    if said.mode != "json":
        return value
    try:
        return date.fromisoformat(value)
    except ValueError as impossible:
        raise PydanticKnownError("date_parsing", {"error": str(impossible)}) from impossible


def _written_instant(value: object) -> object:
    """Refuse an instant that is not written as RFC 3339 has it: without an offset nobody knows when it was."""
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value.astimezone(UTC)
    if not isinstance(value, str) or not _INSTANT.fullmatch(value):
        raise PydanticKnownError("datetime_type")
    try:
        return datetime.fromisoformat(value.upper()).astimezone(UTC)
    except (ValueError, OverflowError) as impossible:
        raise PydanticKnownError("datetime_parsing", {"error": str(impossible)}) from impossible


def _likely_instant(instant: datetime) -> datetime:
    _likely_day(instant.date())
    return instant


def _written_id(value: object) -> object:
    """Refuse an id that is not written in its one usual form: in braces, as a URN or without hyphens it would come back otherwise."""
    if isinstance(value, str) and not _ID.fullmatch(value):
        raise PydanticKnownError("uuid_parsing", {"error": "not in its usual form"})
    return value


def _likely_day(day: date) -> date:
    """Refuse a year before 1900 or after 2200, so that a slip of the pen is not a service life."""
    if not 1900 <= day.year <= 2200:  # noqa: PLR2004 - said in the sentence
        raise Unfit("the year should be between 1900 and 2200", code="date-unlikely")
    return day


def _known_zone(zone: str) -> str:
    zone_named(zone)
    return zone


def _name(text: str) -> str:
    return _no_longer(kept_line(text), than=NAME_LENGTH)


def _note(text: str) -> str:
    return _no_longer(kept_lines(text), than=NOTE_LENGTH)


def _passage(text: str) -> str:
    kept = _note(text)
    if not same_name(kept):
        raise PydanticCustomError("required", "there should be some text here")
    return kept


def _no_longer(kept: str, *, than: int) -> str:
    """Refuse a text that is too long as it is kept: composing can make three characters of one."""
    if len(kept) > than:
        raise PydanticKnownError("string_too_long", {"max_length": than})
    return kept


Id = Annotated[UUID, BeforeValidator(_written_id)]
NewId = Annotated[UUID7, BeforeValidator(_written_id), WithJsonSchema({"type": "string", "format": "uuid", "pattern": _ID_7})]
"""An id that a caller makes: of version 7, so that ids stand in the order of time."""
Name = Annotated[str, Field(min_length=1, max_length=NAME_LENGTH), AfterValidator(_name), WithJsonSchema(LINE_SCHEMA)]
Note = Annotated[str, Field(max_length=NOTE_LENGTH), AfterValidator(_note), WithJsonSchema(LINES_SCHEMA)]
Passage = Annotated[str, Field(min_length=1, max_length=NOTE_LENGTH), AfterValidator(_passage), WithJsonSchema(PASSAGE_SCHEMA)]
"""A text of several lines in which something has to be said."""
Day = Annotated[date, BeforeValidator(_written_day), AfterValidator(_likely_day), WithJsonSchema(DAY_SCHEMA)]
Instant = Annotated[datetime, BeforeValidator(_written_instant), AfterValidator(_likely_instant), WithJsonSchema(INSTANT_SCHEMA)]
Zone = Annotated[
    str,
    Field(max_length=64),
    AfterValidator(_known_zone),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": 64, "format": "iana-time-zone"}),
]
Count = Annotated[int, Field(ge=0, le=1_000_000)]
Months = Annotated[int, Field(ge=1, le=1200)]
Weeks = Annotated[int, Field(ge=1, le=5200)]
Days = Annotated[int, Field(ge=1, le=36_500)]
Hours = Annotated[float, Field(ge=0, le=10_000_000)]
PositiveHours = Annotated[float, Field(gt=0, le=10_000_000)]
HoursPerDay = Annotated[float, Field(ge=0, le=24)]
Metres = Annotated[float, Field(gt=0, le=1000)]
