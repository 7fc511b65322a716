"""Animals that go from one record to another: taken out of a group, hatched from a clutch, put together with others."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field, model_validator

from domain.actions.fitness import decided, number_there
from domain.actions.lives import add_event, come_to_life, relived, today_of
from domain.actions.placements import MoveStated, enclosure_on, first_place, state_here
from domain.actions.recording import referred, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalEventStated, AnimalFacts, AnimalState, Number
from domain.records.base import Stated
from domain.records.columns import Day, Id, Name, Note
from domain.records.enclosures import Enclosure
from domain.records.sites import Site
from domain.records.stated import misstated
from domain.records.unit import Unit
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex, mixes_eggs, sex_together, stage_together

HATCHED_STAGES = frozenset({LifeStage.LARVA, LifeStage.NEONATE, LifeStage.JUVENILE})


class SplitStated(Stated):
    """That some animals of a group go on in a record of their own, an individual's or a group's; of a clutch, those that hatched.

    What is left out is as it was of the group on that day: sex, life stage, enclosure. Where ``hatched`` is said, eggs leave the clutch
    as animals that are born.
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
        RuleBroken: There are not so many on that day, it is no group, what is no egg hatches, or what is an egg goes on as none.
    """
    source = unit.fetch_reached(Animal, animal_id)
    if source.grouping is not Grouping.GROUP:
        raise RuleBroken("One animal cannot be split.", code="individual", field="number")
    refuse_later_than(today_of(unit, source), field="happened_on", on=stated.happened_on)
    then = state_here(unit, source, on=stated.happened_on, field="happened_on")
    _refuse_wrong_hatching(then, stated)
    left, came = (EventKind.HATCHED_OUT, EventKind.HATCHED) if stated.hatched else (EventKind.SPLIT_OFF, EventKind.SPLIT_FROM)
    leaving, coming, made_id = unit.new_id(), unit.new_id(), record_id or unit.new_id()
    place = _place_for(unit, source, stated)
    moved = _Moved(stated.happened_on, stated.number, stated.note, _sex_of(then, stated), stated.life_stage or then.life_stage)
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
        RuleBroken: The other is no group or of another taxon, eggs would join animals, there are not so many on that day, or where the
            group is does not suit them and no reason to override was given.
    """
    source = unit.fetch_reached(Animal, animal_id)
    group = referred(unit, Animal, stated.into_id, field="into_id")
    if group.id == source.id or group.grouping is not Grouping.GROUP:
        raise RuleBroken("Animals join a group, and another one than their own.", code="not-a-group", field="into_id")
    if group.taxon_id != source.taxon_id:
        raise RuleBroken("That group is of another taxon; a record holds animals of one.", code="another-taxon", field="into_id")
    refuse_later_than(today_of(unit, source), field="happened_on", on=stated.happened_on)
    joining, joined = (state_here(unit, one, on=stated.happened_on, field="happened_on") for one in (source, group))
    if mixes_eggs(joining.life_stage, joined.life_stage):
        raise RuleBroken("Eggs join a clutch, and what has hatched joins what has.", code="eggs", field="into_id")
    number = stated.number or max(number_there(unit, source, on=stated.happened_on), 1)
    moved = _Moved(stated.happened_on, number, stated.note, **_known_together(joining, joined))
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


def _refuse_wrong_hatching(then: AnimalState, stated: SplitStated) -> None:
    """Refuse that what was no egg hatches, that an egg goes on as an animal without hatching, or an animal as an egg.

    Raises:
        RuleBroken: It would.
    """
    if stated.hatched and then.life_stage is not LifeStage.EGG:
        raise RuleBroken("Only eggs hatch.", code="not-eggs", field="hatched")
    if not stated.hatched and mixes_eggs(then.life_stage, stated.life_stage or then.life_stage):
        raise RuleBroken(
            f"They were {then.life_stage.value} on that day; eggs become animals by hatching, which 'hatched' says.",
            code="not-hatched",
            field="life_stage",
        )


def _sex_of(then: AnimalState, stated: SplitStated) -> Sex:
    if stated.sex is not None:
        return stated.sex
    return Sex.UNKNOWN if then.sex is Sex.MIXED and stated.grouping is Grouping.INDIVIDUAL else then.sex


def _known_together(joining: AnimalState, joined: AnimalState) -> dict[str, Any]:
    """Return what is another of a group's sex and life stage once others have joined it."""
    sex, stage = sex_together(joining.sex, joined.sex), stage_together(joining.life_stage, joined.life_stage)
    return {"sex": None if sex is joined.sex else sex, "life_stage": None if stage is joined.life_stage else stage}


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
    gone = add_event(unit, source, moved.without_what_is_known().told(EventKind.JOINED), record_id=leaving, other=(group.id, coming))
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
    """Return the enclosure that animals split off go to: the one that is said, or the group's of that day.

    Raises:
        RuleBroken: There is no such enclosure, or it has ended.
    """
    if stated.enclosure_id is not None:
        return referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id")
    around = enclosure_on(unit, source, on=stated.happened_on)
    return None if around is None else referred(unit, Enclosure, around.id, field="enclosure_id")


def _put(unit: Unit, made: Animal, place: Enclosure, stated: SplitStated) -> Animal:
    there = MoveStated(enclosure_id=place.id, from_on=stated.happened_on, override_reason=stated.override_reason)
    return first_place(unit, made, place, there, today=today_at(unit, unit.fetch(Site, place.site_id)))
