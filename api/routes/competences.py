"""What members of staff were assessed to be able to do."""

from __future__ import annotations

from api.bodies.competences import Competence, CompetencePage, NewCompetence
from api.parts import Part
from domain.actions.competences import change_competence, end_competence, record_competence
from domain.records import competences as records
from domain.records.staff import Staff

PART = Part(
    owner=Staff,
    owner_path="/v1/staff",
    owner_parameter="staff_id",
    within="staff_id",
    path="competences",
    parameter="competence_id",
    singular="competence",
    plural="competences",
    record=records.Competence,
    new=NewCompetence,
    kept=Competence,
    page=CompetencePage,
    make=record_competence,
    change=change_competence,
    end=end_competence,
    filters=("hazard",),
)
DOORS = PART.doors()
