"""Incidents: what went wrong, which animals were concerned, and whom it was told."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, ClassVar

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Day, Id, Instant, InstantColumn, Name, Note, Passage, UuidColumn, words_of
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.rules.incidents import IncidentKind
from domain.rules.law.decision import DISCLAIMER

Persons = Annotated[int, PydanticField(ge=0, le=10_000)]


class IncidentStated(Stated):
    """Something that went wrong at a site: what, when it was found, where, how many persons were hurt, and what happened.

    No person is named in it: who was hurt, and how, is kept by whoever treats them. It is over on ``closed_on``, and ``outcome`` says how
    it ended and what was learnt.
    """

    site_id: Id = Field(sa_type=UuidColumn)
    kind: IncidentKind = Field(sa_type=words_of(IncidentKind))
    found_at: Instant = Field(sa_type=InstantColumn)
    enclosure_id: Id | None = Field(default=None, sa_type=UuidColumn)
    persons_hurt: Persons = 0
    account: Passage
    closed_on: Day | None = None
    outcome: Note = ""

    @model_validator(mode="after")
    def _ends_with_an_outcome(self) -> IncidentStated:
        if self.closed_on is not None and not self.outcome:
            raise misstated("outcome", "say how it ended", code="required")
        return self


class Incident(Record, IncidentStated, table=True):
    """A stored incident."""

    __tablename__ = "incident"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        refers_to("enclosure", "enclosure_id"),
        sa.Index("ix_incident_site", "organisation_id", "site_id", "found_at"),
    )
    noun: ClassVar[str] = "incident"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    found_at: datetime = Field(sa_type=InstantColumn)


class IncidentAnimalStated(Stated):
    """That an animal or a group was concerned, and how."""

    animal_id: Id = Field(sa_type=UuidColumn)
    note: Note = ""


class IncidentAnimal(Record, IncidentAnimalStated, table=True):
    """A stored animal of an incident."""

    __tablename__ = "incident_animal"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("incident", "incident_id"),
        refers_to("animal", "animal_id"),
        unique_while_kept("incident_animal", "incident_id", "animal_id"),
        sa.Index("ix_incident_animal_animal", "organisation_id", "animal_id"),
    )
    noun: ClassVar[str] = "incident_animal"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    incident_id: Id = Field(sa_type=UuidColumn)


class NotificationStated(Stated):
    """That an incident was told: to whom, when, how, under which reference, and which requirement asked for it.

    ``obligation_code`` is which of the requirement's obligations it met, where it asks to be told more than once.
    """

    told_to: Name
    told_at: Instant = Field(sa_type=InstantColumn)
    requirement_code: LawCode | None = None
    obligation_code: LawCode | None = None
    way: Name
    reference: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _names_the_requirement(self) -> NotificationStated:
        if self.obligation_code is not None and self.requirement_code is None:
            raise misstated("requirement_code", "say of which requirement this is an obligation", code="required")
        return self


class Notification(Record, NotificationStated, table=True):
    """A stored notification."""

    __tablename__ = "notification"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("incident", "incident_id"),
        sa.Index("ix_notification_incident", "organisation_id", "incident_id"),
    )
    noun: ClassVar[str] = "notification"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    incident_id: Id = Field(sa_type=UuidColumn)
    told_at: datetime = Field(sa_type=InstantColumn)
