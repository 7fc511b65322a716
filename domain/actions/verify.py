"""Proving the journal: the chain holds, and the records are what the journal says they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
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


class Erased(Enum):
    """The value of a particular that was erased: it may have been anything."""

    ERASED = "erased"


@dataclass(slots=True)
class State:
    """What the entries so far say of a record."""

    values: dict[str, Any]
    version: int = 0
    erased_at: int | None = None
    """The first entry whose particulars are not there any more."""
    may_be_erased_until: int = 0
    """The last entry that says that what was before it was erased."""
    let_go: bool = False


def prove(unit: Unit) -> Proof:
    """Examine an organisation's whole journal and every record against it."""
    states: dict[Subject, State] = {}
    flaws: list[Flaw] = []
    entries, previous = 0, journal.NO_HASH
    for row, particulars in _entries(unit):
        entries += 1
        flaws.extend(_flaws_of_entry(row, position=entries, previous=previous))
        previous = row["hash"]
        flaws.extend(_replayed(states, row, particulars))
    flaws.extend(_flaws_of_head(unit, entries=entries, last_hash=previous))
    flaws.extend(_flaws_of_erasure(states))
    records, row_flaws = _flaws_of_rows(unit, states)
    return Proof(entries, records, flaws + row_flaws)


def _entries(unit: Unit) -> Iterator[tuple[dict[str, Any], list[dict[str, Any]]]]:
    """Yield every entry with the particulars that it holds only hashes of."""
    after = BEFORE_ANY_ENTRY
    while page := _rows_of(unit, journal.ENTRIES_AFTER, after=after, limit=PAGE):
        until = page[-1]["position"]
        particulars: dict[int, list[dict[str, Any]]] = {}
        for one in _rows_of(unit, journal.PARTICULARS_BETWEEN, after=after, until=until):
            particulars.setdefault(one["position"], []).append(one)
        yield from ((row, particulars.get(row["position"], [])) for row in page)
        after = until


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


def _replayed(states: dict[Subject, State], row: Mapping[str, Any], particulars: Sequence[Mapping[str, Any]]) -> Iterator[Flaw]:
    content, at = _content(row), row["position"]
    subject = (row["subject"], row["subject_id"])
    state = states.setdefault(subject, State({}))
    version = content.get("version")
    before, after = _mapping(content.get("before")), _mapping(content.get("after"))
    yield from _restored(before, after, particulars, at=at, state=state)
    if state.let_go:
        yield Flaw(at, f"Entry {at} is of a {subject[0]} that was let go of before.")
    if version != state.version + 1:
        yield Flaw(at, f"Entry {at} makes version {version} of a {subject[0]} that was at {state.version}.")
    if any(not _agrees(state.values.get(name), value) for name, value in before.items()):
        yield Flaw(at, f"Entry {at} says another state before than the entries before it left.")
    state.values.update(after)
    state.version = version if isinstance(version, int) else state.version
    state.let_go = content.get("action") == journal.LET_GO
    if content.get("action") in journal.ERASING:
        state.may_be_erased_until = at


def _restored(
    before: dict[str, Any], after: dict[str, Any], particulars: Sequence[Mapping[str, Any]], *, at: int, state: State
) -> Iterator[Flaw]:
    """Put a person's particulars in the place of their hashes, and yield what cannot be."""
    parts = {"before": before, "after": after}
    kept = {(one["part"], one["field"]): one for one in particulars}
    for part, values in parts.items():
        for name, said in values.items():
            if not (isinstance(said, dict) and said.keys() == {journal.HASHED}):
                continue
            one = kept.pop((part, name), None)
            if one is None or one["value"] is None or one["salt"] is None:
                values[name] = Erased.ERASED
                state.erased_at = at if state.erased_at is None else state.erased_at
                continue
            if journal.particular_digest(one["salt"], one["value"]) != said[journal.HASHED]:
                yield Flaw(at, f"Entry {at} does not have the hash of the particulars kept beside it.")
            values[name] = _read(one["value"])
    if kept:
        yield Flaw(at, f"Entry {at} has particulars beside it that it does not speak of.")


def _agrees(stood: object, said: object) -> bool:
    return Erased.ERASED in (stood, said) or stood == said


def _flaws_of_erasure(states: Mapping[Subject, State]) -> Iterator[Flaw]:
    for subject, state in states.items():
        if state.erased_at is not None and state.erased_at > state.may_be_erased_until:
            yield Flaw(state.erased_at, f"Particulars of the {subject[0]} {subject[1]} are gone, and no entry says that they were erased.")


def _flaws_of_head(unit: Unit, *, entries: int, last_hash: str) -> Iterator[Flaw]:
    head = unit.row(journal.HEAD)
    if head is None:
        yield Flaw(None, "The organisation has no journal.")
    elif head != (entries, last_hash):
        yield Flaw(head[0], f"The journal ends at entry {entries}, but its head says {head[0]}.")


def _flaws_of_rows(unit: Unit, states: dict[Subject, State]) -> tuple[int, list[Flaw]]:
    flaws: list[Flaw] = []
    seen: set[Subject] = set()
    for subject, row in _rows(unit):
        seen.add(subject)
        said = states.get(subject)
        if said is None:
            flaws.append(Flaw(None, f"The {subject[0]} {subject[1]} is in no entry of the journal."))
        elif said.let_go:
            flaws.append(Flaw(None, f"The {subject[0]} {subject[1]} was let go of and is on record."))
        elif not _is_as_said(msgspec.json.decode(json_text(row)), said):
            flaws.append(Flaw(None, f"The {subject[0]} {subject[1]} is not what the journal says it is."))
    gone = (subject for subject, state in states.items() if subject not in seen and not state.let_go)
    flaws.extend(Flaw(None, f"The {noun} {subject_id} is in the journal but not on record.") for noun, subject_id in gone)
    return len(seen), flaws


def _is_as_said(row: Mapping[str, Any], said: State) -> bool:
    """Return whether a record is what its entries left. A column that is younger than the entries is empty."""
    stood = {**said.values, "version": said.version}
    return stood.keys() <= row.keys() and all(_agrees(stood.get(name), value) for name, value in row.items())


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


def _read(text: object) -> object:
    try:
        return msgspec.json.decode(text) if isinstance(text, str) else text
    except msgspec.DecodeError:
        return text


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
