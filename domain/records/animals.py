"""Animals and counted groups, and what happened to them."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated, Any, ClassVar

import sqlalchemy as sa
from pydantic import WithJsonSchema, model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Day, Id, JsonColumn, Name, Note, UuidColumn, words_of
from domain.records.intervals import Dated, by_day
from domain.records.stated import misstated
from domain.rules.lives import EventKind, Grouping, LifeStage, Origin, Sex, Status

Number = Annotated[int, Field(ge=1, le=10_000_000)]


class DatePrecision(StrEnum):
    """How exactly a date is known: to the day, or only its month or its year, the first day of which is given."""

    DAY = "day"
    MONTH = "month"
    YEAR = "year"


class Basis(StrEnum):
    """On what ground an animal comes into or leaves the collection's keeping."""

    PURCHASE = "purchase"
    SALE = "sale"
    GIFT = "gift"
    EXCHANGE = "exchange"
    LOAN = "loan"
    LOAN_RETURN = "loan_return"
    RESCUE = "rescue"
    CONFISCATION = "confiscation"
    FOUND = "found"
    REHOMING = "rehoming"
    RELEASE = "release"
    LOST = "lost"
    OTHER = "other"
    UNKNOWN = "unknown"


class AnimalFacts(Stated):
    """What an animal or group is: taxon, tag, when it hatched or was born and how exactly that is known, where it comes from.

    ``name_as_printed`` is the scientific name as its papers have it, whatever the accepted name is today.
    """

    taxon_id: Id = Field(sa_type=UuidColumn)
    tag: Name
    grouping: Grouping = Field(default=Grouping.INDIVIDUAL, sa_type=words_of(Grouping))
    hatched_on: Day | None = None
    hatched_precision: DatePrecision = Field(default=DatePrecision.DAY, sa_type=words_of(DatePrecision))
    origin: Origin = Field(default=Origin.UNKNOWN, sa_type=words_of(Origin))
    locality: Name | None = None
    name_as_printed: Name | None = None
    note: Note = ""


CAME_BY = frozenset({EventKind.ACQUIRED, EventKind.BORN, EventKind.HATCHED, EventKind.LAID})
CameBy = Annotated[EventKind, WithJsonSchema({"type": "string", "enum": sorted(CAME_BY)})]


class AnimalToday(Stated):
    """What is told of an animal or group as of today along with a correction: where it is now, how many there are, what it is called."""

    enclosure_id: Id | None = None
    count: Number | None = None
    name: Name | None = None


class AnimalStated(AnimalFacts):
    """An animal, or a counted group of one taxon, as it comes into the collection.

    It came on ``acquired_on``, by default today at the site (or in UTC while it has no place), by ``came_by``: acquired, or born, hatched
    or laid here. It has been in the enclosure since ``placed_on``, by default since it came. What happens later is told by its events and
    placements.
    """

    enclosure_id: Id | None = None
    count: Number = 1
    name: Name | None = None
    sex: Sex = Sex.UNKNOWN
    life_stage: LifeStage = LifeStage.UNKNOWN
    came_by: CameBy = EventKind.ACQUIRED
    acquired_on: Day | None = None
    basis: Basis | None = None
    acquired_from: Name | None = None
    reference: Name | None = None
    placed_on: Day | None = None
    override_reason: Name | None = None

    @model_validator(mode="after")
    def _an_individual_is_one(self) -> AnimalStated:
        if self.grouping is Grouping.INDIVIDUAL and self.count != 1:
            raise misstated("count", "an individual counts as one; say grouping 'group' for several")
        if self.came_by not in CAME_BY:
            raise misstated("came_by", f"this should be one of {', '.join(sorted(CAME_BY))}", code="not-one-of")
        if self.enclosure_id is None and self.placed_on is not None:
            raise misstated("placed_on", "say in which enclosure as well")
        return self


class Animal(Record, AnimalFacts, table=True):
    """A stored animal or group, and how it stands now as its events and placements have it.

    ``enclosure_id`` is where it is, or was last. ``came_on`` is the day of its first event.
    """

    __tablename__ = "animal"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("taxon", "taxon_id"),
        refers_to("enclosure", "enclosure_id"),
        unique_while_kept("animal", "tag_key"),
    )
    noun: ClassVar[str] = "animal"

    tag_key: str
    enclosure_id: Id | None = Field(default=None, sa_type=UuidColumn)
    count: int = 1
    estimated: bool = False
    name: str | None = None
    sex: Sex = Field(default=Sex.UNKNOWN, sa_type=words_of(Sex))
    life_stage: LifeStage = Field(default=LifeStage.UNKNOWN, sa_type=words_of(LifeStage))
    status: Status = Field(default=Status.PRESENT, sa_type=words_of(Status))
    came_on: date | None = None


