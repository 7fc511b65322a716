"""Shapes of programs' keys."""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, Field

from api.bodies.records import Kept, New, Page
from api.bodies.sessions import Told
from domain.records.base import Stated
from domain.records.organisations import ApiKeyStated

LONGEST_OVERLAP_DAYS = 30


class NewKey(New, ApiKeyStated):
    """A key to be made. Without ``expires_on`` it is good for one year, and it is never good for longer."""


class Key(Kept, ApiKeyStated):
    """A key on file, without its secret."""

    public_id: Annotated[str, Field(description="The part of the key that finds it.")]
    successor_of: Annotated[UUID | None, Field(description="The key whose place it took.")]
    last_used_at: Annotated[AwareDatetime | None, Field(description="Exact to the hour; null where it was never used.")]


class MadeKey(Key):
    """A key that was just made."""

    key: Annotated[Told | None, Field(description="Told once: null where the answer is given again for an Idempotency-Key.")]


class KeyPage(Page[Key]):
    """One page of keys."""


class Rotation(Stated):
    """How many days the old key is still good beside its successor; with 0 it ends at once."""

    overlap_days: Annotated[int, Field(ge=0, le=LONGEST_OVERLAP_DAYS)]
