"""Marks of animals."""

from __future__ import annotations

from uuid import UUID

from pydantic import Field

from api.bodies.records import Kept, New, Page
from domain.records.marks import MarkEntered, MarkStated


class NewMark(New, MarkEntered):
    """A mark to be recorded."""


class ChangedMark(MarkEntered):
    """What can be corrected of a mark; a new code has to be read by a scanner or typed twice as well."""


class Mark(Kept, MarkStated):
    """A mark on file."""

    animal_id: UUID
    warning: str | None = Field(default=None, description="What whoever reads the code should know of it.")
    closed_by_id: UUID | None = Field(default=None, description="The event with which its bearer's life here ended, if that ended it.")


class MarkPage(Page[Mark]):
    """One page of marks."""
