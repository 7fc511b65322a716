"""Proving the journal: the chain holds, and the records are what the journal says they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any
from uuid import UUID

import msgspec
import sqlalchemy as sa

from domain.actions.organisations import ORGANISATION
from domain.records import journal
from domain.records.base import Record, all_records, table_of
from domain.records.organisations import organisation_subject
from domain.records.statements import Compiled, Row, Statement, instant_text, json_text
from domain.records.unit import Unit

PAGE = 5000
BEFORE_ANY_ENTRY = -(2**63)
"""Entries are numbered from 1; one that was put in before the first is to be seen as well."""

Subject = tuple[str, UUID]


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something that cannot be true of an untouched database; ``position`` is the entry it was seen at, if any."""

    position: int | None
    sentence: str


@dataclass(slots=True)
class Proof:
    """What was examined, and every flaw that was found, in the order of the journal."""

    entries: int
    records: int
    flaws: list[Flaw]


def prove(unit: Unit) -> Proof:
    """Examine an organisation's whole journal and every record against it."""
    states: dict[Subject, dict[str, Any]] = {}
    flaws: list[Flaw] = []
    entries, previous = 0, journal.NO_HASH
    for row in _entries(unit):
        entries += 1
        flaws.extend(_flaws_of_entry(row, position=entries, previous=previous))
        previous = row["hash"]
        flaws.extend(_replayed(states, row))
    flaws.extend(_flaws_of_head(unit, entries=entries, last_hash=previous))
    records, row_flaws = _flaws_of_rows(unit, states)
    return Proof(entries, records, flaws + row_flaws)


def _entries(unit: Unit) -> Iterator[dict[str, Any]]:
    after = BEFORE_ANY_ENTRY
    while page := _rows_of(unit, journal.ENTRIES_AFTER, after=after, limit=PAGE):
        yield from page
        after = page[-1]["position"]


def _rows_of(unit: Unit, statement: Statement, **parameters: Any) -> list[dict[str, Any]]:  # noqa: ANN401 - column values
    """Return the rows; a value that cannot be read stays as it is stored, and so differs from what was journalled."""
    compiled = statement.on(unit.dialect)
    return [dict(zip(compiled.keys, _as_read(compiled, row), strict=True)) for row in unit.raw_rows(statement, **parameters)]


def _as_read(compiled: Compiled, row: Row) -> Sequence[Any]:
    try:
        return compiled.python_row(row)
    except (ValueError, TypeError, msgspec.DecodeError):
        values = list(row)
        for position, convert in compiled.to_python:
            with suppress(ValueError, TypeError, msgspec.DecodeError):
                values[position] = convert(values[position])
        return values


def _flaws_of_entry(row: Mapping[str, Any], *, position: int, previous: str) -> Iterator[Flaw]:
    at = row["position"]
    if at != position:
        yield Flaw(at, f"Entry {position} is missing; the next is {at}.")
    if journal.entry_hash(row["content"]) != row["hash"]:
        yield Flaw(at, f"Entry {at} does not have the hash of its content.")
    content = _content(row)
    if content.get("previous") != previous:
        yield Flaw(at, f"Entry {at} does not follow on the entry before it.")
    repeated = (row["organisation_id"], at, _instant(row["at"]), row["subject"], str(row["subject_id"]))
    said = tuple(content.get(name) for name in ("organisation_id", "position", "at", "subject", "subject_id"))
    if repeated != said:
        yield Flaw(at, f"Entry {at} says other things in its columns than in its content.")


def _replayed(states: dict[Subject, dict[str, Any]], row: Mapping[str, Any]) -> Iterator[Flaw]:
    content = _content(row)
    subject = (row["subject"], row["subject_id"])
    state = states.setdefault(subject, {})
    version, stood = content.get("version"), state.get("version", 0)
    before, after = _mapping(content.get("before")), _mapping(content.get("after"))
    if version != stood + 1:
        yield Flaw(
            row["position"],
            f"Entry {row['position']} makes version {version} of a {subject[0]} that was at {stood}.",
        )
    if any(state.get(name) != value for name, value in before.items()):
        yield Flaw(row["position"], f"Entry {row['position']} says another state before than the entries before it left.")
    state.update(after, version=version if isinstance(version, int) else stood)


def _flaws_of_head(unit: Unit, *, entries: int, last_hash: str) -> Iterator[Flaw]:
    head = unit.row(journal.HEAD)
    if head is None:
        yield Flaw(None, "The organisation has no journal.")
    elif head != (entries, last_hash):
        yield Flaw(head[0], f"The journal ends at entry {entries}, but its head says {head[0]}.")


def _flaws_of_rows(unit: Unit, states: dict[Subject, dict[str, Any]]) -> tuple[int, list[Flaw]]:
    flaws: list[Flaw] = []
    seen: set[Subject] = set()
    for subject, row in _rows(unit):
        seen.add(subject)
        said = states.get(subject)
        if said is None:
            flaws.append(Flaw(None, f"The {subject[0]} {subject[1]} is in no entry of the journal."))
        elif msgspec.json.decode(json_text(row)) != said:
            flaws.append(Flaw(None, f"The {subject[0]} {subject[1]} is not what the journal says it is."))
    flaws.extend(Flaw(None, f"The {gone[0]} {gone[1]} is in the journal but not on record.") for gone in states.keys() - seen)
    return len(seen), flaws


def _rows(unit: Unit) -> Iterator[tuple[Subject, dict[str, Any]]]:
    for row in _rows_of(unit, ORGANISATION):
        yield (
            ("organisation", organisation_subject(row["id"])),
            {"name": row["name"], "base_currency": row["base_currency"], "version": 1},
        )
    for record in sorted(all_records(), key=lambda one: one.noun):
        page = _rows_of(unit, _first_page_of(record), limit=PAGE)
        while page:
            for row in page:
                yield (
                    (record.noun, row["id"]),
                    {name: value for name, value in row.items() if name not in {"organisation_id", "id"}},
                )
            page = _rows_of(unit, _page_after(record), after=page[-1]["id"], limit=PAGE)


def _content(row: Mapping[str, Any]) -> dict[str, Any]:
    try:
        content = msgspec.json.decode(row["content"])
    except msgspec.DecodeError:
        return {}
    return _mapping(content)


def _mapping(value: object) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _instant(value: object) -> object:
    return instant_text(value) if isinstance(value, datetime) else value


@cache
def _first_page_of(record: type[Record]) -> Statement:
    return Statement(_by_id(record))


@cache
def _page_after(record: type[Record]) -> Statement:
    return Statement(_by_id(record).where(table_of(record).c.id > sa.bindparam("after")))


def _by_id(record: type[Record]) -> sa.Select[Any]:
    table = table_of(record)
    own = table.c.organisation_id == sa.bindparam("organisation_id")
    return sa.select(table).where(own).order_by(table.c.id).limit(sa.bindparam("limit"))
