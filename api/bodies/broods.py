"""Broods that are expected."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.records.broods import ExpectedBroodStated


class NewExpectedBrood(New, ExpectedBroodStated):
    """That young are expected, to be put on record."""


class ChangedExpectedBrood(ExpectedBroodStated):
    """What can be corrected of an expectation, and what came of it."""


class ExpectedBrood(Kept, ExpectedBroodStated):
    """An expectation on file."""

    animal_id: UUID


class ExpectedBroodPage(Page[ExpectedBrood]):
    """One page of the broods that are expected of an animal."""
