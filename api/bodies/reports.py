"""Shapes of papers."""

from __future__ import annotations

from datetime import date
from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from api.bodies.records import New, Page
from domain.records.columns import Day, Id
from domain.records.nights import ReportKind, WorkState


class NewReport(New):
    """A paper that is asked for: of which site, as of which day (today at the site), and how far ahead (14 days)."""

    kind: ReportKind = ReportKind.REPLACEMENT_DUE
    site_id: Id
    local_date: Day | None = None
    later_days: Annotated[int, Field(ge=15, le=3660)] | None = None


class Report(BaseModel):
    """A paper: what it is of, how far its making has come, and the hash of its record."""

    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)

    id: UUID
    version: int
    created_at: AwareDatetime
    ended_on: date | None
    end_reason: str | None
    kind: ReportKind
    site_id: UUID
    local_date: date
    later_days: int | None
    state: WorkState
    nightly_run_id: UUID | None
    record_hash: str | None
    error: str | None


ReportPage = Page[Report]
