"""Inspections with their findings and what is done about them."""

from __future__ import annotations

from functools import partial

from api.bodies import inspections as bodies
from api.nouns import Noun
from api.parts import Part
from domain.actions.inspections import (
    change_corrective_action,
    change_inspection,
    change_inspection_finding,
    end_corrective_action,
    end_inspection,
    end_inspection_finding,
    record_corrective_action,
    record_inspection_finding,
    register_inspection,
)
from domain.records import inspections as records

NOUN = Noun(
    path="/v1/inspections",
    singular="inspection",
    plural="inspections",
    parameter="inspection_id",
    record=records.Inspection,
    new=bodies.NewInspection,
    changed=bodies.ChangedInspection,
    kept=bodies.Inspection,
    page=bodies.InspectionPage,
    register=register_inspection,
    change=change_inspection,
    end=end_inspection,
    filters=("site_id", "kind"),
)
_part = partial(Part, owner=records.Inspection, owner_path="/v1/inspections", owner_parameter="inspection_id", within="inspection_id")
PARTS = (
    _part(
        path="findings",
        parameter="finding_id",
        singular="inspection_finding",
        plural="inspection_findings",
        record=records.InspectionFinding,
        new=bodies.NewInspectionFinding,
        changed=bodies.ChangedInspectionFinding,
        kept=bodies.InspectionFinding,
        page=bodies.InspectionFindingPage,
        make=record_inspection_finding,
        change=change_inspection_finding,
        end=end_inspection_finding,
    ),
    _part(
        path="corrective-actions",
        parameter="corrective_action_id",
        singular="corrective_action",
        plural="corrective_actions",
        record=records.CorrectiveAction,
        new=bodies.NewCorrectiveAction,
        changed=bodies.ChangedCorrectiveAction,
        kept=bodies.CorrectiveAction,
        page=bodies.CorrectiveActionPage,
        make=record_corrective_action,
        change=change_corrective_action,
        end=end_corrective_action,
        filters=("finding_id",),
    ),
)
DOORS = (*NOUN.doors(), *(door for part in PARTS for door in part.doors()))
