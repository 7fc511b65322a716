"""What a member of staff was assessed to be able to do, and until when that counts."""

from __future__ import annotations

from datetime import date
from typing import ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, Name, Note, UuidColumn, words_of
from domain.records.stated import misstated
from domain.rules.fitness import Hazard


class CompetenceStated(Stated):
    """A competence: what it is, the hazard class of the animals it is for, since when and until when it counts, and who assessed it."""

    title: Name
    hazard: Hazard | None = Field(default=None, sa_type=words_of(Hazard))
    from_on: Day
    expires_on: Day | None = None
    assessed_by: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _days_rise(self) -> CompetenceStated:
        if self.expires_on is not None and self.expires_on < self.from_on:
            raise misstated("expires_on", "this should not be before from_on")
        return self


class Competence(Record, CompetenceStated, table=True):
    """A stored competence; ``expires_on`` is the last day on which it counts."""

    __tablename__ = "competence"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("staff", "staff_id"),
        sa.Index("ix_competence_staff", "organisation_id", "staff_id"),
    )
    noun: ClassVar[str] = "competence"
    personal: ClassVar[frozenset[str]] = frozenset(("title", "assessed_by", "note"))

    staff_id: Id = Field(sa_type=UuidColumn)
    from_on: date
    expires_on: date | None = None
