"""Taxa and animals."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, ClassVar

from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Id, Name, Note, UuidColumn, words_of
from domain.records.stated import misstated


class TaxonRank(StrEnum):
    """The rank of a taxon (Darwin Core ``taxonRank``), as far as collections need it."""

    ORDER = "order"
    FAMILY = "family"
    GENUS = "genus"
    SPECIES = "species"
    SUBSPECIES = "subspecies"
    HYBRID = "hybrid"


class TaxonStated(Stated):
    """A taxon: scientific name (Darwin Core ``scientificName``), rank, the taxon above it, and a common name."""

    scientific_name: Name
    rank: TaxonRank = Field(sa_type=words_of(TaxonRank))
    common_name: Name | None = None
    parent_id: Id | None = Field(default=None, sa_type=UuidColumn)
    note: Note = ""


class Taxon(Record, TaxonStated, table=True):
    """A stored taxon."""

    __tablename__ = "taxon"
    __table_args__ = (owned_by_organisation(), refers_to("taxon", "parent_id"), unique_while_kept("taxon", "name_key"))
    noun: ClassVar[str] = "taxon"

    name_key: str


class Grouping(StrEnum):
    """Whether a record is one animal or a counted group."""

    INDIVIDUAL = "individual"
    GROUP = "group"


class AnimalStated(Stated):
    """An animal, or a counted group of one taxon, and the enclosure it is in."""

    taxon_id: Id = Field(sa_type=UuidColumn)
    tag: Name
    enclosure_id: Id | None = Field(default=None, sa_type=UuidColumn)
    grouping: Grouping = Field(default=Grouping.INDIVIDUAL, sa_type=words_of(Grouping))
    count: Annotated[int, Field(ge=1, le=10_000_000)] = 1
    name: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _an_individual_is_one(self) -> AnimalStated:
        if self.grouping is Grouping.INDIVIDUAL and self.count != 1:
            raise misstated("count", "an individual counts as one; say grouping 'group' for several")
        return self


class Animal(Record, AnimalStated, table=True):
    """A stored animal or group."""

    __tablename__ = "animal"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("taxon", "taxon_id"),
        refers_to("enclosure", "enclosure_id"),
        unique_while_kept("animal", "tag_key"),
    )
    noun: ClassVar[str] = "animal"

    tag_key: str
