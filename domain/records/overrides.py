"""Overrides: that somebody answers, by name and until a day, for not heeding what a requirement says."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, JsonColumn, Note, Passage, UuidColumn
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.requirements import Activity

LONGEST_DAYS = 366
"""How many days an override may have, its first and its last included."""
OverriddenActivities = Annotated[list[Activity], PydanticField(min_length=1, max_length=len(Activity))]


class OverrideStated(Stated):
    """An override: of which requirement, for one animal or for all at a site, who answers for it, why, and on what evidence.

    It is for the ``activities`` that it names, by default for keeping alone, and for the edition of the requirement that is in force on its
    first day. ``staff_id`` is the person who answers for it. ``from_on`` and ``expires_on`` are its first and its last day; it has at most
    366. What the requirement says stays to be seen; the override is shown with it.
    """

    requirement_code: LawCode
    activities: OverriddenActivities = Field(default_factory=lambda: [Activity.HOLD], sa_type=JsonColumn)
    animal_id: Id | None = Field(default=None, sa_type=UuidColumn)
    site_id: Id | None = Field(default=None, sa_type=UuidColumn)
    staff_id: Id = Field(sa_type=UuidColumn)
    reason: Passage
    evidence: Passage
    document_id: Id | None = Field(default=None, sa_type=UuidColumn)
    from_on: Day
    expires_on: Day
    note: Note = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> OverrideStated:
        if self.animal_id is None and self.site_id is None:
            raise misstated("animal_id", "say for which animal it is, or for which site", code="required")
        if self.animal_id is not None and self.site_id is not None:
            raise misstated("site_id", "an override is for one animal or for a site, not for both")
        if self.expires_on < self.from_on:
            raise misstated("expires_on", "this should not be before from_on")
        if (self.expires_on - self.from_on).days >= LONGEST_DAYS:
            raise misstated("expires_on", f"an override may have {LONGEST_DAYS} days; say again then who answers for it", code="too-long")
        if len(set(self.activities)) < len(self.activities):
            raise misstated("activities", "each activity may be said once", code="repeated")
        return self


class Override(Record, OverrideStated, table=True):
    """A stored override. ``edition`` is that of the requirement which was in force on its first day: no later one is overridden."""

    __tablename__ = "override"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("site", "site_id"),
        refers_to("staff", "staff_id"),
        refers_to("document", "document_id"),
        sa.Index("ix_override_animal", "organisation_id", "animal_id"),
        sa.Index("ix_override_site", "organisation_id", "site_id"),
    )
    noun: ClassVar[str] = "override"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    activities: Any = Field(sa_type=JsonColumn)
    edition: str
