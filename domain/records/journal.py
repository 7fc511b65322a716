"""The journal: one append-only, hash-chained list of every change of an organisation's records.

An entry's ``content`` is its canonical JSON (names in order, no blanks, UTF-8), and its hash is SHA-256 over the text
``reedbed-journal-1``, a newline and that content. The content names the hash before it, so a change anywhere breaks every hash after.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Change:
    """A change of one record, before it has its place in the chain. ``before`` is empty for a new record."""

    action: str
    subject: str
    subject_id: UUID
    version: int
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    reason: str | None = None


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


_journal, _head = table_of(JournalEntry), table_of(JournalHead)
_here = _journal.c.organisation_id == sa.bindparam("organisation_id")
_head_here = _head.c.organisation_id == sa.bindparam("organisation_id")

LOCK_HEAD = Statement(sa.select(_head.c.position, _head.c.hash).where(_head_here).with_for_update())
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
