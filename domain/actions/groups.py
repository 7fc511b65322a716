"""Animals that go from one record to another: taken out of a group, hatched from a clutch, put together with others."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field, model_validator

from domain.actions.fitness import decided
from domain.actions.lives import add_event, come_to_life, relived, today_of
from domain.actions.placements import MoveStated, enclosure_on, first_place, refuse_when_not_here
from domain.actions.recording import referred, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalEventStated, AnimalFacts, Number
from domain.records.base import Stated
from domain.records.columns import Day, Id, Name, Note
from domain.records.enclosures import Enclosure
from domain.records.sites import Site
from domain.records.stated import misstated
from domain.records.unit import Unit
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex

HATCHED_STAGES = frozenset({LifeStage.LARVA, LifeStage.NEONATE, LifeStage.JUVENILE})


class SplitStated(Stated):
    """That some animals of a group go on in a record of their own, an individual's or a group's; of a clutch, those that hatched.

    What is left out stays as it is of the group: sex, life stage, enclosure. Where ``hatched`` is said, eggs leave the clutch as animals
    that are born.
    """

    happened_on: Day
    number: Number = 1
    tag: Name
    grouping: Grouping = Grouping.INDIVIDUAL
    hatched: bool = False
    sex: Sex | None = None
    life_stage: LifeStage | None = None
    enclosure_id: Id | None = None
    override_reason: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _fits_together(self) -> SplitStated:
        if self.grouping is Grouping.INDIVIDUAL and self.number != 1:
            raise misstated("number", "one animal is taken out at a time; say grouping 'group' for several")
        if self.hatched and self.life_stage not in HATCHED_STAGES:
            raise misstated("life_stage", "say what hatched: larva, neonate or juvenile", code="required")
        return self


class MergeStated(Stated):
    """That animals of a record join a group; all of them, or ``number``.

    ``override_reason`` is why they go to where the group is although that enclosure does not suit them.
    """

    happened_on: Day
    into_id: Id
    number: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    override_reason: Name | None = None
    note: Note = ""


def split_animal(unit: Unit, animal_id: UUID, stated: SplitStated, *, record_id: UUID | None = None) -> Animal:
    """Let some animals of a group go on in a record of their own and return that record.

    Raises:
        RuleBroken: There are not so many on that day, it is no group, or only eggs hatch.
    """
    source = unit.fetch_reached(Animal, animal_id)
    if source.grouping is not Grouping.GROUP:
        raise RuleBroken("One animal cannot be split.", code="individual", field="number")
    refuse_later_than(today_of(unit, source), field="happened_on", on=stated.happened_on)
    refuse_when_not_here(unit, source, on=stated.happened_on, field="happened_on")
    if stated.hatched and source.life_stage is not LifeStage.EGG:
        raise RuleBroken("Only eggs hatch.", code="not-eggs", field="hatched")
    left, came = (EventKind.HATCHED_OUT, EventKind.HATCHED) if stated.hatched else (EventKind.SPLIT_OFF, EventKind.SPLIT_FROM)
    leaving, coming, made_id = unit.new_id(), unit.new_id(), record_id or unit.new_id()
    place = _place_for(unit, source, stated)
    moved = _Moved(stated.happened_on, stated.number, stated.note, _sex_of(source, stated), stated.life_stage or source.life_stage)
    made = come_to_life(
        unit,
        _facts_of(source, stated),
        moved.told(came),
        record_id=made_id,
        event_id=coming,
        other=(source.id, leaving),
        enclosure_id=place.id if place else None,
    )
    gone = add_event(unit, source, moved.without_what_is_known().told(left), record_id=leaving, other=(made_id, coming))
    relived(unit, source, latest=gone)
    return made if place is None else _put(unit, made, place, stated)


def merge_animal(unit: Unit, animal_id: UUID, stated: MergeStated) -> Animal:
    """Let animals of a record join a group and return the group.

    Raises:
        RuleBroken: The other is no group or of another taxon, there are not so many on that day, or where the group is does not suit them
            and no reason to override was given.
    """
    source = unit.fetch_reached(Animal, animal_id)
    group = referred(unit, Animal, stated.into_id, field="into_id")
    if group.id == source.id or group.grouping is not Grouping.GROUP:
        raise RuleBroken("Animals join a group, and another one than their own.", code="not-a-group", field="into_id")
    if group.taxon_id != source.taxon_id:
        raise RuleBroken("That group is of another taxon; a record holds animals of one.", code="another-taxon", field="into_id")
    refuse_later_than(today_of(unit, source), field="happened_on", on=stated.happened_on)
    for one in (source, group):
        refuse_when_not_here(unit, one, on=stated.happened_on, field="happened_on")
    number = stated.number or max(source.count, 1)
    moved = _Moved(stated.happened_on, number, stated.note)
    decision = _decision(unit, source, group, moved, override_reason=stated.override_reason)
    _leave_and_come(unit, source, group, moved, decision)
    return unit.fetch(Animal, group.id)


@dataclass(frozen=True, slots=True)
class _Moved:
    """How many animals go from one record to another, when, and what is known of them since."""

    on: date
    number: int
    note: str
    sex: Sex | None = None
    life_stage: LifeStage | None = None

    def without_what_is_known(self) -> _Moved:
        """Return it as it is of the record that they leave, of which nothing more is known since."""
        return _Moved(self.on, self.number, self.note)

    def told(self, kind: EventKind) -> AnimalEventStated:
        """Return it as an event of one of the two records."""
        return AnimalEventStated(
            kind=kind, happened_on=self.on, number=self.number, sex=self.sex, life_stage=self.life_stage, note=self.note
        )


def _sex_of(source: Animal, stated: SplitStated) -> Sex:
    if stated.sex is not None:
        return stated.sex
    return Sex.UNKNOWN if source.sex is Sex.MIXED and stated.grouping is Grouping.INDIVIDUAL else source.sex


def _decision(unit: Unit, source: Animal, group: Animal, moved: _Moved, *, override_reason: str | None) -> dict[str, Any]:
    """Return what is kept of a move into the enclosure of a group; where they are there already, or it is in none, nothing is decided.

    Raises:
        RuleBroken: It does not suit them, and no reason to override is given.
    """
    place, before = (enclosure_on(unit, one, on=moved.on) for one in (group, source))
    if place is None or (before is not None and before.id == place.id):
        return {"override_reason": override_reason}
    fitness = decided(unit, source, place, on=moved.on, number=moved.number, override_reason=override_reason, field="into_id")
    return {"override_reason": override_reason, "fitness": fitness}


def _leave_and_come(unit: Unit, source: Animal, group: Animal, moved: _Moved, decision: dict[str, Any]) -> None:
    """Put both ends of a merge on record, each naming the other and one with its decision, and make both lives anew."""
    leaving, coming = unit.new_id(), unit.new_id()
    gone = add_event(unit, source, moved.told(EventKind.JOINED), record_id=leaving, other=(group.id, coming))
    arrived = add_event(unit, group, moved.told(EventKind.JOINED_BY), record_id=coming, other=(source.id, leaving), **decision)
    relived(unit, source, latest=gone)
    relived(unit, group, latest=arrived)


def _facts_of(source: Animal, stated: SplitStated) -> AnimalFacts:
    return AnimalFacts.model_construct(
        taxon_id=source.taxon_id,
        tag=stated.tag,
        grouping=stated.grouping,
        hatched_on=stated.happened_on if stated.hatched else source.hatched_on,
        hatched_precision=AnimalFacts.model_fields["hatched_precision"].default if stated.hatched else source.hatched_precision,
        origin=source.origin,
        locality=source.locality,
        name_as_printed=source.name_as_printed,
        note=stated.note,
    )


def _place_for(unit: Unit, source: Animal, stated: SplitStated) -> Enclosure | None:
    """Return the enclosure that animals split off go to: the one that is said, or the group's."""
    enclosure_id = stated.enclosure_id or source.enclosure_id
    return None if enclosure_id is None else referred(unit, Enclosure, enclosure_id, field="enclosure_id")


def _put(unit: Unit, made: Animal, place: Enclosure, stated: SplitStated) -> Animal:
    there = MoveStated(enclosure_id=place.id, from_on=stated.happened_on, override_reason=stated.override_reason)
    return first_place(unit, made, place, there, today=today_at(unit, unit.fetch(Site, place.site_id)))
