"""Putting on record what members of staff were assessed to be able to do, correcting it and ending it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.recording import Ending, corrected, current, ended, recorded, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import Conflict, NotFound
from domain.records.competences import Competence, CompetenceStated
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.unit import Unit


def record_competence(unit: Unit, staff_id: UUID, stated: CompetenceStated, *, record_id: UUID | None = None) -> Competence:
    """Put a competence of a member of staff on record and return it.

    Raises:
        RuleBroken: The day from which it counts has not come: an assessment that is only planned is none.
        Conflict: The member of staff has left.
    """
    member = unit.fetch_reached(Staff, staff_id)
    if member.ended_on is not None:
        raise Conflict(f"This member of staff left on {member.ended_on.isoformat()}.", code="ended")
    refuse_later_than(_today_of(unit, member), field="from_on", on=stated.from_on)
    return recorded(unit, Competence, stated, record_id=record_id, staff_id=member.id)


def change_competence(unit: Unit, competence_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Competence:
    """Apply a correction to a competence and return it. One that was renewed or withdrawn has its ``expires_on`` corrected.

    Raises:
        NotFound: The member of staff has no such competence.
        RuleBroken: The day from which it counts has not come.
    """
    member = _of_staff(unit, competence_id, owner_id=owner_id)
    found = current(unit, Competence, competence_id, expected_version=expected_version)
    stated = merged(CompetenceStated, found, patch)
    refuse_later_than(_today_of(unit, member), field="from_on", on=stated.from_on)
    return corrected(unit, found, stated)


def end_competence(unit: Unit, competence_id: UUID, ending: Ending, *, owner_id: UUID) -> Competence:
    """Take a competence that was entered wrongly out of account and return it.

    Raises:
        NotFound: The member of staff has no such competence.
    """
    member = _of_staff(unit, competence_id, owner_id=owner_id)
    return ended(unit, unit.fetch(Competence, competence_id), ending, today=_today_of(unit, member))


def _of_staff(unit: Unit, competence_id: UUID, *, owner_id: UUID) -> Staff:
    member = unit.fetch_reached(Staff, owner_id)
    if unit.fetch(Competence, competence_id).staff_id != member.id:
        raise NotFound("There is no such competence.")
    return member


def _today_of(unit: Unit, member: Staff) -> date:
    """Return the date at a member of staff's site; in UTC for the whole organisation's."""
    return unit.origin.at.date() if member.site_id is None else today_at(unit, unit.fetch(Site, member.site_id))
