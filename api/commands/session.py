"""What every command needs: the settings, the store, whose records, and the instant."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from secrets import token_hex
from typing import Any

import msgspec
from pydantic import ValidationError
from pydantic_settings import SettingsError

import migrations
from api.commands.databases import database_at, name_of, revision
from api.commands.trouble import Trouble
from api.settings import Settings
from domain.errors import Fault
from domain.records.engine import Store, open_store
from domain.records.journal import Origin
from domain.records.organisations import Organisation
from domain.records.stated import faults_of
from domain.rules.text import same_name

FIRST_YEAR, LAST_YEAR = 1900, 2200
COLUMNS = ("id", "name", "base_currency", "created_at")


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
        return [Organisation.model_construct(**dict(zip(COLUMNS, row, strict=True))) for row in self.store.organisations()]

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
def opened(command: str, *, at: datetime | None = None, as_owner: bool = False) -> Iterator[Session]:
    """Yield the session of a command on the installation's database, whose schema has to be at its head.

    A command that removes records signs in as the role that owns the tables, where one is set: the service's own may not.

    Raises:
        Trouble: The settings or the database cannot be used, or the schema is not there or not at its head.
    """
    settings = read_settings()
    found, head = revision(settings.database_url), migrations.head()
    if found != head:
        name = name_of(database_at(settings.database_url))
        state = f"is at schema {found}, this version needs {head}" if found else "is not there or has no schema yet"
        raise Trouble(f"The database {name} {state}. Run: reedbed migrate")
    url = settings.owner_database_url if as_owner and settings.owner_database_url else settings.database_url
    store = open_store(url, pool_size=settings.pool_size)
    try:
        yield Session(settings, store, at or datetime.now(UTC), command)
    finally:
        store.close()


def read_settings(**stated: Any) -> Settings:  # noqa: ANN401 - the settings' own fields
    """Return the settings from the environment, but for those that are stated.

    Raises:
        Trouble: One of them cannot be taken; it is named.
    """
    try:
        return Settings(**stated)
    except ValidationError as wrong:
        raise Trouble("\n".join(map(_said, faults_of(wrong.errors())))) from None
    except SettingsError as wrong:
        # Lists are the only settings that are read before they are validated. The sentence quotes the name and no value.
        name = (re.search(r'"(\w+)"', str(wrong)) or ["", "a list"])[1]
        raise Trouble(f"""REEDBED_{name.upper()}: This should be a JSON list, such as '["https://front.example"]'""") from None


def _said(fault: Fault) -> str:
    """Return what is wrong with a setting; where it is a list, which of its members is meant."""
    name, _, within = fault.pointer[1:].partition("/")
    place = f"REEDBED_{name.upper()}{f', {within}' if within else ''}: " if name else ""
    return f"{place}{fault.detail}"


def instant(word: str) -> datetime:
    """Return the instant that a word states, with its offset: ``2026-03-01T12:00:00Z``.

    Raises:
        Trouble: It states none, leaves the offset out, or is outside the years 1900 to 2200.
    """
    _refuse_no_day(word)
    try:
        at = datetime.fromisoformat(word)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise Trouble(f"{word!r} is no instant with its offset, such as 2026-03-01T12:00:00Z")
    if not FIRST_YEAR <= at.year <= LAST_YEAR:
        raise Trouble(f"{word!r} is outside the years {FIRST_YEAR} to {LAST_YEAR}")
    return at.astimezone(UTC)


def _refuse_no_day(word: str) -> None:
    day = re.match(r"\d{4}-\d{2}-\d{2}", word)
    try:
        date.fromisoformat(day[0] if day else "2000-01-01")
    except ValueError as absent:
        raise Trouble(f"{word!r}: there is no such day in the calendar") from absent


def ready_folder(folder: Path) -> None:
    """Make the folder that files are to be written into, if it is not there.

    Raises:
        Trouble: It cannot be made, or nothing may be written into it.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as in_the_way:
        raise Trouble(f"{folder} cannot be a folder: there is a file of that name") from in_the_way
    except OSError as refused:
        raise Trouble(f"The folder {folder} cannot be made: {refused.strerror}") from refused
    if not os.access(folder, os.W_OK):
        raise Trouble(f"Nothing may be written into the folder {folder}")


def say_json(value: Any) -> None:  # noqa: ANN401 - anything that msgspec encodes
    """Print a value as JSON, indented for people."""
    json.dump(msgspec.json.decode(msgspec.json.encode(value)), sys.stdout, ensure_ascii=False, indent=1)
    sys.stdout.write("\n")
