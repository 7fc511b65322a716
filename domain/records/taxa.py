"""Taxa: names and what they stand for, what animals of them need, and whom they may not live with."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Day, Id, JsonColumn, Name, Note, UuidColumn, words_of
from domain.records.enclosures import EnclosureKind
from domain.records.intervals import Dated, by_day
from domain.records.stated import misstated
from domain.rules.fitness import Closure, Hazard
from domain.rules.lives import LifeStage
from domain.rules.taxonomy import TaxonRank


class TaxonStated(Stated):
    """A taxon: its name and rank, the taxon above it, or the accepted taxon whose synonym it is.

    Names are as in Darwin Core: ``scientific_name`` without the authors, who stand in ``name_authorship``; ``according_to`` is the list or
    publication that says what the name covers. ``hazard`` holds for every taxon below it that says none itself.
    """

    scientific_name: Name
    rank: TaxonRank = Field(sa_type=words_of(TaxonRank))
    common_name: Name | None = None
    parent_id: Id | None = Field(default=None, sa_type=UuidColumn)
    name_authorship: Name | None = None
    according_to: Name | None = None
    accepted_id: Id | None = Field(default=None, sa_type=UuidColumn)
    hazard: Hazard | None = Field(default=None, sa_type=words_of(Hazard))
    note: Note = ""


class Taxon(Record, TaxonStated, table=True):
    """A stored taxon."""

    __tablename__ = "taxon"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("taxon", "parent_id"),
        refers_to("taxon", "accepted_id"),
        unique_while_kept("taxon", "name_key"),
        sa.Index("ix_taxon_accepted_id", "organisation_id", "accepted_id"),
    )
    noun: ClassVar[str] = "taxon"

    name_key: str


class ConceptMemberStated(Stated):
    """That a name, as a list means it, also covers another taxon, perhaps split from it since. ``source`` says who reads it so."""

    member_id: Id = Field(sa_type=UuidColumn)
    from_on: Day | None = None
    source: Name
    note: Note = ""


class ConceptMember(Record, ConceptMemberStated, table=True):
    """A stored member of a taxon's concept."""

    __tablename__ = "concept_member"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("taxon", "taxon_id"),
        refers_to("taxon", "member_id"),
        unique_while_kept("concept_member", "taxon_id", "member_id"),
        sa.Index("ix_concept_member_member_id", "organisation_id", "member_id"),
    )
    noun: ClassVar[str] = "concept_member"

    taxon_id: Id = Field(sa_type=UuidColumn)


Celsius = Annotated[float, Field(ge=-5, le=60)]
UvIndex = Annotated[float, Field(ge=0, le=20)]
Share = Annotated[float, Field(ge=0, le=100)]
SquareMetres = Annotated[float, Field(gt=0, le=1_000_000)]
Litres = Annotated[float, Field(gt=0, le=1_000_000_000)]
Kinds = Annotated[list[EnclosureKind], PydanticField(min_length=1, max_length=len(EnclosureKind))]

_BANDS = (("uvi_low", "uvi_high"), ("air_low_c", "air_high_c"), ("basking_low_c", "basking_high_c"),
          ("water_low_c", "water_high_c"), ("humidity_low_pct", "humidity_high_pct"))  # fmt: skip
_EACH_MORE = (("least_floor_m2", "floor_each_more_m2"), ("least_water_l", "water_each_more_l"))


