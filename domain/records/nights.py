"""What a night leaves behind: the run, every item's forecast, and the papers; and the imports that were asked for."""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from typing import Any, ClassVar
from uuid import UUID

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from domain.records.base import Record, owned_by_organisation, refers_to
from domain.records.columns import InstantColumn, JsonColumn, UuidColumn, words_of
from domain.rules.service_life import RuleKind, Standing


class WorkState(StrEnum):
    """How far a piece of work that was asked for has come."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class NightlyRun(Record, table=True):
    """One night at one site. ``revision`` counts the runs of a local date whose results differed; ``digest`` is of the results."""

    __tablename__ = "nightly_run"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        sa.UniqueConstraint("organisation_id", "site_id", "local_date", "revision", name="uq_nightly_run_revision"),
    )
    noun: ClassVar[str] = "nightly_run"

    site_id: UUID = Field(sa_type=UuidColumn)
    local_date: date
    revision: int
    state: WorkState = Field(sa_type=words_of(WorkState))
    at: datetime = Field(sa_type=InstantColumn)
    digest: str | None = Field(default=None, max_length=64)
    counts: Any = Field(default_factory=dict, sa_type=JsonColumn)
    error: str | None = None


class StoredForecast(SQLModel, table=True):
    """An item's forecast as the latest night at its site left it. Derived: rebuilt from the records at any time, so not journalled."""

    __tablename__ = "forecast"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("equipment", "equipment_id"),
        sa.Index("ix_forecast_site", "organisation_id", "site_id", "due_on"),
    )

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    equipment_id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    site_id: UUID = Field(sa_type=UuidColumn)
    standing: Standing = Field(sa_type=words_of(Standing))
    binding: RuleKind | None = Field(default=None, sa_type=words_of(RuleKind))
    due_on: date | None = None
    no_later_than: date | None = None
    do_on: date | None = None
    order_by: date | None = None
    conflict: str | None = None


class ReportKind(StrEnum):
    """What a paper is."""

    REPLACEMENT_DUE = "replacement-due"
    ANIMAL_RECORD = "animal-record"
    ENCLOSURE_LABELS = "enclosure-labels"
    STOCK_STATEMENT = "stock-statement"
    PERMIT_REGISTER = "permit-register"
    PERIODIC_RETURN = "periodic-return"
    INSPECTION_FILE = "inspection-file"
    INCIDENT_SHEET = "incident-sheet"
    TRANSFER_FILE = "transfer-file"


LEAVE_THE_HOUSE = frozenset({ReportKind.TRANSFER_FILE, ReportKind.INSPECTION_FILE, ReportKind.PERMIT_REGISTER})
"""Kinds of papers that others rely on: they are sealed where there is a seal, and can be looked up by their number."""


class Report(Record, table=True):
    """A paper that was asked for, or that a night made; its files lie in ``report_file``.

    What it is of depends on its kind: how far ahead is looked, an animal, an incident, a transfer, a period, the code of the requirement
    that asks for it, or the first label of a sheet to be printed on. It is filed at a site; without one, it is of the whole organisation
    and filed there.

    A paper that leaves the house has a ``paper_id`` that nobody guesses, and says since when it is out (``issued_at``). ``rules`` are the
    rule packs that stated the law where it is of and the kinds of documents in it then; of a transfer file all that were on record.
    ``sealed_with`` is the digest of the certificate whose key sealed its PDF, ``unsealed_sha256`` that of the PDF before.
    """

    __tablename__ = "report"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        refers_to("animal", "animal_id"),
        refers_to("incident", "incident_id"),
        refers_to("transfer", "transfer_id"),
        sa.Index("ix_report_site", "organisation_id", "site_id", "id"),
        sa.Index("ix_report_paper_id", "organisation_id", "paper_id", unique=True),
        sa.Index("ix_report_issued", "organisation_id", "kind", "issued_at"),
    )
    noun: ClassVar[str] = "report"

    kind: ReportKind = Field(sa_type=words_of(ReportKind))
    site_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    local_date: date
    later_days: int | None = None
    animal_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    from_on: date | None = None
    until_on: date | None = None
    requirement_code: str | None = Field(default=None, max_length=64)
    incident_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    transfer_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    first_label: int | None = None
    state: WorkState = Field(sa_type=words_of(WorkState))
    nightly_run_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    paper_id: str | None = Field(default=None, max_length=40)
    issued_at: datetime | None = Field(default=None, sa_type=InstantColumn)
    rules: Any = Field(default=None, sa_type=JsonColumn, nullable=True)
    record_hash: str | None = Field(default=None, max_length=64)
    sealed_with: str | None = Field(default=None, max_length=64)
    unsealed_sha256: str | None = Field(default=None, max_length=64)
    error: str | None = None


class ReportFile(SQLModel, table=True):
    """One form of a paper: pdf, csv, json or the order list."""

    __tablename__ = "report_file"
    __table_args__ = (owned_by_organisation(), refers_to("report", "report_id"))

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    report_id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    form: str = Field(primary_key=True, max_length=16)
    sha256: str = Field(max_length=64)
    content: bytes


class ImportKind(StrEnum):
    """What the rows of an imported file are."""

    SITES = "sites"
    ENCLOSURES = "enclosures"
    EQUIPMENT_MODELS = "equipment-models"
    EQUIPMENT = "equipment"
    TAXA = "taxa"
    ANIMALS = "animals"
    PLACEMENTS = "placements"
    MARKS = "marks"
    MEASUREMENTS = "measurements"
    PERMITS = "permits"
    STAFF = "staff"
    COMPETENCES = "competences"


class ImportRun(Record, table=True):
    """An import that was asked for, its options, and the report that came of it; the file itself lies in ``import_file``."""

    __tablename__ = "import_run"
    __table_args__ = (owned_by_organisation(),)
    noun: ClassVar[str] = "import_run"

    kind: ImportKind = Field(sa_type=words_of(ImportKind))
    file_name: str = Field(max_length=200)
    file_sha256: str = Field(max_length=64)
    options: Any = Field(default_factory=dict, sa_type=JsonColumn)
    state: WorkState = Field(sa_type=words_of(WorkState))
    outcome: Any = Field(default=None, sa_type=JsonColumn, nullable=True)
    error: str | None = None


class ImportFile(SQLModel, table=True):
    """The file of an import, kept until the import has ended."""

    __tablename__ = "import_file"
    __table_args__ = (owned_by_organisation(), refers_to("import_run", "import_run_id"))

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    import_run_id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    content: bytes
