"""Proving the journal: the chain holds, and the records are what the journal says they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

import msgspec
import sqlalchemy as sa

from domain.actions.organisations import ORGANISATION
from domain.actions.replay import Flaw, State, Subject, agrees, mapping, replayed, unexplained
from domain.records import journal
from domain.records.base import Record, all_records, table_of
from domain.records.organisations import organisation_subject
from domain.records.statements import Compiled, Row, Statement, instant_text, json_text
from domain.records.unit import Unit

PAGE = 5000
BEFORE_ANY_ENTRY = -(2**63)
"""Entries are numbered from 1; one that was put in before the first is to be seen as well."""


@dataclass(slots=True)
class Proof:
    """What was examined, and every flaw that was found: those of entries in the order of the journal, then those of records alone."""

    entries: int
    records: int
    flaws: list[Flaw]


class Link(NamedTuple):
    """Where a chain has come to: the position and the hash of its last entry."""

    position: int
    hash: str


NOTHING_YET = Link(0, journal.NO_HASH)


def prove(unit: Unit) -> Proof:
    """Examine an organisation's whole journal and every record against it."""
    states: dict[Subject, State] = {}
    flaws: list[Flaw] = []
    entries, last = 0, NOTHING_YET
    for row, particulars in _entries(unit):
        entries += 1
        content = _content(row)
        flaws.extend(_flaws_of_entry(row, content, after=last))
        flaws.extend(replayed(states, row, content, particulars))
        last = Link(row["position"], row["hash"])
    flaws.extend(_flaws_of_end(unit, entries=entries, last=last))
    flaws.extend(unexplained(states))
    records, row_flaws = _flaws_of_rows(unit, states)
    return Proof(entries, records, in_order([*flaws, *row_flaws]))


def in_order(flaws: list[Flaw]) -> list[Flaw]:
    """Return flaws in the order of the entries that they were seen at, and then those that were seen at none."""
    return sorted(flaws, key=lambda flaw: (flaw.position is None, flaw.position or 0))


def _entries(unit: Unit) -> Iterator[tuple[dict[str, Any], Sequence[dict[str, Any]]]]:
    """Yield every entry with the particulars that it holds only hashes of."""
    after = BEFORE_ANY_ENTRY
    while page := _rows_of(unit, journal.ENTRIES_AFTER, after=after, limit=PAGE):
        until = page[-1]["position"]
        particulars: dict[int, list[dict[str, Any]]] = {}
        for one in _rows_of(unit, journal.PARTICULARS_BETWEEN, after=after, until=until):
            particulars.setdefault(one["position"], []).append(one)
        yield from ((row, particulars.get(row["position"], ())) for row in page)
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


def _flaws_of_entry(row: Mapping[str, Any], content: Mapping[str, Any], *, after: Link) -> Iterator[Flaw]:
    at, due = row["position"], max(after.position, 0) + 1
    if at != due:
        yield _misplaced(at, due)
    if journal.entry_hash(row["content"]) != row["hash"]:
        yield Flaw(at, f"Entry {at} does not have the hash of its content.")
    if content.get("previous") != after.hash:
        yield Flaw(at, f"Entry {at} does not follow on the entry before it.")
    repeated = (row["organisation_id"], at, _instant(row["at"]), row["subject"], str(row["subject_id"]))
    get = content.get
    if repeated != (get("organisation_id"), get("position"), get("at"), get("subject"), get("subject_id")):
        yield Flaw(at, f"Entry {at} says other things in its columns than in its content.")


def _misplaced(at: int, due: int) -> Flaw:
    if at < 1:
        return Flaw(at, f"Entry {at} stands before the first.")
    if at < due:
        return Flaw(at, f"Entry {at} is there twice.")
    return Flaw(due, f"Entry {due} is missing; the next is {at}.")


def _flaws_of_end(unit: Unit, *, entries: int, last: Link) -> Iterator[Flaw]:
    [(count,)] = unit.rows(journal.COUNT)
    if count != entries:
        yield Flaw(None, f"The journal has {count} entries, but only {entries} with a position of their own.")
    head = unit.row(journal.HEAD)
    if head is None:
        yield Flaw(None, "The organisation has no journal.")
    elif head[0] != last.position:
        ends = min(head[0], last.position)
        yield Flaw(ends + 1, f"The journal ends at entry {last.position}, but its head says {head[0]}.")
    elif head[1] != last.hash:
        yield Flaw(last.position, f"The head of the journal does not have the hash of entry {last.position}.")


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
        elif differing := _differing(msgspec.json.decode(json_text(row)), said, noun=subject[0]):
            flaws.append(Flaw(None, f"The {subject[0]} {subject[1]} is not what the journal says it is: {', '.join(differing)}."))
    gone = (subject for subject, state in states.items() if subject not in seen and not state.let_go)
    flaws.extend(Flaw(None, f"The {noun} {subject_id} is in the journal but not on record.") for noun, subject_id in gone)
    return len(seen), flaws


def _differing(row: Mapping[str, Any], said: State, *, noun: str) -> list[str]:
    """Return the columns of a record that are not what its entries left.

    A column that is younger than the entries should be empty, or hold what it holds where nothing is said.
    """
    stood = {**said.values, "version": said.version}
    if stood == row:
        return []
    stood = {**_unsaid(noun), **stood}
    return sorted(name for name in stood.keys() | row.keys() if name not in row or not agrees(stood.get(name), row[name]))


@cache
def _unsaid(noun: str) -> Mapping[str, Any]:
    """Return what the columns of a kind of record hold where nothing is said of them."""
    fields = next((record.model_fields for record in all_records() if record.noun == noun), {})
    said = {name: field.default for name, field in fields.items() if not field.is_required() and field.default is not None}
    return {name: getattr(value, "value", value) for name, value in said.items()}


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
        return mapping(msgspec.json.decode(row["content"]))
    except msgspec.DecodeError:
        return {}


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
