"""What the shapes of all nouns share."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Generic, TypeVar
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, create_model

from domain.records.base import Stated
from domain.records.columns import NewId
from domain.rules.law.decision import DISCLAIMER

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


class LegalPage(Page[T]):
    """One page of a list of records of the law."""

    disclaimer: str = Field(description=DISCLAIMER)


@cache
def with_disclaimer(kept: type[BaseModel]) -> type[BaseModel]:
    """Return the shape of an answer that shows one record of the law, with what it is not."""
    said = (str, Field(description=DISCLAIMER))
    return create_model(f"{kept.__name__}Shown", __base__=kept, __doc__=kept.__doc__, disclaimer=said)
