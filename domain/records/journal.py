"""The journal: one append-only, hash-chained list of every change of an organisation's records.

An entry's ``content`` is its canonical JSON (names in order, no blanks, UTF-8), and its hash is SHA-256 over the text
``reedbed-journal-1``, a newline and that content. The content names the hash before it, so a change anywhere breaks every hash after.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from domain.records.base import owned_by_organisation, table_of
from domain.records.columns import InstantColumn, UuidColumn
from domain.records.statements import Statement, instant_text, json_text
from domain.rules.permissions import EVERYWHERE, Reach

CHAIN = b"reedbed-journal-1\n"
LET_GO = "let_go"
"""The action of the last entry of a record whose time was up: it is not on record any more."""
ERASING = frozenset(("erase_staff", "erase_account", "erase_account_identity", "erase_competence", "erase_permit", LET_GO))
"""The actions that say that a person's particulars in this and earlier entries of the record were erased."""
HASHED = "sha256_salted"
"""What an entry's member says in place of a person's particular."""
NO_HASH = "0" * 64
"""What the first entry names as the hash before it."""


class JournalEntry(SQLModel, table=True):
    """One change. ``content`` holds everything; the other columns repeat parts of it for finding."""

    __tablename__ = "journal"
    __table_args__ = (owned_by_organisation(),)

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    position: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    at: datetime = Field(sa_type=InstantColumn)
    subject: str = Field(max_length=32)
    subject_id: UUID = Field(sa_type=UuidColumn)
    content: str = Field(sa_type=sa.Text)
    hash: str = Field(max_length=64)


class JournalHead(SQLModel, table=True):
    """The end of an organisation's chain; locked while entries are added."""

    __tablename__ = "journal_head"
    __table_args__ = (owned_by_organisation(),)

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    position: int = Field(sa_type=sa.BigInteger)
    hash: str = Field(max_length=64)


class JournalPrivate(SQLModel, table=True):
    """A person's particulars that an entry speaks of. The entry holds only their salted hash, so that they can be erased one day.

    ``value`` is JSON text; it and ``salt`` are empty once erased. ``part`` is ``before`` or ``after``.
    """

    __tablename__ = "journal_private"
    __table_args__ = (
        owned_by_organisation(),
        sa.ForeignKeyConstraint(["organisation_id", "position"], ["journal.organisation_id", "journal.position"]),
    )

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    position: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    part: str = Field(primary_key=True, max_length=16)
    field: str = Field(primary_key=True, max_length=64)
    salt: str | None = Field(default=None, max_length=64)
    value: str | None = Field(default=None, sa_type=sa.Text)


class JournalCheckpoint(SQLModel, table=True):
    """The end of a chain at an instant, signed by a key that the database does not hold, and written down in a second place as well."""

    __tablename__ = "journal_checkpoint"
    __table_args__ = (owned_by_organisation(),)

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    position: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    hash: str = Field(max_length=64)
    at: datetime = Field(sa_type=InstantColumn)
    key_id: str = Field(max_length=64)
    signature: str = Field(max_length=200)


class ReadingLog(SQLModel, table=True):
    """Who read what is sensitive, or took an export away. Append-only, and in no chain."""

    __tablename__ = "reading_log"
    __table_args__ = (owned_by_organisation(), sa.Index("ix_reading_log_at", "organisation_id", "at"))

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    at: datetime = Field(sa_type=InstantColumn)
    actor: str = Field(max_length=64)
    credential: str | None = Field(default=None, max_length=64)
    on_behalf_of: UUID | None = Field(default=None, sa_type=UuidColumn)
    request_id: str = Field(max_length=64)
    action: str = Field(max_length=64)
    subject_id: UUID | None = Field(default=None, sa_type=UuidColumn)


@dataclass(frozen=True, slots=True)
class Change:
    """A change of one record, before it has its place in the chain. ``before`` is empty for a new record.

    ``personal`` names the columns that hold a person's particulars.
    """

    action: str
    subject: str
    subject_id: UUID
    version: int
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    reason: str | None = None
    personal: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Particular:
    """One of a person's particulars in an entry: where it stands there, and its salt and value as JSON text, empty once erased."""

    part: str
    field: str
    salt: str | None
    value: str | None


