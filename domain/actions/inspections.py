"""Putting inspections on record, what they found, and what is done about it until it is closed with proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.actions.law import refuse_unknown_requirement
from domain.actions.recording import (
    Ending,
    corrected,
    current,
    ended,
    recorded,
    referred,
    referred_reached,
    refuse_later_than,
)
from domain.actions.sites import today_there
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records.animals import Animal
from domain.records.base import Record, table_of
from domain.records.documents import Document
from domain.records.enclosures import Enclosure
from domain.records.inspections import (
    CorrectiveAction,
    CorrectiveActionStated,
    FindingStated,
    Inspection,
    InspectionFinding,
    InspectionStated,
)
from domain.records.permits import Permit
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit

P = TypeVar("P", InspectionFinding, CorrectiveAction)

_ABOUT: Mapping[str, type[Record]] = {"enclosure_id": Enclosure, "animal_id": Animal, "permit_id": Permit}
"""What a finding may be about."""
_inspection, _finding, _action = (table_of(one) for one in (Inspection, InspectionFinding, CorrectiveAction))
_own: sa.BindParameter[Any] = sa.bindparam("organisation_id")
ACTIONS_OF = Statement(
    sa.select(_action)
    .where(_action.c.organisation_id == _own, _action.c.finding_id == sa.bindparam("finding_id"), _action.c.ended_on.is_(None))
    .order_by(_action.c.id)
)
INSPECTIONS_AT = Statement(
    sa.select(_inspection)
    .where(_inspection.c.organisation_id == _own, _inspection.c.site_id == sa.bindparam("site_id"), _inspection.c.ended_on.is_(None))
    .order_by(_inspection.c.visited_on, _inspection.c.id)
)


def _parts_at(table: sa.Table) -> Statement:
    return Statement(
        sa.select(table)
        .join(_inspection, sa.and_(_inspection.c.organisation_id == table.c.organisation_id, _inspection.c.id == table.c.inspection_id))
        .where(
            table.c.organisation_id == _own,
            _inspection.c.site_id == sa.bindparam("site_id"),
            _inspection.c.ended_on.is_(None),
            table.c.ended_on.is_(None),
        )
        .order_by(table.c.due_on, table.c.id)
    )


FINDINGS_AT, ACTIONS_AT = _parts_at(_finding), _parts_at(_action)


@dataclass(frozen=True, slots=True)
class Visit:
    """An inspection with what it found and what is done about that."""

    inspection: Inspection
    findings: Sequence[InspectionFinding]
    actions: Sequence[CorrectiveAction]

    @property
    def open_findings(self) -> Sequence[InspectionFinding]:
        """The findings that are not closed."""
        return [one for one in self.findings if one.closed_on is None]

    @property
    def open_actions(self) -> Sequence[CorrectiveAction]:
        """What is still to be done."""
        return [one for one in self.actions if one.done_on is None]


def register_inspection(unit: Unit, stated: InspectionStated, *, record_id: UUID | None = None) -> Inspection:
    """Register an inspection and return it.

    Raises:
        RuleBroken: There is no such site, or the day has not come there.
    """
    _check_visit(unit, stated, before=None)
    return recorded(unit, Inspection, stated, record_id=record_id)


def change_inspection(unit: Unit, inspection_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Inspection:
    """Apply a correction to an inspection and return it. Which site was visited stays as it is.

    Raises:
        RuleBroken: As for registering; or the site would be another.
    """
    found = current(unit, Inspection, inspection_id, expected_version=expected_version)
    said = merged(InspectionStated, found, patch)
    _check_visit(unit, said, before=found)
    findings = (one for one in unit.all(InspectionFinding, FINDINGS_AT, site_id=found.site_id) if one.inspection_id == found.id)
    if any(one.closed_on is not None and one.closed_on < said.visited_on for one in findings):
        raise RuleBroken("A finding of it was closed before this day; correct one of the two.", code="before-visit", field="visited_on")
    return corrected(unit, found, said)


def end_inspection(unit: Unit, inspection_id: UUID, ending: Ending) -> Inspection:
    """Take an inspection that was entered wrongly out of account, with what it found, and return it."""
    found = unit.fetch(Inspection, inspection_id)
    return ended(unit, found, ending, today=today_there(unit, found.site_id))


def record_inspection_finding(
    unit: Unit, inspection_id: UUID, stated: FindingStated, *, record_id: UUID | None = None
) -> InspectionFinding:
    """Put a finding on record and return it.

    Raises:
        RuleBroken: It refers to nothing, or was closed on a day that has not come.
        NotAllowed: What it is about is at a site that the origin does not reach.
        Conflict: The inspection was taken out of account.
    """
    inspection = _kept(unit, inspection_id)
    _check_finding(unit, inspection, stated, before=None)
    return recorded(unit, InspectionFinding, stated, record_id=record_id, inspection_id=inspection.id)


def change_inspection_finding(
    unit: Unit, finding_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> InspectionFinding:
    """Apply a correction to a finding, or that it was closed, and return it.

    Raises:
        NotFound: The inspection has no such finding.
        RuleBroken, NotAllowed: As for recording.
        Conflict: It would be closed while something is still to be done about it.
    """
    inspection = _owner(unit, InspectionFinding, finding_id, owner_id=owner_id)
    found = current(unit, InspectionFinding, finding_id, expected_version=expected_version)
    said = merged(FindingStated, found, patch)
    _check_finding(unit, inspection, said, before=found)
    return corrected(unit, found, said)


def end_inspection_finding(unit: Unit, finding_id: UUID, ending: Ending, *, owner_id: UUID) -> InspectionFinding:
    """Take a finding that was entered wrongly out of account, with what was to be done about it, and return it.

    Raises:
        NotFound: The inspection has no such finding.
    """
    inspection = _owner(unit, InspectionFinding, finding_id, owner_id=owner_id)
    return ended(unit, unit.fetch(InspectionFinding, finding_id), ending, today=today_there(unit, inspection.site_id))


def record_corrective_action(
    unit: Unit, inspection_id: UUID, stated: CorrectiveActionStated, *, record_id: UUID | None = None
) -> CorrectiveAction:
    """Put on record what is done about a finding of an inspection, and return it.

    Raises:
        RuleBroken: The inspection has no such finding; it refers to nothing; or it was done on a day that has not come.
        NotAllowed: Its document is at a site that the origin does not reach.
        Conflict: The finding is closed, or the inspection was taken out of account.
    """
    inspection = _kept(unit, inspection_id)
    _check_action(unit, inspection, stated, before=None)
    return recorded(unit, CorrectiveAction, stated, record_id=record_id, inspection_id=inspection.id)


def change_corrective_action(
    unit: Unit, action_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> CorrectiveAction:
    """Apply a correction to a corrective action, or that it was done, and return it.

    Raises:
        NotFound: The inspection has no such action.
        RuleBroken, NotAllowed, Conflict: As for recording.
    """
    inspection = _owner(unit, CorrectiveAction, action_id, owner_id=owner_id)
    found = current(unit, CorrectiveAction, action_id, expected_version=expected_version)
    said = merged(CorrectiveActionStated, found, patch)
    _check_action(unit, inspection, said, before=found)
    return corrected(unit, found, said)


def end_corrective_action(unit: Unit, action_id: UUID, ending: Ending, *, owner_id: UUID) -> CorrectiveAction:
    """Take a corrective action that was entered wrongly out of account and return it.

    Raises:
        NotFound: The inspection has no such action.
    """
    inspection = _owner(unit, CorrectiveAction, action_id, owner_id=owner_id)
    return ended(unit, unit.fetch(CorrectiveAction, action_id), ending, today=today_there(unit, inspection.site_id))


def visits_to(unit: Unit, site_id: UUID) -> Sequence[Visit]:
    """Return the inspections of a site, the earliest first, each with its findings and actions."""
    findings = unit.all(InspectionFinding, FINDINGS_AT, site_id=site_id)
    kept = {one.id for one in findings}
    actions = [one for one in unit.all(CorrectiveAction, ACTIONS_AT, site_id=site_id) if one.finding_id in kept]
    return [
        Visit(
            inspection=one,
            findings=[finding for finding in findings if finding.inspection_id == one.id],
            actions=[action for action in actions if action.inspection_id == one.id],
        )
        for one in unit.all(Inspection, INSPECTIONS_AT, site_id=site_id)
    ]


def _check_visit(unit: Unit, said: InspectionStated, *, before: Inspection | None) -> None:
    if before is not None and said.site_id != before.site_id:
        sentence = "Which site was visited stays as it is. End this record, and register the visit to the other site."
        raise RuleBroken(sentence, code="stays-at-site", field="site_id")
    referred(unit, Site, said.site_id, field="site_id", kept=before.site_id if before else None)
    _refuse_to_come(unit, said.site_id, field="visited_on", on=said.visited_on, before=before.visited_on if before else None)


def _check_finding(unit: Unit, inspection: Inspection, said: FindingStated, *, before: InspectionFinding | None) -> None:
    refuse_unknown_requirement(unit, said.requirement_code, kept=before.requirement_code if before else None)
    for field, record in _ABOUT.items():
        about = getattr(said, field)
        if about is not None:
            referred_reached(unit, record, about, field=field, kept=getattr(before, field, None))
    _refuse_to_come(unit, inspection.site_id, field="closed_on", on=said.closed_on, before=before.closed_on if before else None)
    _refuse_before_visit(inspection, field="closed_on", on=said.closed_on)
    if before is not None and said.closed_on is not None and before.closed_on is None:
        left = [one for one in unit.all(CorrectiveAction, ACTIONS_OF, finding_id=before.id) if one.done_on is None]
        if left:
            sentence = f"Of what is to be done about it, {len(left)} is not done yet: {left[0].text[:80]}"
            raise Conflict(sentence, code="actions-open", field="closed_on")


def _check_action(unit: Unit, inspection: Inspection, said: CorrectiveActionStated, *, before: CorrectiveAction | None) -> None:
    finding = referred(unit, InspectionFinding, said.finding_id, field="finding_id", kept=before.finding_id if before else None)
    if finding.inspection_id != inspection.id:
        raise RuleBroken("This inspection has no such finding.", code="reference-unknown", field="finding_id")
    if finding.closed_on is not None and (before is None or said.done_on is None):
        raise Conflict(f"This finding was closed on {finding.closed_on.isoformat()}.", code="finding-closed", field="finding_id")
    if said.staff_id is not None:
        referred(unit, Staff, said.staff_id, field="staff_id", kept=before.staff_id if before else None)
    if said.document_id is not None:
        referred_reached(unit, Document, said.document_id, field="document_id", kept=before.document_id if before else None)
    _refuse_to_come(unit, inspection.site_id, field="done_on", on=said.done_on, before=before.done_on if before else None)
    _refuse_before_visit(inspection, field="done_on", on=said.done_on)


def _refuse_before_visit(inspection: Inspection, *, field: str, on: date | None) -> None:
    if on is not None and on < inspection.visited_on:
        sentence = f"The visit was on {inspection.visited_on.isoformat()}; nothing it found was put right before."
        raise RuleBroken(sentence, code="before-visit", field=field)


def _refuse_to_come(unit: Unit, site_id: UUID, *, field: str, on: date | None, before: date | None) -> None:
    """Refuse a day that has not come at a site; one that stays as it was is not judged again.

    Raises:
        RuleBroken: It has not come.
    """
    if on != before:
        refuse_later_than(today_there(unit, site_id), field=field, on=on)


def _kept(unit: Unit, inspection_id: UUID) -> Inspection:
    found = unit.fetch_reached(Inspection, inspection_id)
    if found.ended_on is not None:
        raise Conflict(f"This inspection was taken out of account on {found.ended_on.isoformat()}.", code="ended")
    return found


def _owner(unit: Unit, record: type[P], record_id: UUID, *, owner_id: UUID) -> Inspection:
    inspection = unit.fetch_reached(Inspection, owner_id)
    if unit.fetch(record, record_id).inspection_id != inspection.id:
        raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")
    return inspection
