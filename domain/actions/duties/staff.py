"""Competences of staff that expire. Names and titles are left out: a reminder stays in the journal when a person's particulars go."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.duties.wording import at_site, occurrence
from domain.records.base import table_of
from domain.records.competences import Competence
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.reminders import Duty, ReminderKind
from domain.rules.text import same_name

TOLD_DAYS = 60
"""How long before it expires a competence is told of."""

_competence, _staff = table_of(Competence), table_of(Staff)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
COMPETENCES_AT = Statement(
    sa.select(_competence)
    .join(_staff, sa.and_(_staff.c.organisation_id == _competence.c.organisation_id, _staff.c.id == _competence.c.staff_id))
    .where(
        _competence.c.organisation_id == _organisation_id,
        _competence.c.ended_on.is_(None),
        _staff.c.ended_on.is_(None),
        at_site(_staff.c.site_id),
    )
    .order_by(_competence.c.id)
)


def competences(unit: Unit, *, site_id: UUID | None, today: date) -> Iterator[Duty]:
    """Yield the competences that expire of the staff of a site, or of no site; one that was taken again since is passed over."""
    found: defaultdict[tuple[object, ...], list[Competence]] = defaultdict(list)
    for one in unit.all(Competence, COMPETENCES_AT, site_id=site_id):
        found[one.staff_id, same_name(one.title), one.hazard].append(one)
    for alike in found.values():
        latest = max(alike, key=lambda one: (one.expires_on or date.max, one.id))
        if latest.expires_on is not None and latest.expires_on - timedelta(days=TOLD_DAYS) <= today:
            yield _duty(latest, latest.expires_on, site_id=site_id)


def _duty(one: Competence, expires_on: date, *, site_id: UUID | None) -> Duty:
    what = "A competence" if one.hazard is None else f"A competence for {one.hazard.value.replace('_', ' ')} animals"
    return Duty(
        subject=Competence.noun,
        subject_id=one.id,
        kind=ReminderKind.COMPETENCE,
        occurrence=occurrence(one.from_on, site_id=site_id),
        due_on=expires_on,
        tell_from=expires_on - timedelta(days=TOLD_DAYS),
        sentence=f"{what} of a member of staff counts for the last time on this day; have it assessed again.",
        site_id=site_id,
    )
