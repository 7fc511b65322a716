"""What every command needs: the settings, the store, whose records, and the instant."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from secrets import token_hex
from typing import Any

import msgspec

import migrations
from api.settings import Settings
from domain.actions.organisations import ORGANISATIONS
from domain.records.engine import Store, open_store
from domain.records.journal import Origin
from domain.records.organisations import Organisation
from domain.rules.text import same_name


class Trouble(Exception):  # noqa: N818 - said to the person at the terminal, not a defect
    """Something that stops a command, said so that the person at the terminal can mend it."""


@dataclass(frozen=True, slots=True)
class Session:
    """A command's view of the installation."""

    settings: Settings
    store: Store
    now: datetime
    command: str

    def origin(self, organisation_id: int) -> Origin:
        """Return where this command's changes to an organisation's records come from."""
        return Origin(
            organisation_id=organisation_id,
            at=self.now,
            actor=f"command:{self.command}",
            request_id=f"command-{token_hex(8)}",
        )

    def organisations(self) -> list[Organisation]:
        """Return every organisation of the installation."""
        with self.store.snapshot(self.origin(0)) as unit:
            return unit.all(Organisation, ORGANISATIONS)

    def organisation(self, word: str | None) -> Organisation:
        """Return the organisation that a word names or numbers; without a word, the only one.

        Raises:
            Trouble: There is none, or more than one, to choose from.
        """
        every = self.organisations()
        names = ", ".join(f"{one.name} ({one.id})" for one in every)
        if not every:
            raise Trouble("There is no organisation yet. Make one with: reedbed organisation create NAME --currency EUR")
        if word is None and len(every) > 1:
            raise Trouble(f"There are several organisations; say which with --organisation: {names}")
        chosen = [one for one in every if word in (None, str(one.id)) or same_name(one.name) == same_name(word or "")]
        if not chosen:
            raise Trouble(f"There is no organisation {word!r}; there are: {names}")
        return chosen[0]


@contextmanager
def opened(command: str, *, at: datetime | None = None) -> Iterator[Session]:
    """Yield the session of a command on the installation's database, whose schema has to be at its head.

    Raises:
        Trouble: The schema is not there or not at its head.
    """
    settings = Settings()
    found = _revision(settings)
    if found != migrations.head():
        raise Trouble(f"The database is at schema {found or 'none'}, this version needs {migrations.head()}. Run: reedbed migrate")
    store = open_store(settings.database_url, pool_size=settings.pool_size)
    try:
        yield Session(settings, store, at or datetime.now(UTC), command)
    finally:
        store.close()


def _revision(settings: Settings) -> str | None:
    try:
        return migrations.revision_of(settings.database_url)
    except Exception as unreachable:
        raise Trouble(f"The database cannot be opened: {unreachable}") from unreachable


def instant(word: str) -> datetime:
    """Return the instant that a word states, with its offset: ``2026-03-01T12:00:00Z``.

    Raises:
        Trouble: It states none, or leaves the offset out.
    """
    try:
        at = datetime.fromisoformat(word)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise Trouble(f"{word!r} is no instant with its offset, such as 2026-03-01T12:00:00Z")
    return at.astimezone(UTC)


def say_json(value: Any) -> None:  # noqa: ANN401 - anything that msgspec encodes
    """Print a value as JSON, indented for people."""
    json.dump(msgspec.json.decode(msgspec.json.encode(value)), sys.stdout, ensure_ascii=False, indent=1)
    sys.stdout.write("\n")
