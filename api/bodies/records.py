"""What the shapes of all nouns share."""

from __future__ import annotations

from datetime import date
from typing import Generic, TypeVar
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from domain.records.base import Stated
from domain.records.columns import NewId

T = TypeVar("T", bound=BaseModel)


class New(Stated):
    """What may be said besides the facts when something is registered."""

    id: NewId | None = Field(default=None, description="The record's id where the caller makes it: a UUID of version 7.")


class Kept(Stated):
    """What every record on file shows besides its facts."""

    model_config = ConfigDict(json_schema_serialization_defaults_required=True)

    id: UUID
    version: int = Field(description="Raised by every change; its ETag is this number in quotation marks.")
    created_at: AwareDatetime
    ended_on: date | None = None
    end_reason: str | None = None


class Page(BaseModel, Generic[T]):
    """One page of a list. ``next`` is the cursor of the page after it, null on the last."""

    model_config = ConfigDict(extra="forbid")

    items: list[T]
    next: str | None
