"""Shapes of reminders: what must be done by when, and what people do about it. No answer is legal advice, and each says so."""

from __future__ import annotations

from datetime import date
from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, Field

from api.bodies.records import Kept, LegalPage
from domain.rules.permissions import Role
from domain.rules.reminders import ReminderKind, ReminderState, Stage


class Reminder(Kept):
    """A reminder on file: it is told once for each stage of each occurrence, and its day is moved in place."""

    subject: Annotated[str, Field(description="What kind of record it is about.")]
    subject_id: UUID
    kind: ReminderKind
    occurrence: Annotated[str, Field(description="Which time: this version of a permit, this installation, this period of a return.")]
    stage: Annotated[Stage, Field(description="How near the day was when it was told.")]
    site_id: Annotated[UUID | None, Field(description="The site on whose date it is due; null where it is the whole organisation's.")]
    due_on: date
    sentence: str
    state: ReminderState
    deferred_until: Annotated[date | None, Field(description="The day on which it wakes, while it is put off.")]
    reason: Annotated[str | None, Field(description="Why it is put off.")]
    role: Annotated[Role | None, Field(description="The role that it was handed to.")]
    changed_at: AwareDatetime


class ReminderPage(LegalPage[Reminder]):
    """One page of reminders."""
