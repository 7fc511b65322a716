"""``reedbed journal``: what was changed, by whom and why, and who read what is sensitive."""

from __future__ import annotations

import sys
from argparse import Namespace
from collections.abc import Iterator
from typing import Any
from uuid import UUID

import msgspec
import sqlalchemy as sa
from rich.console import Console

from api.commands.session import opened
from api.commands.trouble import Trouble
from domain.records import journal as records
from domain.records.base import table_of
from domain.records.statements import Statement
from domain.records.unit import Unit

PAGE = 1000

_reading = table_of(records.ReadingLog)
READINGS = Statement(
    sa.select(_reading)
    .where(_reading.c.organisation_id == sa.bindparam("organisation_id"), _reading.c.id > sa.bindparam("after"))
    .order_by(_reading.c.id)
    .limit(sa.bindparam("limit"))
)
NOTHING = UUID(int=0)


def journal(words: Namespace, console: Console) -> int:  # noqa: ARG001 - it prints for programs
    """Print an organisation's journal, or its log of who read what, one JSON object a line."""
    subject_id = _id_of(words.of)
    with opened("journal") as session:
        organisation = session.organisation(words.organisation)
        with session.store.snapshot(session.origin(organisation.id)) as unit:
            unit.take_time()
            for line in _readings(unit) if words.readings else _entries(unit):
                if subject_id is None or line.get("subject_id") == str(subject_id):
                    sys.stdout.write(msgspec.json.encode(line).decode() + "\n")
    return 0


def _entries(unit: Unit) -> Iterator[dict[str, Any]]:
    """Yield every entry as it is chained, a person's particulars in place of their hashes as far as they were not erased."""
    after = 0
    while page := unit.named(records.ENTRIES_AFTER, after=after, limit=PAGE):
        until = page[-1]["position"]
        kept: dict[int, list[dict[str, Any]]] = {}
        for one in unit.named(records.PARTICULARS_BETWEEN, after=after, until=until):
            kept.setdefault(one["position"], []).append(one)
        for row in page:
            entry: dict[str, Any] = {**msgspec.json.decode(row["content"]), "hash": row["hash"]}
            for one in kept.get(row["position"], ()):
                if one["value"] is not None:
                    entry[one["part"]][one["field"]] = msgspec.json.decode(one["value"])
            yield entry
        after = until


def _readings(unit: Unit) -> Iterator[dict[str, Any]]:
    after = NOTHING
    while page := unit.named(READINGS, after=after, limit=PAGE):
        yield from (msgspec.json.decode(msgspec.json.encode(row)) for row in page)
        after = page[-1]["id"]


def _id_of(word: str | None) -> UUID | None:
    try:
        return None if word is None else UUID(word)
    except ValueError:
        raise Trouble(f"{word!r} is no id of a record") from None
