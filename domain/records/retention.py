"""How long records are kept: the rules of each kind, and the holds that win over them."""

from __future__ import annotations

from datetime import date
from typing import ClassVar
from uuid import UUID

from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation
from domain.records.columns import Months, Name, Note, UuidColumn


class RetentionRuleStated(Stated):
    """How long records of one kind are kept after they ended, from when on, and who says so. Of several rules the longest applies."""

    kind: Name
    keep_months: Months
    in_force_from: date | None = None
    source: Name
    note: Note = ""


class RetentionRule(Record, RetentionRuleStated, table=True):
    """A stored rule."""

    __tablename__ = "retention_rule"
    __table_args__ = (owned_by_organisation(),)
    noun: ClassVar[str] = "retention_rule"


class LegalHoldStated(Stated):
    """Why records are not let go of, whatever the rules say: one record, every record of a kind, or, without either, all."""

    kind: Name | None = None
    subject_id: UUID | None = Field(default=None, sa_type=UuidColumn)
    why: Name
    note: Note = ""


class LegalHold(Record, LegalHoldStated, table=True):
    """A stored hold; it holds until it is ended."""

    __tablename__ = "legal_hold"
    __table_args__ = (owned_by_organisation(),)
    noun: ClassVar[str] = "legal_hold"
