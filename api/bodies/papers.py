"""What is on record about a paper that left the house, as anybody is told who has its number."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict

from api.bodies.compliance import Advice
from domain.records.nights import ReportKind


class FileDigest(BaseModel):
    """One of the files that a paper was issued as."""

    model_config = ConfigDict(extra="forbid")

    form: str
    sha256: str


class RulesEdition(BaseModel):
    """An edition that rule packs behind a paper are of, and how many are."""

    model_config = ConfigDict(extra="forbid")

    edition: str
    packs: int


class PaperCheck(Advice):
    """A paper that left the house: what it is, of when, and what its files can be told by; nothing of what it says, and of whom or where.

    ``sha256`` is the digest of its PDF, ``sealed_with`` that of the certificate that the PDF is sealed with. ``superseded_by`` is the
    number of the latest paper about the same that was issued after it. ``rules`` are the editions of rule packs, each once, as they were on
    record when it was issued: with ``rules_of`` ``its_law`` of those that stated the law where it is of and the kinds of documents in it,
    with ``all_on_record`` of all. Their names, and digests by which whoever has a pack would know it, tell where. ``record_hash`` is the
    digest of what was printed as JSON, and so that of the JSON among ``files``. ``as_of`` is a day in UTC, of a register of an earlier day
    that day.
    """

    paper_id: str
    kind: ReportKind
    title: str
    issued_at: AwareDatetime
    as_of: date
    rules: list[RulesEdition]
    rules_of: Literal["its_law", "all_on_record"]
    record_hash: str
    sha256: str
    files: list[FileDigest]
    sealed_with: str | None
    superseded_by: str | None
