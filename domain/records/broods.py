"""Broods that are expected: that a female is gravid, or that a clutch or a pairing is awaited to bring young."""

from __future__ import annotations

from typing import ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.animals import Number
from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, Note, UuidColumn
from domain.records.stated import misstated


class ExpectedBroodStated(Stated):
    """That young of an animal are expected: since when that is seen, for when, and how many, so that permitted numbers are watched in time.

    ``outcome_event_id`` is the event with which the young, or the eggs, came on record.
    """

    seen_on: Day
    expected_on: Day | None = None
    number_low: Number | None = None
    number_high: Number | None = None
    outcome_event_id: Id | None = Field(default=None, sa_type=UuidColumn)
    note: Note = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> ExpectedBroodStated:
        if self.expected_on is not None and self.expected_on < self.seen_on:
            raise misstated("expected_on", "this should not be before seen_on")
        if self.number_low is not None and self.number_high is not None and self.number_high < self.number_low:
            raise misstated("number_high", "this should not be below number_low")
        return self


class ExpectedBrood(Record, ExpectedBroodStated, table=True):
    """A stored expectation. It ends once the young have come, or nobody expects them any more."""

    __tablename__ = "expected_brood"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("animal_event", "outcome_event_id"),
        sa.Index("ix_expected_brood_animal", "organisation_id", "animal_id"),
    )
    noun: ClassVar[str] = "expected_brood"

    animal_id: Id = Field(sa_type=UuidColumn)
