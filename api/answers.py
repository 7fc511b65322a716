"""Records and rows as the bytes of an answer. A record just written and its row read later give the same bytes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

import msgspec
import sqlalchemy as sa

from api.errors import Answer, Header
from domain.records.base import Record
from domain.records.columns import InstantColumn, JsonColumn
from domain.records.lists import shown_columns
from domain.records.statements import Compiled, Row, instant_text, json_text

encode = msgspec.json.Encoder().encode

Converter = Callable[[Any], Any]


def shown_row(compiled: Compiled, row: Row) -> dict[str, Any]:
    """Return a row by column, ready to be encoded."""
    return dict(zip(compiled.keys, compiled.json_row(row), strict=True))


def shown_record(record: Record) -> dict[str, Any]:
    """Return a record by column, ready to be encoded."""
    shown = {}
    for name, convert in _converters(type(record)):
        value = getattr(record, name)
        shown[name] = value if value is None or convert is None else convert(value)
    return {**shown, **said_beside(type(record))}


def said_beside(record: type[Record]) -> Mapping[str, str]:
    """Return what every answer that shows such a record says besides it."""
    return {} if record.disclaimer is None else {"disclaimer": record.disclaimer}


def etag(version: int) -> Header:
    """Return the ETag of a record's version."""
    return (b"etag", b'"%d"' % version)


def of_record(record: Record) -> Answer:
    """Return the answer that shows a record."""
    return Answer(encode(shown_record(record)), headers=[etag(record.version)])


def created(record: Record, *, at: str) -> Answer:
    """Return the answer that says where a new record is and shows it. ``at`` is the path of the list that it is now in."""
    location = f"{at}/{record.id}".encode()
    return Answer(encode(shown_record(record)), status=201, headers=[etag(record.version), (b"location", location)])


def registered(record: Record) -> Answer:
    """Return the answer that shows a new record that is only seen in a list."""
    return Answer(encode(shown_record(record)), status=201, headers=[etag(record.version)])


def told_once(shown: Mapping[str, Any], *, secret: str, text: str, status: int = 200, headers: Sequence[Header] = ()) -> Answer:
    """Return the answer that tells a secret under its name. What is kept of it, to be given again, has null in the secret's place."""
    return Answer(encode({**shown, secret: text}), status=status, headers=headers, kept_body=encode({**shown, secret: None}))


@cache
def _converters(record: type[Record]) -> Sequence[tuple[str, Converter | None]]:
    return [(column.name, _converter(column)) for column in shown_columns(record)]


def _converter(column: sa.Column[Any]) -> Converter | None:
    if isinstance(column.type, JsonColumn):
        return lambda value: msgspec.Raw(json_text(value).encode())
    return instant_text if isinstance(column.type, InstantColumn) else None
