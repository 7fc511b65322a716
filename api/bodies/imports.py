"""Shapes of imports."""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from api.bodies.records import Page
from domain.records.nights import ImportKind, WorkState
from domain.rules.permissions import Role


class _Shown(BaseModel):
    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class ImportRemark(_Shown):
    """A refusal, or a notice: ``row`` as the sheet counts rows, ``index`` from 0 below the headings, ``column`` the heading in the file."""

    row: int
    index: int
    column: str
    value: str
    code: Annotated[str, Field(description="Stable: date-impossible, hours-above-24, model-unknown, tag-repeated and so on.")]
    reason: str


class ImportOutcome(_Shown):
    """What came of an import. Remarks are the first 1000; the counts are of all rows. Where ``written`` is false, nothing was changed."""

    kind: ImportKind
    file_name: str
    sha256: str
    rows_read: int
    created: int
    changed: int
    unchanged: int
    refused: int
    skipped_totals: int
    enclosures_created: int
    ignored_columns: list[str]
    refusals: list[ImportRemark]
    notices: list[ImportRemark]
    written: bool
    dry_run: bool


class ImportChoices(BaseModel):
    """How an import was asked for, by whom, by which credential and for whom, and which roles whoever asked may give to people.

    Older imports do not say the last three.
    """

    model_config = ConfigDict(extra="forbid")

    dry_run: bool
    skip_invalid: bool
    create_enclosures: bool
    mapping: str | None
    asked_by: str
    credential: str | None = None
    on_behalf_of: UUID | None = None
    roles: list[Role] = []


class Import(_Shown):
    """An import: what it is of, how it was asked for, how far it has come, and its report."""

    id: UUID
    version: int
    created_at: AwareDatetime
    ended_on: None
    end_reason: None
    kind: ImportKind
    file_name: str
    file_sha256: str
    options: ImportChoices
    state: WorkState
    outcome: ImportOutcome | None
    error: str | None


ImportPage = Page[Import]
