"""Shapes of the decision whether an enclosure suits animals."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from domain.rules.fitness import Bearing, Outcome, ReasonCode


class FitnessReason(BaseModel):
    """One thing that bears on a placement."""

    model_config = ConfigDict(extra="forbid")

    code: ReasonCode
    bearing: Bearing = Field(description="What it does to the outcome. A remark is only to be known.")
    sentence: str
    source: str | None = Field(description="Whose rule it is, where one is on record.")
    missing: str | None = Field(description="What is not on record, as kind of record and field.")


class FitnessDecision(BaseModel):
    """Whether an enclosure suits animals, and why. What is not on record never makes it fit; then it cannot be decided."""

    model_config = ConfigDict(extra="forbid")

    outcome: Outcome
    on: date
    number: int = Field(description="How many animals it is about.")
    reasons: list[FitnessReason]
    caution: str | None = Field(description="Said where animals can harm people, or it is not known whether they can.")


class Fitness(FitnessDecision):
    """Whether an enclosure would suit the animals of a record."""

    animal_id: UUID
    enclosure_id: UUID