@dataclass(frozen=True, slots=True)
class Origin:
    """Who changes something, when and why: ``actor`` by ``credential``, for the member of staff ``on_behalf_of``, in one request.

    ``reach`` is where the change may be made.
    """

    organisation_id: int
    at: datetime
    actor: str
    request_id: str
    credential: str | None = None
    on_behalf_of: UUID | None = None
    reason: str | None = None
    reach: Reach = EVERYWHERE


def without_particulars(change: Change) -> tuple[Change, list[Particular]]:
    """Return a change with salted hashes in place of a person's particulars, and those particulars.

    Of a change that erases them nothing is kept of what stood there before; what takes its place is nobody's, and said openly.
    """
    if not change.personal:
        return change, []
    erases = change.action in ERASING
    before, was = _hashed("before", change.before, personal=change.personal)
    after, now_is = (change.after, []) if erases else _hashed("after", change.after, personal=change.personal)
    kept = [replace(one, salt=None, value=None) for one in was] if erases else [*was, *now_is]
    return replace(change, before=before, after=after), kept


def _hashed(part: str, values: Mapping[str, Any], *, personal: frozenset[str]) -> tuple[dict[str, Any], list[Particular]]:
    hashed, kept = dict(values), []
    for name, value in values.items():
        if name in personal and value is not None:
            salt, text = secrets.token_hex(16), json_text(value)
            hashed[name] = {HASHED: particular_digest(salt, text)}
            kept.append(Particular(part, name, salt, text))
    return hashed, kept


def particular_digest(salt: str, value: str) -> str:
    """Return the salted hash of a particular's JSON text, as hexadecimal text."""
    return sha256(f"{salt}\n{value}".encode()).hexdigest()


def entry_content(change: Change, *, origin: Origin, position: int, previous: str) -> str:
    """Return the entry's canonical JSON."""
    return json_text(
        {
            "organisation_id": origin.organisation_id,
            "position": position,
            "at": instant_text(origin.at),
            "actor": origin.actor,
            "on_behalf_of": origin.on_behalf_of,
            "credential": origin.credential,
            "request_id": origin.request_id,
            "action": change.action,
            "subject": change.subject,
            "subject_id": change.subject_id,
            "version": change.version,
            "reason": change.reason or origin.reason,
            "before": change.before,
            "after": change.after,
            "previous": previous,
        }
    )


def entry_hash(content: str) -> str:
    """Return the hash of an entry's content, as hexadecimal text."""
    return sha256(CHAIN + content.encode()).hexdigest()


_journal, _head, _private = table_of(JournalEntry), table_of(JournalHead), table_of(JournalPrivate)
_here = _journal.c.organisation_id == sa.bindparam("organisation_id")
_head_here = _head.c.organisation_id == sa.bindparam("organisation_id")

LOCK_HEAD = Statement(sa.select(_head.c.position, _head.c.hash).where(_head_here).with_for_update())
COUNT = Statement(sa.select(sa.func.count()).select_from(_journal).where(_here))
HEAD = Statement(sa.select(_head.c.position, _head.c.hash).where(_head_here))
MOVE_HEAD = Statement(
    sa.update(_head)
    .where(_head.c.organisation_id == sa.bindparam("at_organisation_id"))
    .values(position=sa.bindparam("new_position"), hash=sa.bindparam("new_hash"))
)
START_HEAD = Statement(sa.insert(_head))
ADD_ENTRY = Statement(sa.insert(_journal))
ENTRIES_AFTER = Statement(
    sa.select(_journal).where(_here, _journal.c.position > sa.bindparam("after")).order_by(_journal.c.position).limit(sa.bindparam("limit"))
)

KEEP_PARTICULAR = Statement(sa.insert(_private))
PARTICULARS_BETWEEN = Statement(
    sa.select(_private).where(
        _private.c.organisation_id == sa.bindparam("organisation_id"),
        _private.c.position > sa.bindparam("after"),
        _private.c.position <= sa.bindparam("until"),
    )
)
FORGET_PARTICULARS = Statement(
    sa.update(_private)
    .where(
        _private.c.organisation_id == sa.bindparam("at_organisation_id"),
        sa.exists().where(
            _journal.c.organisation_id == _private.c.organisation_id,
            _journal.c.position == _private.c.position,
            _journal.c.subject == sa.bindparam("of_subject"),
            _journal.c.subject_id == sa.bindparam("of_subject_id"),
        ),
    )
    .values(salt=None, value=None)
)
"""Erases what the chain holds only hashes of: without the salt nobody can say any more what was hashed."""
