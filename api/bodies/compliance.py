"""Whether what is done with animals is covered: on a day, over a period, by which permits, and what a requirement will change."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from domain.rules.compliance import Standing
from domain.rules.law.decision import Bearing, Outcome
from domain.rules.law.requirements import Activity
from domain.rules.lives import LifeStage


class _Told(BaseModel):
    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class Advice(_Told):
    """What is said with every answer about the law."""

    disclaimer: str = Field(description="Not legal advice: local codes, the issuing authority and licensed practice come first.")


class Place(StrEnum):
    """Where an act is decided: where the animal is, or where it is to come."""

    HERE = "here"
    DESTINATION = "destination"


class PlaceDecided(_Told):
    """What was decided of an act at one of its places."""

    place: Place
    site_id: UUID | None
    jurisdictions: list[str] = Field(description="The codes of those that apply there, from the local one up.")
    outcome: Outcome
    missing: list[str]


class Finding(_Told):
    """What one requirement says of an act, and by which facts."""

    place: Place
    requirement: str = Field(description="The requirement's code.")
    edition: str = Field(description="Its version, as its rule pack states it.")
    pack: str
    jurisdiction: str
    title: str
    citation: str
    bearing: Bearing
    documents: list[str] = Field(description="The kinds of documents of which one is needed.")
    exemption: str | None = Field(description="The code of the exemption that was used, or of the requirement that exempts from this one.")
    conditions: list[str] = Field(description="What the exemption asks for.")
    missing: list[str] = Field(description="Facts that are not on record, without which it cannot be decided; of a duty, whether it binds.")
    used: dict[str, str] = Field(description="The facts that were looked at, by name.")
    from_on: date | None = Field(description="The day from which it will apply.")
    override_id: UUID | None = Field(description="By which override somebody answers for not heeding it.")


class Share(_Told):
    """How many animals a permit covers."""

    permit_id: UUID
    number: int


class Answer(_Told):
    """A need for one of some kinds of documents, and which permits meet it."""

    documents: list[str]
    permits: list[Share]
    uncovered: int = Field(description="How many animals are without.")
    lapses_on: date | None = Field(description="The last day of the first of these permits to end.")


class Coverage(_Told):
    """How an animal or group stands: what is asked, what there is, and what is missing."""

    animal_id: UUID
    tag: str
    taxon_id: UUID
    scientific_name: str
    life_stage: LifeStage
    site_id: UUID | None
    number: int
    standing: Standing
    outcome: Outcome
    missing: list[str]
    needs_mark: bool
    needs: list[Answer]
    places: list[PlaceDecided] = Field(description="Of an act that leads elsewhere: what was decided where the animal is, and there.")
    findings: list[Finding]


class CoverageOfAnimal(Coverage, Advice):
    """How one animal or group stands on a day."""

    as_of: date
    activity: Activity
    to_site_id: UUID | None
    jurisdiction: str | None


class CompliancePage(Advice):
    """One page of how animals stand on a day, the longest kept first; ``counts`` are animals by standing, of all pages."""

    as_of: date
    activity: Activity
    to_site_id: UUID | None
    jurisdiction: str | None
    counts: dict[Standing, int]
    items: list[Coverage]
    next: str | None


class Stretch(_Told):
    """Days on end on which an animal stood alike, both included."""

    from_on: date
    until_on: date
    standing: Standing


class KeptAnimal(_Told):
    """How an animal or group stood over a period."""

    animal_id: UUID
    tag: str
    scientific_name: str
    days_uncovered: int = Field(description="On how many days its keeping was not known to be in order.")
    stretches: list[Stretch]


class ComplianceOfPeriod(Advice):
    """How animals stood over a period: those that were not in order on some day of it, the most days first."""

    from_on: date
    until_on: date
    activity: Activity
    animals: int = Field(description="How many animals and groups were here on some day of the period.")
    items: list[KeptAnimal]


class LimitInUse(_Told):
    """What stands against a permit's number for one taxon."""

    scientific_name: str
    number: int
    taken: int
    left: int = Field(description="How many more of it the permit allows, by this number and that of all.")


class PermitInUse(_Told):
    """What a permit that is good on a day covers on it."""

    permit_id: UUID
    number: str
    kind: str
    good_until: date | None
    renew_by: date | None = Field(description="The last day on which to apply for the one that follows.")
    taken: int = Field(description="How many animals stand against its number.")
    left: int | None = Field(description="How many more it allows; none where it names no number.")
    expected: int = Field(description="How many young are expected of the animals that it covers, at the most.")
    limits: list[LimitInUse] = Field(description="By taxon, where it says numbers of some.")


class PermitsInUse(Advice):
    """The permits that are good on a day, those that end first before the others."""

    as_of: date
    activity: Activity
    items: list[PermitInUse]


class Turn(_Told):
    """An animal whose standing a requirement changes."""

    animal_id: UUID
    tag: str
    scientific_name: str
    before: Standing
    after: Standing


class Turns(Advice):
    """What a version of a requirement changes on the day, or days, that it begins to apply."""

    requirement: str
    edition: str
    applies_from: date
    items: list[Turn]
