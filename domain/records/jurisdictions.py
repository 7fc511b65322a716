"""Jurisdictions: places with law of their own, as rule packs state them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar

from pydantic import StringConstraints
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Id, JsonColumn, Name, UuidColumn, Zone, words_of
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.jurisdictions import CODE_LENGTH, CODE_PATTERN, Level

JurisdictionCode = Annotated[str, StringConstraints(pattern=CODE_PATTERN, max_length=CODE_LENGTH)]


class JurisdictionStated(Stated):
    """A place with law of its own: its code, what it lies in, its IANA zone, and when its offices rest.

    ``rest_days`` are the weekdays, and ``holidays`` the days, on which they do not work. What is ``fictional`` is no real place.
    """

    code: JurisdictionCode
    name: Name
    level: Level = Field(sa_type=words_of(Level))
    parent_code: JurisdictionCode | None = None
    fictional: bool
    zone: Zone
    rest_days: list[str] = Field(sa_type=JsonColumn)
    holidays: list[date] = Field(sa_type=JsonColumn)


class Jurisdiction(Record, JurisdictionStated, table=True):
    """A stored jurisdiction; ``pack_id`` is the pack that first stated it as it stands."""

    __tablename__ = "jurisdiction"
    __table_args__ = (owned_by_organisation(), refers_to("rule_pack", "pack_id"), unique_while_kept("jurisdiction", "code"))
    noun: ClassVar[str] = "jurisdiction"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    rest_days: Any = Field(sa_type=JsonColumn)
    holidays: Any = Field(sa_type=JsonColumn)
    pack_id: Id = Field(sa_type=UuidColumn)
