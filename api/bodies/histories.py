"""An animal's whole life in one answer."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from api.bodies.animals import Animal, AnimalEvent, AnimalState, Placement
from api.bodies.holdings import CallName, Holding
from api.bodies.kinship import Parent
from api.bodies.marks import Mark
from api.bodies.measurements import Measurement
from domain.records.animals import DatePrecision
from domain.records.documents import MediaType
from domain.records.kinship import Certainty, ParentRole
from domain.rules.fitness import Hazard
from domain.rules.lives import Status
from domain.rules.taxonomy import TaxonRank


class _Line(BaseModel):
    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class HistoryTaxon(_Line):
    """What it is."""

    id: UUID
    scientific_name: str
    name_authorship: str | None
    rank: TaxonRank
    common_name: str | None
    hazard: Hazard | None = Field(description="Of the taxon, or of the nearest above it that says one.")


class Offspring(_Line):
    """An animal or clutch that this one is a parent of."""

    id: UUID
    tag: str
    scientific_name: str
    rank: TaxonRank
    role: ParentRole
    certainty: Certainty
    hatched_on: date | None
    hatched_precision: DatePrecision
    count: int
    status: Status


class HistoryDocument(_Line):
    """A document that is attached to it."""

    id: UUID
    title: str
    dated_on: date | None
    reference: str | None
    role: str | None
    media_type: MediaType
    sha256: str
    note: str


class AnimalHistory(_Line):
    """Everything on record about an animal or group, each list in the order of its days; what was withdrawn is only counted."""

    animal: Animal
    today: date = Field(description="The date at its place.")
    taxon: HistoryTaxon
    names: list[CallName]
    marks: list[Mark]
    states: list[AnimalState]
    placements: list[Placement]
    measurements: list[Measurement]
    parents: list[Parent]
    offspring: list[Offspring]
    holdings: list[Holding]
    events: list[AnimalEvent]
    documents: list[HistoryDocument]
    withdrawn: int = Field(description="How many entries about it were taken out of account.")
    corrected: int = Field(description="How many entries about it were changed after they had been entered.")
