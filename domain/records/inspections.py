"""Inspections: who came when, what was found, and what was done about it, with the proof."""

from __future__ import annotations

from enum import StrEnum
from typing import ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, Name, Note, Passage, UuidColumn, words_of
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.rules.law.decision import DISCLAIMER


class VisitKind(StrEnum):
    """How a visit came about."""

    ANNOUNCED = "announced"
    UNANNOUNCED = "unannounced"
    FOLLOW_UP = "follow_up"
    INTERNAL = "internal"


class Weight(StrEnum):
    """How heavily a finding weighs, from least to most."""

    REMARK = "remark"
    SHORTCOMING = "shortcoming"
    GRAVE = "grave"


class InspectionStated(Stated):
    """A visit to a site: when, how it came about, for which authority, by whom, and what is said of it in all.

    ``inspectors`` are best told by office and function; their own names stand in the authority's report.
    """

    site_id: Id = Field(sa_type=UuidColumn)
    visited_on: Day
    kind: VisitKind = Field(default=VisitKind.ANNOUNCED, sa_type=words_of(VisitKind))
    authority: Name
    inspectors: Note = ""
    reference: Name | None = None
    summary: Note = ""


class Inspection(Record, InspectionStated, table=True):
    """A stored inspection."""

    __tablename__ = "inspection"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        sa.Index("ix_inspection_site", "organisation_id", "site_id", "visited_on"),
    )
    noun: ClassVar[str] = "inspection"
    disclaimer: ClassVar[str | None] = DISCLAIMER


class FindingStated(Stated):
    """What an inspection found: how heavily it weighs, by which requirement, about what, and by when it has to be put right.

    It is closed on ``closed_on``, and ``closing`` says with what result.
    """

    text: Passage
    weight: Weight = Field(default=Weight.SHORTCOMING, sa_type=words_of(Weight))
    requirement_code: LawCode | None = None
    enclosure_id: Id | None = Field(default=None, sa_type=UuidColumn)
    animal_id: Id | None = Field(default=None, sa_type=UuidColumn)
    permit_id: Id | None = Field(default=None, sa_type=UuidColumn)
    due_on: Day | None = None
    closed_on: Day | None = None
    closing: Note = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> FindingStated:
        if self.closed_on is not None and not self.closing:
            raise misstated("closing", "say with what result it is closed", code="required")
        if self.closed_on is None and self.closing:
            raise misstated("closed_on", "say when it was closed as well", code="required")
        return self


class InspectionFinding(Record, FindingStated, table=True):
    """A stored finding."""

    __tablename__ = "inspection_finding"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("inspection", "inspection_id"),
        refers_to("enclosure", "enclosure_id"),
        refers_to("animal", "animal_id"),
        refers_to("permit", "permit_id"),
        sa.Index("ix_inspection_finding_inspection", "organisation_id", "inspection_id"),
    )
    noun: ClassVar[str] = "inspection_finding"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    inspection_id: Id = Field(sa_type=UuidColumn)


class CorrectiveActionStated(Stated):
    """What is done about a finding: by whom, by when, and when it was done. ``proof`` or a document shows that it was."""

    finding_id: Id = Field(sa_type=UuidColumn)
    text: Passage
    staff_id: Id | None = Field(default=None, sa_type=UuidColumn)
    due_on: Day | None = None
    done_on: Day | None = None
    proof: Note = ""
    document_id: Id | None = Field(default=None, sa_type=UuidColumn)

    @model_validator(mode="after")
    def _is_proved(self) -> CorrectiveActionStated:
        if self.done_on is not None and not self.proof and self.document_id is None:
            raise misstated("proof", "say how that can be shown, or name the document that shows it", code="required")
        return self


class CorrectiveAction(Record, CorrectiveActionStated, table=True):
    """A stored corrective action."""

    __tablename__ = "corrective_action"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("inspection", "inspection_id"),
        refers_to("inspection_finding", "finding_id"),
        refers_to("staff", "staff_id"),
        refers_to("document", "document_id"),
        sa.Index("ix_corrective_action_finding", "organisation_id", "finding_id"),
        sa.Index("ix_corrective_action_inspection", "organisation_id", "inspection_id"),
    )
    noun: ClassVar[str] = "corrective_action"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    inspection_id: Id = Field(sa_type=UuidColumn)
