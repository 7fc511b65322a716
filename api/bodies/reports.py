"""Shapes of papers."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from api.bodies.records import New, Page
from domain.records.columns import Day, Id
from domain.records.nights import ReportKind, WorkState
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.rules.stock import LONGEST_YEARS, is_too_long
from reports.labels.sheet import LABELS_PER_PAGE

OF_KIND: Mapping[ReportKind, tuple[frozenset[str], frozenset[str]]] = {
    ReportKind.REPLACEMENT_DUE: (frozenset(("site_id",)), frozenset(("local_date", "later_days"))),
    ReportKind.ANIMAL_RECORD: (frozenset(("animal_id",)), frozenset(("site_id",))),
    ReportKind.ENCLOSURE_LABELS: (frozenset(("site_id",)), frozenset(("local_date", "first_label"))),
    ReportKind.STOCK_STATEMENT: (frozenset(("site_id", "from_on", "until_on")), frozenset()),
    ReportKind.PERMIT_REGISTER: (frozenset(), frozenset(("site_id", "local_date"))),
    ReportKind.PERIODIC_RETURN: (frozenset(("site_id", "requirement_code")), frozenset(("from_on", "year"))),
    ReportKind.INSPECTION_FILE: (frozenset(("site_id", "from_on", "until_on")), frozenset()),
    ReportKind.INCIDENT_SHEET: (frozenset(("incident_id",)), frozenset()),
    ReportKind.TRANSFER_FILE: (frozenset(("transfer_id",)), frozenset()),
}
"""What each kind of paper has to be told, and what it may be told besides."""
_TOLD = frozenset().union(*(needed | besides for needed, besides in OF_KIND.values()))


class NewReport(New):
    """A paper that is asked for, by its kind.

    ``replacement-due``: of which site, as of which day (today at the site), and how far ahead (14 days). ``animal-record``: of which
    animal; it is filed at the site of its latest enclosure, and ``site_id`` is for one that was in none. ``enclosure-labels``: of which
    site, as of which day, and the first free label of a sheet that some were taken from. ``stock-statement`` and
    ``inspection-file``: of which site, from which day until which, both included. ``permit-register``: of which site, or without one of the
    whole organisation, as of which day. ``periodic-return``: of which site, to which requirement, and for which of its periods, told by the
    year or by the first day. ``incident-sheet``: of which incident; it is filed at its site. ``transfer-file``: of which transfer; it is
    filed at the site that has to act next.
    """

    kind: ReportKind = ReportKind.REPLACEMENT_DUE
    site_id: Id | None = None
    local_date: Day | None = None
    later_days: Annotated[int, Field(ge=15, le=3660)] | None = None
    animal_id: Id | None = None
    from_on: Day | None = None
    until_on: Day | None = None
    requirement_code: LawCode | None = None
    incident_id: Id | None = None
    transfer_id: Id | None = None
    year: Annotated[int, Field(ge=1900, le=2200)] | None = None
    first_label: Annotated[int, Field(ge=1, le=LABELS_PER_PAGE)] | None = None

    @model_validator(mode="after")
    def _tells_what_its_kind_is_of(self) -> NewReport:
        needed, besides = OF_KIND[self.kind]
        told = {name for name in _TOLD if getattr(self, name) is not None}
        for name in sorted(needed - told):
            raise misstated(name, f"say this for a paper of the kind {self.kind.value}", code="required")
        for name in sorted(told - needed - besides):
            raise misstated(name, f"a paper of the kind {self.kind.value} does not take this")
        if self.kind is ReportKind.PERIODIC_RETURN and (self.from_on is None) is (self.year is None):
            raise misstated("from_on", "say the period by its first day or, where it is a year, by its year", code="required")
        if self.from_on is not None and self.until_on is not None:
            if self.until_on < self.from_on:
                raise misstated("until_on", "this should not be before from_on")
            if is_too_long(self.from_on, self.until_on):
                raise misstated("until_on", f"a period may be {LONGEST_YEARS} years long")
        return self


class RulesOfPaper(BaseModel):
    """A rule pack behind a paper that was issued: its name, its version as it states it, and the SHA-256 of its text."""

    model_config = ConfigDict(extra="forbid")

    name: str
    edition: str
    digest: str


class Report(BaseModel):
    """A paper: what it is of, how far its making has come, and the hash of its record.

    Only papers that leave the house have a ``paper_id``, under which ``/v/{paper_id}`` tells whoever holds one what it is.
    ``sealed_with`` is the SHA-256 of the certificate that their PDF is sealed with, none where no key is configured.
    """

    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)

    id: UUID
    version: int
    created_at: AwareDatetime
    ended_on: date | None
    end_reason: str | None
    kind: ReportKind
    site_id: UUID | None
    local_date: date
    later_days: int | None
    animal_id: UUID | None
    from_on: date | None
    until_on: date | None
    requirement_code: str | None
    incident_id: UUID | None
    transfer_id: UUID | None
    first_label: int | None
    state: WorkState
    nightly_run_id: UUID | None
    paper_id: str | None
    issued_at: AwareDatetime | None
    rules: list[RulesOfPaper] | None
    record_hash: str | None
    sealed_with: str | None
    unsealed_sha256: str | None
    error: str | None


ReportPage = Page[Report]
