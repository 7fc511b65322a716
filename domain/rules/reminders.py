"""What must be done by when, told in time: stages that come of lead times, and what becomes of reminders from night to night.

A reminder is unique by what it is about, what has to be done, the occurrence (this version of a permit, this installation of a lamp, this
period of a return) and the stage. So a second night adds nothing, and whoever acknowledged the first notice is told again when it is due.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from uuid import UUID

REOPENED_BEYOND_DAYS = 7
"""A closed reminder is opened again only where its day moves earlier by more than this."""
SOON_DAYS = 14
"""How long before its day a thing is due soon, where its lead is longer than that."""


class ReminderKind(StrEnum):
    """What has to be done."""

    RENEWAL = "renewal"
    CONDITION = "condition"
    RETURN = "return"
    INSPECTION = "inspection"
    COMPETENCE = "competence"
    CHECK = "check"
    DRILL = "drill"
    RETENTION_END = "retention_end"
    REPLACEMENT = "replacement"
    HEAD_ROOM = "head_room"
    LOAN = "loan"
    REPORT = "report"
    QUARANTINE = "quarantine"
    ARRIVAL = "arrival"


class Stage(StrEnum):
    """How near the day is, from far to past: within the lead, within two weeks, on the day, after it."""

    AHEAD = "ahead"
    SOON = "soon"
    DUE = "due"
    OVERDUE = "overdue"


class ReminderState(StrEnum):
    """What somebody did about a reminder; ``closed`` is what became of one that nothing more has to be done about."""

    OPEN = "open"
    ACKNOWLEDGED = "acknowledged"
    DEFERRED = "deferred"
    CLOSED = "closed"


STANDING = frozenset((ReminderState.OPEN, ReminderState.DEFERRED))
"""States in which a reminder still wants something."""


@dataclass(frozen=True, slots=True)
class Key:
    """What makes a reminder one and the same from night to night."""

    subject: str
    subject_id: UUID
    kind: ReminderKind
    occurrence: str
    stage: Stage

    @property
    def of_occurrence(self) -> tuple[str, UUID, ReminderKind, str]:
        """What its stages have in common."""
        return self.subject, self.subject_id, self.kind, self.occurrence


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """Something that has to be done by a day, and from which day on it is told."""

    subject: str
    subject_id: UUID
    kind: ReminderKind
    occurrence: str
    due_on: date
    tell_from: date
    sentence: str
    site_id: UUID | None = None

    def stage(self, *, today: date) -> Stage | None:
        """Return how near its day is, ``None`` before it is told. The day itself is in time."""
        if today > self.due_on:
            return Stage.OVERDUE
        if today == self.due_on:
            return Stage.DUE
        if today < self.tell_from:
            return None
        return Stage.SOON if today >= self.due_on - timedelta(days=SOON_DAYS) else Stage.AHEAD

    def key(self, stage: Stage) -> Key:
        """Return the key of its reminder at a stage."""
        return Key(self.subject, self.subject_id, self.kind, self.occurrence, stage)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A reminder as it is on record."""

    id: UUID
    key: Key
    due_on: date
    state: ReminderState
    sentence: str
    deferred_until: date | None = None


@dataclass(frozen=True, slots=True)
class Moved:
    """A reminder whose day or sentence is another now; ``opened`` says that it wants something again."""

    reminder: Kept
    duty: Duty
    opened: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """What a night does to the reminders: those it adds, moves, wakes after a deferral, and closes."""

    added: tuple[tuple[Key, Duty], ...]
    moved: tuple[Moved, ...]
    woken: tuple[Kept, ...]
    closed: tuple[Kept, ...]


def reconcile(kept: Iterable[Kept], duties: Iterable[Duty], *, today: Mapping[UUID | None, date]) -> Reconciled:
    """Return what has to be added, moved, woken and closed so that the reminders say what is due; ``today`` is by site.

    A reminder whose day moves is moved in place. One that somebody acknowledged is opened again only where its day moves earlier by more
    than a week; one that is put off wakes then as well. What is no longer due, and the stages that were passed, are closed; a closed one is
    opened again where its day moves earlier by more than a week, or later: that is a new day to be in time for, unless somebody
    acknowledged another stage of the same occurrence.
    """
    by_key = {one.key: one for one in kept}
    noted = {one.key.of_occurrence for one in by_key.values() if one.state is ReminderState.ACKNOWLEDGED}
    told: dict[Key, Duty] = {}
    for duty in duties:
        stage = duty.stage(today=today[duty.site_id])
        if stage is not None:
            told[duty.key(stage)] = duty
    moved = [_moved(by_key[key], duty, is_noted=key.of_occurrence in noted) for key, duty in told.items() if key in by_key]
    return Reconciled(
        added=tuple((key, duty) for key, duty in told.items() if key not in by_key),
        moved=tuple(one for one in moved if one is not None),
        woken=tuple(by_key[key] for key, duty in told.items() if key in by_key and _is_woken(by_key[key], today=today[duty.site_id])),
        closed=tuple(one for key, one in by_key.items() if key not in told and one.state in STANDING),
    )


def _moved(reminder: Kept, duty: Duty, *, is_noted: bool) -> Moved | None:
    is_earlier = (reminder.due_on - duty.due_on).days > REOPENED_BEYOND_DAYS
    is_new_day = reminder.state is ReminderState.CLOSED and duty.due_on > reminder.due_on and not is_noted
    opened = reminder.state is not ReminderState.OPEN and (is_earlier or is_new_day)
    if not opened and (reminder.due_on, reminder.sentence) == (duty.due_on, duty.sentence):
        return None
    return Moved(reminder, duty, opened=opened)


def _is_woken(reminder: Kept, *, today: date) -> bool:
    until = reminder.deferred_until
    return reminder.state is ReminderState.DEFERRED and until is not None and until <= today
