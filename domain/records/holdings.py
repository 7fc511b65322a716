"""Whose an animal is and what it is called, as dated intervals."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, Name, Note, UuidColumn, words_of
from domain.records.intervals import Dated, by_day
from domain.records.stated import misstated


class HoldingKind(StrEnum):
    """On what footing an animal is held: as one's own, for another, by another, or for an authority until it decides."""

    OWNED = "owned"
    LOAN_IN = "loan_in"
    LOAN_OUT = "loan_out"
    IN_CUSTODY = "in_custody"


class HoldingStated(Stated):
    """Whose an animal is since when. ``party`` is the owner of a loan in, the keeper of a loan out, or the authority."""

    kind: HoldingKind = Field(sa_type=words_of(HoldingKind))
    from_on: Day
    until_on: Day | None = None
    party: Name | None = None
    terms: Note = ""
    due_back_on: Day | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _names_the_other(self) -> HoldingStated:
        if self.kind is not HoldingKind.OWNED and self.party is None:
            raise misstated("party", "say whose it is, or who has it", code="required")
        if self.until_on is not None and self.until_on < self.from_on:
            raise misstated("until_on", "this should not be before from_on")
        if self.kind is HoldingKind.OWNED and self.due_back_on is not None:
            raise misstated("due_back_on", "what is one's own is not due back")
        if self.due_back_on is not None and self.due_back_on < self.from_on:
            raise misstated("due_back_on", "this should not be before from_on")
        return self


class Holding(Record, HoldingStated, Dated, table=True):
    """A stored holding; an animal has one on any day at most."""

    __tablename__ = "holding"
    __table_args__ = (owned_by_organisation(), refers_to("animal", "animal_id"), by_day("holding", "animal_id"))
    noun: ClassVar[str] = "holding"
    apart: ClassVar[tuple[str, ...]] = ("animal_id",)

    animal_id: Id = Field(sa_type=UuidColumn)
    from_on: date
    until_on: date | None = None


class CallNameStated(Stated):
    """What an animal is called, since when."""

    name: Name
    from_on: Day
    until_on: Day | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _days_rise(self) -> CallNameStated:
        if self.until_on is not None and self.until_on < self.from_on:
            raise misstated("until_on", "this should not be before from_on")
        return self


class CallName(Record, CallNameStated, Dated, table=True):
    """A stored name; an animal has one on any day at most."""

    __tablename__ = "call_name"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        by_day("call_name", "animal_id"),
        sa.Index("ix_call_name_name", "organisation_id", "name_key"),
    )
    noun: ClassVar[str] = "call_name"
    apart: ClassVar[tuple[str, ...]] = ("animal_id",)

    animal_id: Id = Field(sa_type=UuidColumn)
    name_key: str
    from_on: date
    until_on: date | None = None
