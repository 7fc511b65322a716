"""Animals and counted groups, where they live, and what happened to them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field, WithJsonSchema

from api.bodies.records import Kept, New, Page
from domain.actions.groups import MergeStated, SplitStated
from domain.actions.lives import TOLD_BY_EVENT
from domain.actions.placements import MoveStated
from domain.records.animals import AnimalEventStated, AnimalFacts, AnimalStated, AnimalToday, PlacementStated
from domain.rules.lives import EventKind, LifeStage, Sex, Status


class NewAnimal(New, AnimalStated):
    """An animal or group to be registered, as it comes into the collection."""


class ChangedAnimal(AnimalToday, AnimalFacts):
    """What can be corrected of an animal or group. An enclosure, a number or a name is told as of today: as a move, a count, a new name."""


class Animal(Kept, AnimalFacts):
    """An animal or group on file, and how it stands on the day that is asked for."""

    enclosure_id: UUID | None = Field(default=None, description="Where it is, or was last.")
    count: int = Field(description="How many there are; none once all have died or left.")
    estimated: bool = Field(description="Whether the number was estimated when it was last looked at.")
    name: str | None = None
    sex: Sex
    life_stage: LifeStage
    status: Status
    came_on: date | None = Field(default=None, description="The day on which it came into the collection, or was born there.")


class AnimalPage(Page[Animal]):
    """One page of animals."""


class Split(New, SplitStated):
    """Animals of a group that go on in a record of their own."""


class Merge(MergeStated):
    """Animals of a record that join a group."""


class NewPlacement(New, MoveStated):
    """A move into an enclosure."""


class ChangedPlacement(PlacementStated):
    """What can be corrected of a placement."""


class Placement(Kept, PlacementStated):
    """A placement on file."""

    animal_id: UUID
    until_on: date | None = Field(default=None, description="The last day there; none while it lasts.")
    fitness: Any = Field(default=None, description="What was decided about it when it was made: the outcome, and the reasons.")
    closed_by_id: UUID | None = Field(default=None, description="The event that ended it, if one did.")


class PlacementPage(Page[Placement]):
    """One page of placements."""


class NewAnimalEvent(New, AnimalEventStated):
    """Something that happened to an animal or a group; what goes from one record to another is told by a split or a merge."""

    kind: Annotated[EventKind, WithJsonSchema({"type": "string", "enum": sorted(TOLD_BY_EVENT)})]


class AnimalEvent(Kept, AnimalEventStated):
    """An event on file."""

    animal_id: UUID
    change: int = Field(description="What it changes the number of animals by.")
    other_animal_id: UUID | None = Field(default=None, description="The record that animals came from or went on in.")
    other_event_id: UUID | None = Field(default=None, description="The event of the same move there.")
    override_reason: str | None = Field(default=None, description="Why animals joined a group whose enclosure does not suit them.")
    fitness: Any = Field(default=None, description="What was decided when animals joined a group in another enclosure, as of a placement.")


class AnimalEventPage(Page[AnimalEvent]):
    """One page of events."""


class AnimalState(Kept):
    """What the animals of a record are at the end of each day of an interval."""

    animal_id: UUID
    from_on: date
    until_on: date | None = None
    status: Status
    sex: Sex
    life_stage: LifeStage


class AnimalStatePage(Page[AnimalState]):
    """One page of states."""
