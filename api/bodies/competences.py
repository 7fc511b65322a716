"""Competences of staff."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.records.competences import CompetenceStated


class NewCompetence(New, CompetenceStated):
    """A competence to be put on record."""


class Competence(Kept, CompetenceStated):
    """A competence on file."""

    staff_id: UUID


class CompetencePage(Page[Competence]):
    """One page of a member of staff's competences."""
