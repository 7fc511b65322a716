"""Shapes of the counted stock, of its statement over a period, of the movements behind that, and of the records as Darwin Core has them."""

# ruff: noqa: N815 - the names of Darwin Core's terms

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal
from uuid import UUID

from pydantic import Field, WithJsonSchema

from api.bodies.forecasts import Shown
from domain.records.stock import Happening
from domain.rules.lives import EventKind, LifeStage, Sex, Status
from domain.rules.stock import IN, OUT
from domain.rules.taxonomy import TaxonRank

Column = Annotated[str, WithJsonSchema({"type": "string", "enum": [*IN, *OUT]})]


class StockLine(Shown):
    """What is counted together."""

    site_id: UUID | None = Field(
        description="Null where the animals were in no enclosure, and throughout a statement of the whole organisation, which tells no "
        "sites apart: a move between its own sites is none there."
    )
    site: str | None = Field(description="The site's name.")
    taxon_id: UUID
    scientific_name: str
    common_name: str | None
    sex: Sex
    life_stage: LifeStage


class CensusLine(StockLine):
    """Animals that were in the collection's keeping at the end of the day."""

    status: Status = Field(description="Present, away or missing.")
    number: int
    records: int = Field(description="In how many records they are: single animals and groups.")
    estimated: int = Field(description="How many of them are in groups whose number was estimated when it was last looked at.")
    trace: str = Field(
        description="The path of the list of these records as of the day, as far as the caller reaches them today. Where site_id is null "
        "the list has those at sites as well, which bear an enclosure_id."
    )


class CensusTotals(Shown):
    """Sums of a census."""

    animals: int = Field(description="Without eggs.")
    eggs: int
    estimated: int = Field(description="How many animals and eggs are in groups whose number is an estimate.")
    records: int


class Census(Shown):
    """The stock at the end of a day, sorted by scientific name, site, sex and stage of life."""

    as_of: date
    site_id: UUID | None
    taxon_id: UUID | None
    lines: list[CensusLine]
    totals: CensusTotals


class StockAccount(Shown):
    """What was there before the first day, what came and went, and what was there at the end of the last day."""

    opening: int
    births: int = Field(description="Born, hatched or laid.")
    arrivals: int = Field(description="Acquired or returned.")
    moved_in: int = Field(description="From another site, or from no place into an enclosure.")
    changed_in: int = Field(description="Known since to be of this sex or stage, or gone over from another record.")
    counted_more: int
    deaths: int
    departures: int
    moved_out: int
    changed_out: int
    counted_fewer: int
    hatched_out: int = Field(description="Eggs that went on as what has hatched of them.")
    closing: int
    reckoned: int = Field(description="What there should be at the end: opening, and what came, without what went.")
    balances: bool = Field(description="Whether closing, which is counted for itself, is what is reckoned.")


class StatementLine(StockAccount, StockLine):
    """The account of one line."""

    trace: str = Field(description="The path of the movements of this taxon, and of those that lie in it, at the site in the period.")


class AnimalsAndEggs(Shown):
    """Accounts of animals and of eggs, each the sum of its lines."""

    animals: StockAccount
    eggs: StockAccount


class TaxonAccounts(AnimalsAndEggs):
    """The sums of one taxon."""

    taxon_id: UUID
    scientific_name: str
    common_name: str | None


class StockStatement(Shown):
    """The stock statement of a period, both days included, sorted as a census is."""

    from_on: date
    until_on: date
    site_id: UUID | None
    taxon_id: UUID | None
    balances: bool = Field(description="Whether every line balances.")
    lines: list[StatementLine]
    taxa: list[TaxonAccounts]
    total: AnimalsAndEggs


class MovementEntry(StockLine):
    """Where a movement stands in the statement: its number is entered in this column of this line."""

    column: Column


class Movement(Shown):
    """How many animals of a record came to a line, left one, or went from one to another, and by what."""

    on: date
    kind: Happening = Field(description="An event; that they came into a place or left one for none; that sex or stage turned.")
    event_kind: EventKind | None = Field(description="Of an event: which.")
    id: UUID = Field(description="Of the event, of the placement that began or ended, or of the state since.")
    animal_id: UUID
    tag: str
    number: int
    entries: list[MovementEntry] = Field(
        description="One line, or the one before and the one since; lines that are not asked about are left out."
    )
    trace: str = Field(
        description="The path of what is on record of it; refused where the animal is at a site now that the caller does not reach."
    )


class MovementPage(Shown):
    """One page of movements, in the order of days."""

    items: list[Movement]
    next: str | None


class Specimen(Shown):
    """A record of living animals on a day, its facts under the terms of Darwin Core (https://dwc.tdwg.org/terms)."""

    occurrenceID: str = Field(description="Made of the record's id and the day, the same whenever it is asked for.")
    basisOfRecord: Literal["LivingSpecimen"]
    occurrenceStatus: Literal["present"]
    eventDate: date = Field(description="The day of the census.")
    institutionCode: str = Field(description="The organisation's name.")
    catalogNumber: str = Field(description="The tag.")
    organismID: str = Field(description="The record's id as a URN.")
    organismName: str | None
    scientificName: str = Field(description="Without the authors.")
    scientificNameAuthorship: str | None
    taxonRank: TaxonRank
    vernacularName: str | None
    individualCount: int
    sex: Sex
    lifeStage: LifeStage
    degreeOfEstablishment: Literal["captive"] | None = Field(description="Null while they are missing.")
    locationID: str | None = Field(description="The id of the site as a URN, null while they are at none.")
    locality: str | None = Field(description="The name of the site where they are kept.")


class SpecimenPage(Shown):
    """One page of records in the stock of a day."""

    as_of: date
    items: list[Specimen]
    next: str | None
