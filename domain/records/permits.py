"""Permits: what an authority granted, to what it is limited, on which conditions, and what happened that may end it."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import model_validator
from sqlmodel import Field

from domain.records.animals import Number
from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Day, Id, JsonColumn, Months, Name, Note, Passage, UuidColumn, words_of
from domain.records.jurisdictions import JurisdictionCode
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.rules.law.decision import DISCLAIMER
from domain.rules.law.requirements import Activity, Occasion

Activities = Annotated[list[Activity], PydanticField(max_length=len(Activity))]


class PermitStated(Stated):
    """A permit as its authority granted it: of which kind, under which number, to whom, for which premises and until when.

    ``kind`` is the code of a kind of document in a rule pack. Without a site it is good at any. It is good from ``valid_from``, by default
    the day of its issue, and ``valid_until`` is the last day that it says itself. ``inspected_on`` is the day of the inspection that it
    rests on, ``used_on`` the day on which a permit for one consignment was used, ``withdrawn_on`` the first day without it. It is for the
    activities that it names, for any where it names none. ``any_taxon`` says that it is for animals of any taxon, as a licence of premises
    is; without that it is for the taxa and animals that are listed with it, and for none while none is. ``total_number`` is how many
    animals it is for in all. ``holder_id`` is the member of staff who holds it, where it is a person of the organisation.
    """

    kind: LawCode
    jurisdiction: JurisdictionCode
    authority: Name
    number: Name
    holder: Name | None = None
    holder_id: Id | None = Field(default=None, sa_type=UuidColumn)
    site_id: Id | None = Field(default=None, sa_type=UuidColumn)
    issued_on: Day
    valid_from: Day | None = None
    valid_until: Day | None = None
    inspected_on: Day | None = None
    used_on: Day | None = None
    withdrawn_on: Day | None = None
    activities: Activities = Field(default_factory=list, sa_type=JsonColumn)
    any_taxon: bool = False
    total_number: Number | None = None
    replaces_id: Id | None = Field(default=None, sa_type=UuidColumn)
    note: Note = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> PermitStated:
        if self.valid_from is None:
            self.valid_from = self.issued_on
        if self.valid_until is not None and self.valid_until < self.valid_from:
            raise misstated("valid_until", "this should not be before valid_from")
        for name in ("used_on", "withdrawn_on"):
            on: date | None = getattr(self, name)
            if on is not None and on < self.issued_on:
                raise misstated(name, "this should not be before issued_on")
        if len(set(self.activities)) < len(self.activities):
            raise misstated("activities", "each activity may be said once", code="repeated")
        if self.holder_id is not None and self.holder is None:
            raise misstated("holder", "say the name that the permit bears as well", code="required")
        return self


class Permit(Record, PermitStated, table=True):
    """A stored permit. Of one kind an authority gives a number once."""

    __tablename__ = "permit"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        refers_to("staff", "holder_id"),
        refers_to("permit", "replaces_id"),
        unique_while_kept("permit", "kind", "authority_key", "number_key"),
        sa.Index("ix_permit_site", "organisation_id", "site_id"),
        sa.Index("ix_permit_replaces", "organisation_id", "replaces_id"),
    )
    noun: ClassVar[str] = "permit"
    disclaimer: ClassVar[str | None] = DISCLAIMER
    personal: ClassVar[frozenset[str]] = frozenset(("holder",))

    activities: Any = Field(sa_type=JsonColumn)
    valid_from: date
    authority_key: str
    number_key: str


class PermitTaxonStated(Stated):
    """That a permit is for animals of a taxon, under whichever of its names the permit bears, and how many of them it is for at most."""

    taxon_id: Id = Field(sa_type=UuidColumn)
    number: Number | None = None
    note: Note = ""


class PermitTaxon(Record, PermitTaxonStated, table=True):
    """A stored taxon of a permit."""

    __tablename__ = "permit_taxon"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("permit", "permit_id"),
        refers_to("taxon", "taxon_id"),
        unique_while_kept("permit_taxon", "permit_id", "taxon_id"),
        sa.Index("ix_permit_taxon_taxon", "organisation_id", "taxon_id"),
    )
    noun: ClassVar[str] = "permit_taxon"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    permit_id: Id = Field(sa_type=UuidColumn)


class PermitAnimalStated(Stated):
    """That a permit is for one animal or group alone, among others that are listed."""

    animal_id: Id = Field(sa_type=UuidColumn)
    note: Note = ""


class PermitAnimal(Record, PermitAnimalStated, table=True):
    """A stored animal of a permit."""

    __tablename__ = "permit_animal"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("permit", "permit_id"),
        refers_to("animal", "animal_id"),
        unique_while_kept("permit_animal", "permit_id", "animal_id"),
        sa.Index("ix_permit_animal_animal", "organisation_id", "animal_id"),
    )
    noun: ClassVar[str] = "permit_animal"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    permit_id: Id = Field(sa_type=UuidColumn)


class PermitConditionStated(Stated):
    """What the authority asks for under a permit, by when, and when and by whom it was met; ``proof`` says how that can be shown.

    Without a day it holds all the time. One that recurs does so ``every_months`` from ``first_due_on``; ``due_on`` is the day by which it
    has to be met this time.
    """

    text: Passage
    due_on: Day | None = None
    every_months: Months | None = None
    first_due_on: Day | None = None
    met_on: Day | None = None
    met_by_id: Id | None = Field(default=None, sa_type=UuidColumn)
    proof: Note = ""

    @model_validator(mode="after")
    def _days_hang_together(self) -> PermitConditionStated:
        if self.every_months is None and self.first_due_on is not None:
            raise misstated("every_months", "say how often it recurs from first_due_on", code="required")
        if self.every_months is not None and self.first_due_on is None:
            raise misstated("first_due_on", "say by when it has to be met the first time", code="required")
        if self.due_on is None:
            self.due_on = self.first_due_on
        if self.due_on is not None and self.first_due_on is not None and self.due_on < self.first_due_on:
            raise misstated("due_on", "this should not be before first_due_on")
        if self.met_by_id is not None and self.met_on is None:
            raise misstated("met_on", "say when it was met as well", code="required")
        return self


class PermitCondition(Record, PermitConditionStated, table=True):
    """A stored condition, each time that it recurs a record of its own; ``follows_id`` is the one before it, which was met."""

    __tablename__ = "permit_condition"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("permit", "permit_id"),
        refers_to("staff", "met_by_id"),
        refers_to("permit_condition", "follows_id"),
        unique_while_kept("permit_condition", "follows_id"),
        sa.Index("ix_permit_condition_permit", "organisation_id", "permit_id"),
    )
    noun: ClassVar[str] = "permit_condition"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    permit_id: Id = Field(sa_type=UuidColumn)
    follows_id: Id | None = Field(default=None, sa_type=UuidColumn)


class PermitEventStated(Stated):
    """Something that happened, on account of which a permit may not be good any more: its kind says whether it is not."""

    occasion: Occasion = Field(sa_type=words_of(Occasion))
    happened_on: Day
    note: Note = ""


class PermitEvent(Record, PermitEventStated, table=True):
    """A stored event of a permit."""

    __tablename__ = "permit_event"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("permit", "permit_id"),
        sa.Index("ix_permit_event_permit", "organisation_id", "permit_id"),
    )
    noun: ClassVar[str] = "permit_event"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    permit_id: Id = Field(sa_type=UuidColumn)
