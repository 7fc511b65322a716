"""What the entries of a journal say of the records, one after another, and what cannot be true of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import cache
from typing import Any
from uuid import UUID

import msgspec

from domain.records import journal
from domain.records.base import all_records

Subject = tuple[str, UUID]
Row = Mapping[str, Any]
_Particulars = dict[tuple[str, str], Row]


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something that cannot be true of an untouched database; ``position`` is the entry it was seen at, if any."""

    position: int | None
    sentence: str


class Erased(Enum):
    """The value of a particular that was erased: it may have been anything."""

    ERASED = "erased"


@dataclass(slots=True)
class State:
    """What the entries so far say of a record."""

    values: dict[str, Any] = field(default_factory=dict)
    version: int = 0
    let_go: bool = False
    unexplained: int | None = None
    """The first entry whose particulars are gone although no entry of the record since then says that they were erased."""


def replayed(states: dict[Subject, State], row: Row, content: Row, particulars: Sequence[Row]) -> Iterator[Flaw]:
    """Take an entry's change into the state of its record, and yield what does not fit the entries before it."""
    at, noun = row["position"], row["subject"]
    state = states.setdefault((noun, row["subject_id"]), State())
    before, after = mapping(content.get("before")), mapping(content.get("after"))
    if particulars or personal_columns().get(noun):
        kept = {(one["part"], one["field"]): one for one in particulars}
        yield from _restored("before", before, kept, at=at, noun=noun, state=state)
        yield from _restored("after", after, kept, at=at, noun=noun, state=state)
        if kept:
            yield Flaw(at, f"Entry {at} has particulars beside it that it does not speak of.")
    version = content.get("version")
    if version != state.version + 1:
        yield Flaw(at, f"Entry {at} makes version {version} of a {noun} that was at {state.version}.")
    if before and any(not agrees(state.values.get(name), value) for name, value in before.items()):
        yield Flaw(at, f"Entry {at} says another state before than the entries before it left.")
    _take(state, content, after)


def unexplained(states: Mapping[Subject, State]) -> Iterator[Flaw]:
    """Yield the particulars that are gone although no entry says that they were erased."""
    for (noun, subject_id), state in states.items():
        if state.unexplained is not None:
            at = state.unexplained
            yield Flaw(at, f"Entry {at} has lost particulars of the {noun} {subject_id}, and no entry says that they were erased.")


def agrees(stood: object, said: object) -> bool:
    """Return whether two values may be the same: one that was erased may have been any."""
    return stood == said or Erased.ERASED in (stood, said)


def mapping(value: object) -> dict[str, Any]:
    """Return a value that should be an object, an empty one where it is none."""
    return value if isinstance(value, dict) else {}


@cache
def personal_columns() -> Mapping[str, frozenset[str]]:
    """Return the columns that hold a person's particulars, by kind of record."""
    return {record.noun: record.personal for record in all_records()}


def _take(state: State, content: Row, after: Row) -> None:
    """Leave a record as an entry says it. One that was let go of begins anew if it is registered again."""
    action, version = content.get("action"), content.get("version")
    if action in journal.ERASING:
        state.unexplained = None
    state.let_go = action == journal.LET_GO
    if state.let_go:
        state.values, state.version = {}, 0
        return
    state.values.update(after)
    state.version = version if isinstance(version, int) else state.version


def _restored(part: str, values: dict[str, Any], kept: _Particulars, *, at: int, noun: str, state: State) -> Iterator[Flaw]:
    """Put a person's particulars in the place of their hashes, and yield what cannot be."""
    for name in values.keys() & personal_columns().get(noun, frozenset()):
        said = values[name]
        if not isinstance(said, dict) or said.keys() != {journal.HASHED}:
            continue
        one = kept.pop((part, name), None)
        values[name] = Erased.ERASED
        if one is None:
            yield Flaw(at, f"The particulars that entry {at} has the hash of are not kept beside it.")
        elif one["salt"] is None and one["value"] is None:
            state.unexplained = state.unexplained or at
        else:
            values[name] = _read(one["value"])
            if journal.particular_digest(one["salt"], one["value"]) != said[journal.HASHED]:
                yield Flaw(at, f"The particulars kept beside entry {at} are not those that it has the hash of.")


def _read(text: str | None) -> object:
    try:
        return None if text is None else msgspec.json.decode(text)
    except msgspec.DecodeError:
        return text
