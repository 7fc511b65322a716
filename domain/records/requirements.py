"""The law as data: rule packs, the requirements that they state in dated versions, and the kinds of documents that these ask for.

The version of a pack or of a requirement, as its pack states it, is its ``edition``; ``version`` counts the changes of a record.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar

import sqlalchemy as sa
from pydantic import StringConstraints
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Day, Id, JsonColumn, Name, UuidColumn, words_of
from domain.records.jurisdictions import JurisdictionCode
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.requirements import Consequence

LawCode = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=64)]
"""How requirements, kinds of documents, exemptions and editions are named: letters, digits, dots, hyphens and underscores."""
PackName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9-]*$", max_length=64)]


class RulePackStated(Stated):
    """A document that states the law of some jurisdictions. ``digest`` is the SHA-256 of its text."""

    name: PackName
    edition: LawCode
    title: Name
    fictional: bool
    digest: str = Field(max_length=64)
    source: str = Field(sa_type=sa.Text)


class RulePack(Record, RulePackStated, table=True):
    """A stored rule pack, with its whole text."""

    __tablename__ = "rule_pack"
    __table_args__ = (owned_by_organisation(), unique_while_kept("rule_pack", "name", "edition"))
    noun: ClassVar[str] = "rule_pack"


class DocumentKindStated(Stated):
    """What documents of a kind have in common, as their jurisdiction has it; ``content`` says until when they are good."""

    code: LawCode
    jurisdiction: JurisdictionCode
    title: Name
    citation: Name
    content: Any = Field(sa_type=JsonColumn)


class DocumentKind(Record, DocumentKindStated, table=True):
    """A stored kind of document; ``pack_id`` is the pack that first stated it as it stands."""

    __tablename__ = "document_kind"
    __table_args__ = (owned_by_organisation(), refers_to("rule_pack", "pack_id"), unique_while_kept("document_kind", "code"))
    noun: ClassVar[str] = "document_kind"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    pack_id: Id = Field(sa_type=UuidColumn)


class RequirementStated(Stated):
    """A requirement of the law in one edition.

    It may be listed before it applies; it applies from a day, and until a day or until further notice, both included. ``content`` says
    whom and what it is about, what it exempts, and which duties it brings. ``reviewed_on`` is when somebody last compared it with the law.
    """

    code: LawCode
    edition: LawCode
    jurisdiction: JurisdictionCode
    instrument: Name
    title: Name
    citation: Name
    consequence: Consequence = Field(sa_type=words_of(Consequence))
    listed_on: Day | None = None
    applies_from: Day
    applies_until: Day | None = None
    reviewed_on: Day
    content: Any = Field(sa_type=JsonColumn)


class Requirement(Record, RequirementStated, table=True):
    """A stored requirement; of one code no two editions apply on one day. ``pack_id`` is the pack that first stated it as it stands."""

    __tablename__ = "requirement"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("rule_pack", "pack_id"),
        unique_while_kept("requirement", "code", "edition"),
        sa.Index("ix_requirement_days", "organisation_id", "jurisdiction", "applies_from", "applies_until"),
    )
    noun: ClassVar[str] = "requirement"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    listed_on: date | None = None
    applies_from: date
    applies_until: date | None = None
    reviewed_on: date
    pack_id: Id = Field(sa_type=UuidColumn)
