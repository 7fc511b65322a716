"""Inspections, what they found, and what is done about it."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, LegalPage, New
from domain.records.inspections import CorrectiveActionStated, FindingStated, InspectionStated


class NewInspection(New, InspectionStated):
    """A visit to be registered."""


class ChangedInspection(InspectionStated):
    """What can be corrected of a visit; its site stays."""


class Inspection(Kept, InspectionStated):
    """A visit on file."""


class InspectionPage(LegalPage[Inspection]):
    """One page of inspections."""


class NewInspectionFinding(New, FindingStated):
    """A finding to be put on record."""


class ChangedInspectionFinding(FindingStated):
    """What can be corrected of a finding, and that it was closed: nothing may be left to be done about it then."""


class InspectionFinding(Kept, FindingStated):
    """A finding on file."""

    inspection_id: UUID


class InspectionFindingPage(LegalPage[InspectionFinding]):
    """One page of an inspection's findings."""


class NewCorrectiveAction(New, CorrectiveActionStated):
    """What is to be done about a finding."""


class ChangedCorrectiveAction(CorrectiveActionStated):
    """What can be corrected of a corrective action, and that it was done, with the proof."""


class CorrectiveAction(Kept, CorrectiveActionStated):
    """A corrective action on file."""

    inspection_id: UUID


class CorrectiveActionPage(LegalPage[CorrectiveAction]):
    """One page of what is done about an inspection's findings."""
