"""What inspections found, and what is to be done about it, by the days that were set."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from uuid import UUID

from domain.actions.duties.wording import occurrence
from domain.actions.inspections import visits_to
from domain.records.inspections import CorrectiveAction, InspectionFinding
from domain.records.unit import Unit
from domain.rules.reminders import Duty, ReminderKind

TOLD_DAYS = 30
"""How long before its day a finding, or what is to be done about it, is told of."""


def findings(unit: Unit, *, site_id: UUID) -> Iterator[Duty]:
    """Yield the findings at a site that are not closed, and what is still to be done about them, where a day was set."""
    for visit in visits_to(unit, site_id):
        when = f"the visit of {visit.inspection.visited_on.isoformat()}"
        for finding in visit.open_findings:
            if finding.due_on is not None:
                sentence = f"Put right and close a finding ({finding.weight.value}) of {when}."
                yield _duty(InspectionFinding.noun, finding.id, finding.due_on, sentence, site_id=site_id)
        for action in visit.open_actions:
            if action.due_on is not None:
                sentence = f"Do what was decided about a finding of {when}, and keep the proof."
                yield _duty(CorrectiveAction.noun, action.id, action.due_on, sentence, site_id=site_id)


def _duty(subject: str, subject_id: UUID, due_on: date, sentence: str, *, site_id: UUID) -> Duty:
    return Duty(
        subject=subject,
        subject_id=subject_id,
        kind=ReminderKind.INSPECTION,
        occurrence=occurrence(site_id=site_id),
        due_on=due_on,
        tell_from=due_on - timedelta(days=TOLD_DAYS),
        sentence=sentence,
        site_id=site_id,
    )
