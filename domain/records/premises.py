"""Premises: what the law asks to know of a site and of whoever keeps animals there, as dated intervals."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar

from pydantic import Field as PydanticField
from pydantic import StringConstraints, model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, JsonColumn, Note, UuidColumn
from domain.records.intervals import Dated, by_day
from domain.records.stated import misstated
from domain.rules.law.decision import DISCLAIMER

PremisesWord = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_-]{0,39}$", max_length=40)]
"""A word by which a rule pack tells holders, or premises, apart."""
PremisesKinds = Annotated[list[PremisesWord], PydanticField(max_length=20)]


class PremisesStated(Stated):
    """What is known of a site's premises from a day on: who keeps animals there, and what the premises are registered as.

    ``holder_kind`` and ``kinds`` are words of the rule packs. ``kinds`` that are left out are not known; an empty list says that there are
    none. ``public_days`` is on how many days of twelve months the public is let in.
    """

    from_on: Day
    until_on: Day | None = None
    holder_kind: PremisesWord | None = None
    kinds: PremisesKinds | None = Field(default=None, sa_type=JsonColumn)
    public_days: Annotated[int, Field(ge=0, le=366)] | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> PremisesStated:
        if self.until_on is not None and self.until_on < self.from_on:
            raise misstated("until_on", "this should not be before from_on")
        if self.kinds is not None and len(set(self.kinds)) < len(self.kinds):
            raise misstated("kinds", "each kind may be said once", code="repeated")
        return self


class Premises(Record, PremisesStated, Dated, table=True):
    """Stored facts of a site's premises; on any day a site has one such record at most."""

    __tablename__ = "premises"
    __table_args__ = (owned_by_organisation(), refers_to("site", "site_id"), by_day("premises", "site_id"))
    noun: ClassVar[str] = "premises"
    disclaimer: ClassVar[str | None] = DISCLAIMER
    apart: ClassVar[tuple[str, ...]] = ("site_id",)

    kinds: Any = Field(default=None, sa_type=JsonColumn, nullable=True)
    site_id: Id = Field(sa_type=UuidColumn)
    from_on: date
    until_on: date | None = None
