"""Reminders of what must be done by when, and the calendars that people subscribe to."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, ClassVar
from uuid import UUID

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import field_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, InstantColumn, JsonColumn, Name, Passage, UuidColumn, words_of
from domain.rules.law.decision import DISCLAIMER
from domain.rules.permissions import Role
from domain.rules.reminders import ReminderKind, ReminderState, Stage


class Reminder(Record, table=True):
    """A stored reminder: what it is about, what has to be done, for which occurrence, how near the day was when it was told, and the day.

    It is at the site on whose date its day is; without one it is the whole organisation's. It is never ended: what became of it is its
    ``state``. ``changed_at`` is when anything about it was changed last.
    """

    __tablename__ = "reminder"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        sa.UniqueConstraint("organisation_id", "subject", "subject_id", "kind", "occurrence", "stage", name="uq_reminder_key"),
        sa.Index("ix_reminder_site", "organisation_id", "site_id", "due_on"),
        sa.Index("ix_reminder_due", "organisation_id", "due_on", "id"),
    )
    noun: ClassVar[str] = "reminder"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    subject: str = Field(max_length=32)
    subject_id: UUID = Field(sa_type=UuidColumn)
    kind: ReminderKind = Field(sa_type=words_of(ReminderKind))
    occurrence: str = Field(max_length=200)
    stage: Stage = Field(sa_type=words_of(Stage))
    site_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    due_on: date
    sentence: str
    state: ReminderState = Field(default=ReminderState.OPEN, sa_type=words_of(ReminderState))
    deferred_until: date | None = None
    reason: str | None = None
    role: Role | None = Field(default=None, sa_type=words_of(Role))
    changed_at: datetime = Field(sa_type=InstantColumn)


class Deferral(Stated):
    """Until when a reminder is put off, and why. It wakes on that day, and when the next stage is reached."""

    until: Day
    reason: Passage


class Handing(Stated):
    """The role that is to see to it from now on."""

    role: Role


class Acknowledgement(Stated):
    """Nothing is said besides: an empty object."""


class CalendarFeedStated(Stated):
    """A calendar of one's own that any calendar program can subscribe to: of what is at one site, and of some kinds, or of everything.

    Whatever it is asked for, it shows what whoever made it may see at that time.
    """

    name: Name
    site_id: Id | None = Field(default=None, sa_type=UuidColumn)
    kinds: Annotated[list[ReminderKind], PydanticField(min_length=1, max_length=len(ReminderKind))] | None = Field(
        default=None, sa_type=JsonColumn
    )

    @field_validator("kinds")
    @classmethod
    def _each_once(cls, kinds: list[ReminderKind] | None) -> list[ReminderKind] | None:
        return kinds if kinds is None else list(dict.fromkeys(kinds))


class CalendarFeed(Record, CalendarFeedStated, table=True):
    """A stored calendar. Only the SHA-256 of its token is kept."""

    __tablename__ = "calendar_feed"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("staff", "staff_id"),
        refers_to("site", "site_id"),
        sa.UniqueConstraint("organisation_id", "secret_sha256", name="uq_calendar_feed_secret"),
        sa.Index("ix_calendar_feed_staff", "organisation_id", "staff_id"),
    )
    noun: ClassVar[str] = "calendar_feed"

    kinds: Any = Field(default=None, sa_type=JsonColumn, nullable=True)
    staff_id: UUID = Field(sa_type=UuidColumn)
    secret_sha256: str = Field(max_length=64)