class AnimalEventStated(Stated):
    """Something that happened to an animal or a group on a day.

    ``number`` is how many animals it is about; in a count, how many were found. ``party`` is who they came from or went to, ``cause`` what
    they died of as far as known, ``reference`` the number of a paper about it.
    """

    kind: EventKind = Field(sa_type=words_of(EventKind))
    happened_on: Day
    number: Number = 1
    sex: Sex | None = Field(default=None, sa_type=words_of(Sex))
    life_stage: LifeStage | None = Field(default=None, sa_type=words_of(LifeStage))
    basis: Basis | None = Field(default=None, sa_type=words_of(Basis))
    party: Name | None = None
    cause: Name | None = None
    reference: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _says_what_is_known_now(self) -> AnimalEventStated:
        if self.kind is EventKind.SEXED and self.sex is None:
            raise misstated("sex", "say which sex", code="required")
        if self.kind is EventKind.STAGED and self.life_stage is None:
            raise misstated("life_stage", "say which stage of life", code="required")
        return self


class AnimalEvent(Record, AnimalEventStated, table=True):
    """A stored event. ``change`` is what it changes the number by.

    Where animals went from one record to another, ``other_animal_id`` and ``other_event_id`` are that record and its event of the move.
    Where they joined a group in another enclosure, ``fitness`` is what was decided about that, and ``override_reason`` why they went there
    although it does not suit them.
    """

    __tablename__ = "animal_event"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("animal", "other_animal_id"),
        sa.Index("ix_animal_event_animal", "organisation_id", "animal_id", "happened_on"),
        sa.Index("ix_animal_event_day", "organisation_id", "happened_on"),
    )
    noun: ClassVar[str] = "animal_event"

    animal_id: Id = Field(sa_type=UuidColumn)
    change: int = 0
    other_animal_id: Id | None = Field(default=None, sa_type=UuidColumn)
    other_event_id: Id | None = Field(default=None, sa_type=UuidColumn)
    override_reason: Name | None = None
    fitness: Any = Field(default=None, sa_type=JsonColumn)


class AnimalState(Record, Dated, table=True):
    """What the animals of a record are at the end of each day of an interval. It follows from the events and is made anew with them."""

    __tablename__ = "animal_state"
    __table_args__ = (owned_by_organisation(), refers_to("animal", "animal_id"), by_day("animal_state", "animal_id"))
    noun: ClassVar[str] = "animal_state"
    apart: ClassVar[tuple[str, ...]] = ("animal_id",)

    animal_id: Id = Field(sa_type=UuidColumn)
    status: Status = Field(sa_type=words_of(Status))
    sex: Sex = Field(sa_type=words_of(Sex))
    life_stage: LifeStage = Field(sa_type=words_of(LifeStage))


class PlacementStated(Stated):
    """That an animal or group lives in an enclosure from a day on.

    ``override_reason`` is why it is put there although the enclosure does not suit it.
    """

    enclosure_id: Id = Field(sa_type=UuidColumn)
    from_on: Day
    override_reason: Name | None = None
    note: Note = ""


class Placement(Record, PlacementStated, Dated, table=True):
    """A stored placement. ``until_on`` is the last day there; ``fitness`` is what was decided about it, with the reasons, on that day.

    ``closed_by_id`` is the event that ended it: withdrawn, it opens again.
    """

    __tablename__ = "placement"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("enclosure", "enclosure_id"),
        by_day("placement", "animal_id"),
        sa.Index("ix_placement_enclosure", "organisation_id", "enclosure_id", "from_on"),
    )
    noun: ClassVar[str] = "placement"
    apart: ClassVar[tuple[str, ...]] = ("animal_id",)

    animal_id: Id = Field(sa_type=UuidColumn)
    from_on: date
    until_on: date | None = None
    fitness: Any = Field(default=None, sa_type=JsonColumn)
    closed_by_id: Id | None = Field(default=None, sa_type=UuidColumn)
