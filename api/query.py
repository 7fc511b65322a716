"""Reading a query string without forgiving anything: what a path does not know, or is said twice, is refused by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any
from urllib.parse import unquote_to_bytes
from uuid import UUID

import sqlalchemy as sa

from api.errors import Malformed
from domain.errors import Fault, RuleBroken
from domain.records.columns import DAY_SCHEMA, UuidColumn
from domain.rules.text import kept_line, same_name

Reader = Callable[[str], Any]


def read_query(raw: bytes, readers: Mapping[str, Reader]) -> dict[str, Any]:
    """Return the parameters of a query string by name.

    Raises:
        Malformed: It is not UTF-8.
        RuleBroken: A parameter is unknown, said twice or cannot be taken; the pointers are ``/query/`` and the name.
    """
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for pair in raw.split(b"&"):
        name, _, text = (_text(part) for part in pair.partition(b"="))
        if not name and not text:
            continue
        reader = readers.get(name)
        if reader is None:
            faults.append(fault_in(name, "unknown-parameter", "There is no such parameter here."))
        elif name in values:
            faults.append(fault_in(name, "repeated-parameter", "This parameter may be said once."))
        else:
            try:
                values[name] = reader(text)
            except ValueError as wrong:
                faults.append(fault_in(name, "invalid-parameter", f"{str(wrong)[:1].upper()}{str(wrong)[1:]}."))
                values[name] = None
    if faults:
        raise refusal_of(*faults)
    return values


def refusal_of(*faults: Fault) -> RuleBroken:
    """Return the refusal of parameters for what is wrong with them."""
    return RuleBroken("Some of the query's parameters cannot be taken.", code="invalid-query", faults=faults)


def fault_in(name: str, code: str, detail: str) -> Fault:
    """Return what is wrong with a parameter, which is pointed to by ``/query/`` and its name."""
    return Fault(f"/query/{name.replace('~', '~0').replace('/', '~1')}", code, detail)


def reader_of(column: sa.Column[Any]) -> Reader:
    """Return how a parameter that is compared with a column is read."""
    if isinstance(column.type, UuidColumn):
        return read_id
    if isinstance(column.type, sa.Date):
        return read_day
    if isinstance(column.type, sa.Enum) and column.type.enum_class is not None:
        return one_of(column.type.enum_class)
    return _name_key if column.name.endswith("_key") else kept_line


def schema_of(column: sa.Column[Any]) -> dict[str, Any]:
    """Return the JSON schema of a parameter that is compared with a column."""
    if isinstance(column.type, UuidColumn):
        return {"type": "string", "format": "uuid"}
    if isinstance(column.type, sa.Date):
        return dict(DAY_SCHEMA)
    if isinstance(column.type, sa.Enum) and column.type.enum_class is not None:
        return {"type": "string", "enum": [member.value for member in column.type.enum_class]}
    return {"type": "string", "minLength": 1, "format": "line"}


def read_id(text: str) -> UUID:
    """Return an id in its one usual form.

    Raises:
        ValueError: It is not one.
    """
    try:
        found = UUID(text)
    except ValueError:
        found = None
    if found is None or str(found) != text.lower():
        raise ValueError("this should be an id (UUID)")
    return found


def read_day(text: str) -> date:
    """Return a date as YYYY-MM-DD between 1900 and 2200.

    Raises:
        ValueError: It is not one.
    """
    try:
        found = date.fromisoformat(text)
    except ValueError:
        found = date.min
    if not 1900 <= found.year <= 2200 or found.isoformat() != text:  # noqa: PLR2004 - said in the sentence
        raise ValueError("this should be a date as YYYY-MM-DD between 1900 and 2200")
    return found


def read_limit(text: str) -> int:
    """Return how many records a page may hold.

    Raises:
        ValueError: It is not between 1 and 200.
    """
    if not text.isascii() or not text.isdigit() or len(text) > 3 or not 1 <= int(text) <= LARGEST_PAGE:  # noqa: PLR2004 - digits of 200
        raise ValueError(f"this should be a whole number from 1 to {LARGEST_PAGE}")
    return int(text)


CURSOR = {"type": "string", "minLength": 1, "pattern": "^[A-Za-z0-9_-]+$", "format": "cursor"}
"""The JSON schema of a cursor: opaque, and only one that a page gave is taken."""
LARGEST_PAGE = 200
USUAL_PAGE = 50


def one_of(words: Any) -> Reader:  # noqa: ANN401 - any class of enumeration
    """Return a reader of the words of an enumeration."""
    members = {member.value: member for member in words}

    def read(text: str) -> Any:  # noqa: ANN401 - a member
        if text not in members:
            raise ValueError(f"this should be one of {', '.join(members)}")
        return members[text]

    return read


def _name_key(text: str) -> str:
    return same_name(kept_line(text))


def _text(part: bytes) -> str:
    try:
        return unquote_to_bytes(part.replace(b"+", b" ")).decode()
    except UnicodeDecodeError:
        raise Malformed("The query is not UTF-8.", code="not-utf-8") from None