class HusbandryTargetStated(Stated):
    """What animals of a taxon need, at one stage of life or at all that have no target of their own, from a day on, and who says so.

    UVI is the UV index, dimensionless, where the animal is. Temperatures [degrees Celsius]; relative humidity [percent]. The least floor
    [m2] and water [l] are for one animal; ``..._each_more`` is what every further animal needs. ``enclosure_kinds`` are those that suit.
    """

    life_stage: LifeStage | None = Field(default=None, sa_type=words_of(LifeStage))
    from_on: Day
    until_on: Day | None = None
    uvi_low: UvIndex | None = None
    uvi_high: UvIndex | None = None
    air_low_c: Celsius | None = None
    air_high_c: Celsius | None = None
    basking_low_c: Celsius | None = None
    basking_high_c: Celsius | None = None
    water_low_c: Celsius | None = None
    water_high_c: Celsius | None = None
    humidity_low_pct: Share | None = None
    humidity_high_pct: Share | None = None
    water: Name | None = None
    least_floor_m2: SquareMetres | None = None
    floor_each_more_m2: SquareMetres | None = None
    least_water_l: Litres | None = None
    water_each_more_l: Litres | None = None
    enclosure_kinds: Kinds | None = Field(default=None, sa_type=JsonColumn)
    source: Name
    note: Note = ""

    @model_validator(mode="after")
    def _bands_rise(self) -> HusbandryTargetStated:
        for low, high in _BANDS:
            lower, upper = getattr(self, low), getattr(self, high)
            if lower is not None and upper is not None and upper < lower:
                raise misstated(high, f"this should not be below {low}")
        for least, each_more in _EACH_MORE:
            if getattr(self, least) is None and getattr(self, each_more) is not None:
                raise misstated(least, f"say what one animal needs as well as {each_more}", code="required")
        _refuse_turned(self.from_on, self.until_on)
        return self


class HusbandryTarget(Record, HusbandryTargetStated, Dated, table=True):
    """A stored husbandry target; for one taxon and stage never two on one day."""

    __tablename__ = "husbandry_target"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("taxon", "taxon_id"),
        by_day("husbandry_target", "taxon_id", "stage_key"),
    )
    noun: ClassVar[str] = "husbandry_target"
    apart: ClassVar[tuple[str, ...]] = ("taxon_id", "stage_key")

    enclosure_kinds: Any = Field(default=None, sa_type=JsonColumn)
    taxon_id: Id = Field(sa_type=UuidColumn)
    stage_key: str
    from_on: date
    until_on: date | None = None


class SeparationStated(Stated):
    """That animals of a taxon, or of any below it, may not share an enclosure with those of another; with its own, they live singly."""

    other_taxon_id: Id = Field(sa_type=UuidColumn)
    from_on: Day
    until_on: Day | None = None
    reason: Name
    source: Name
    note: Note = ""

    @model_validator(mode="after")
    def _days_rise(self) -> SeparationStated:
        _refuse_turned(self.from_on, self.until_on)
        return self


class Separation(Record, SeparationStated, table=True):
    """A stored rule about whom a taxon may not live with; it holds both ways."""

    __tablename__ = "separation"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("taxon", "taxon_id"),
        refers_to("taxon", "other_taxon_id"),
        unique_while_kept("separation", "taxon_id", "other_taxon_id"),
    )
    noun: ClassVar[str] = "separation"

    taxon_id: Id = Field(sa_type=UuidColumn)


class ContainmentStated(Stated):
    """What an organisation asks for before animals of a hazard class are kept: how the enclosure closes, and whether staff are assessed."""

    hazard: Hazard = Field(sa_type=words_of(Hazard))
    from_on: Day
    until_on: Day | None = None
    least_closure: Closure = Field(sa_type=words_of(Closure))
    competence_needed: bool = False
    source: Name
    note: Note = ""

    @model_validator(mode="after")
    def _days_rise(self) -> ContainmentStated:
        _refuse_turned(self.from_on, self.until_on)
        return self


class Containment(Record, ContainmentStated, Dated, table=True):
    """A stored containment rule; for one hazard class never two on one day."""

    __tablename__ = "containment"
    __table_args__ = (owned_by_organisation(), by_day("containment", "hazard"))
    noun: ClassVar[str] = "containment"
    apart: ClassVar[tuple[str, ...]] = ("hazard",)

    from_on: date
    until_on: date | None = None


def _refuse_turned(from_on: date, until_on: date | None) -> None:
    """Refuse days of which the last comes before the first.

    Raises:
        PydanticCustomError: It does; it lies in ``until_on``.
    """
    if until_on is not None and until_on < from_on:
        raise misstated("until_on", "this should not be before from_on")
