"""Parents of animals."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.records.kinship import ParentStated


class NewParent(New, ParentStated):
    """A parent to be recorded."""


class ChangedParent(ParentStated):
    """What can be corrected of what is known of a parent."""


class Parent(Kept, ParentStated):
    """What is on file of a parent: ``animal_id`` is the offspring."""

    animal_id: UUID


class ParentPage(Page[Parent]):
    """One page of parents, or of offspring."""
