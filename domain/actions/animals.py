"""Registering, correcting and ending animals and groups; and beginning the lives of those registered before lives were kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.fitness import number_there
from domain.actions.holdings import record_call_name
from domain.actions.lives import PLACEMENTS_OF, add_event, come_to_life, record_event, relived, today_of
from domain.actions.placements import MoveStated, first_place, place_animal
from domain.actions.recording import Ending, corrected, current, referred, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import Conflict, Fault, RuleBroken
from domain.records.animals import Animal, AnimalEventStated, AnimalFacts, AnimalStated, AnimalToday, Basis, Placement, PlacementStated
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.holdings import CallName, CallNameStated
from domain.records.sites import Site
from domain.records.stated import merged, read_stated
from domain.records.statements import Statement, json_text
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex
from domain.rules.text import same_name

TODAY = frozenset(AnimalToday.model_fields)
TOLD_ELSEWHERE: Mapping[str, str] = {
    "sex": "Its sex is said by an event of kind 'sexed'.",
    "life_stage": "Its stage of life is said by an event of kind 'staged'.",
    "status": "What became of it is said by events.",
}
"""What changes with the days, and so is no correction of the record; nor is what ``TODAY`` names, but that may be told along with one."""

_animal = table_of(Animal)
WITHOUT_A_LIFE = Statement(
    sa.select(_animal)
    .where(_animal.c.organisation_id == sa.bindparam("organisation_id"), _animal.c.came_on.is_(None), _animal.c.count > 0)
    .order_by(_animal.c.id)
    .limit(sa.bindparam("limit"))
)


def register_animal(unit: Unit, stated: AnimalStated, *, record_id: UUID | None = None) -> Animal:
    """Register an animal or a group as it comes into the collection, with its first event, and its placement where one is said.

    Raises:
        RuleBroken: It refers to nothing, came on a day that has not come yet, or does not fit where it is put and no reason is given.
    """
    referred(unit, Taxon, stated.taxon_id, field="taxon_id")
    place = None if stated.enclosure_id is None else referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id")
    today = unit.origin.at.date() if place is None else today_at(unit, unit.fetch(Site, place.site_id))
    came_on = stated.acquired_on or today
    refuse_later_than(today, field="acquired_on", on=came_on)
    refuse_later_than(came_on, field="hatched_on", on=stated.hatched_on)
    facts = AnimalFacts.model_construct(**{name: getattr(stated, name) for name in AnimalFacts.model_fields})
    arrival = _arrival(stated, on=came_on)
    animal = come_to_life(unit, facts, arrival, record_id=record_id, enclosure_id=stated.enclosure_id, name=stated.name)
    if stated.name is not None:
        _call(unit, animal, stated.name)
    if place is not None:
        put = PlacementStated.model_construct(
            enclosure_id=place.id, from_on=stated.placed_on or came_on, override_reason=stated.override_reason, note=""
        )
        animal = first_place(unit, animal, place, put, today=today)
    return animal


def change_animal(unit: Unit, animal_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Animal:
    """Apply a correction to an animal or a group and return it.

    An enclosure, a number or a name is no correction but told as of today: as a move, a count, a new name.

    Raises:
        RuleBroken: It refers to nothing, names what is told elsewhere, or what is told of today cannot be.
    """
    found = current(unit, Animal, animal_id, expected_version=expected_version)
    _refuse_told_elsewhere(patch)
    told = read_stated(AnimalToday, json_text({name: value for name, value in patch.items() if name in TODAY}))
    stated = merged(AnimalFacts, found, {name: value for name, value in patch.items() if name not in TODAY})
    referred(unit, Taxon, stated.taxon_id, field="taxon_id", kept=found.taxon_id)
    refuse_later_than(found.came_on or today_of(unit, found), field="hatched_on", on=stated.hatched_on)
    if stated.grouping is Grouping.INDIVIDUAL and found.count > 1:
        raise RuleBroken(f"There are {found.count} of them; take single animals out of the group.", code="not-together", field="grouping")
    changed = corrected(unit, found, stated, tag_key=same_name(stated.tag))
    changed = changed if changed.grouping is found.grouping else relived(unit, changed)
    return _told_today(unit, changed, told)


def end_animal(unit: Unit, animal_id: UUID, ending: Ending) -> Animal:
    """Have an animal, or all that a group had on that day, leave the collection for a reason given in words, and return it.

    Whoever knows more says it by an event: how it died, or who has it now.

    Raises:
        Conflict: It has died or left already.
    """
    found = unit.fetch_reached(Animal, animal_id)
    if found.ended_on is not None:
        raise Conflict(f"This record ended on {found.ended_on.isoformat()} already.", code="ended")
    on = ending.on or today_of(unit, found)
    if on > today_of(unit, found):
        raise RuleBroken(
            f"It is {today_of(unit, found).isoformat()} there; a record cannot end later than today.", code="in-future", field="on"
        )
    number = max(number_there(unit, found, on=on), 1)
    left = AnimalEventStated(kind=EventKind.DEPARTED, happened_on=on, number=number, basis=Basis.OTHER, cause=ending.reason)
    return record_event(unit, animal_id, left).animal


def begin_lives(unit: Unit, *, at_most: int) -> int:
    """Give animals that were registered before lives were kept their first event, placement and last event; return how many.

    They came, as far as is known, on the day [UTC] on which they were registered.
    """
    found = unit.all(Animal, WITHOUT_A_LIFE, limit=at_most)
    for animal in found:
        _begin_life(unit, animal)
    return len(found)


def _begin_life(unit: Unit, animal: Animal) -> None:
    on, ended_on, why = animal.created_at.date(), animal.ended_on, animal.end_reason
    on = on if ended_on is None else min(on, ended_on)
    came = AnimalEventStated(
        kind=EventKind.ACQUIRED, happened_on=on, number=animal.count, basis=Basis.UNKNOWN, note="As registered; when it came was not said."
    )
    add_event(unit, animal, came)
    if animal.name is not None:
        _call(unit, animal, animal.name, on=on)
    if animal.enclosure_id is not None:
        unit.add(
            Placement.model_construct(
                animal_id=animal.id,
                enclosure_id=animal.enclosure_id,
                from_on=on,
                organisation_id=unit.organisation_id,
                id=unit.new_id(),
                created_at=unit.origin.at,
            ),
            action="register_placement",
        )
    if ended_on is not None:
        left = AnimalEventStated(kind=EventKind.DEPARTED, happened_on=ended_on, number=animal.count, basis=Basis.OTHER, cause=why)
        add_event(unit, animal, left)
    relived(unit, animal)


def _arrival(stated: AnimalStated, *, on: Any) -> AnimalEventStated:  # noqa: ANN401 - a date
    return AnimalEventStated.model_construct(
        kind=stated.came_by,
        happened_on=on,
        number=stated.count,
        sex=None if stated.sex is Sex.UNKNOWN else stated.sex,
        life_stage=None if stated.life_stage is LifeStage.UNKNOWN else stated.life_stage,
        basis=stated.basis,
        party=stated.acquired_from,
        cause=None,
        reference=stated.reference,
        note="",
    )


def _call(unit: Unit, animal: Animal, name: str, *, on: Any = None) -> None:  # noqa: ANN401 - a date
    made = CallName.model_construct(
        name=name,
        name_key=same_name(name),
        from_on=on or animal.came_on,
        note="",
        animal_id=animal.id,
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        created_at=unit.origin.at,
    )
    unit.add(made, action="register_call_name")


def _told_today(unit: Unit, animal: Animal, told: AnimalToday) -> Animal:
    """Put on record what is told of an animal as of today, where it is not so already, and return the animal."""
    today = today_of(unit, animal)
    if told.count is not None and told.count != animal.count:
        if animal.grouping is Grouping.INDIVIDUAL:
            raise RuleBroken("An individual counts as one; say grouping 'group' for several.", code="not-together", field="count")
        record_event(unit, animal.id, AnimalEventStated(kind=EventKind.COUNTED, happened_on=today, number=told.count))
    if told.name is not None and told.name != animal.name:
        record_call_name(unit, animal.id, CallNameStated(name=told.name, from_on=today))
    if told.enclosure_id is not None and told.enclosure_id != animal.enclosure_id:
        places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
        here = places[-1].enclosure_id if places and places[-1].until_on is None else None
        place_animal(unit, animal.id, MoveStated(enclosure_id=told.enclosure_id, from_on=today, from_enclosure_id=here))
    return unit.fetch(Animal, animal.id)


def _refuse_told_elsewhere(patch: Mapping[str, Any]) -> None:
    elsewhere = {**TOLD_ELSEWHERE, **{name: "This is not taken back here." for name in TODAY if patch.get(name, "") is None}}
    faults = tuple(Fault(f"/{name}", "told-elsewhere", sentence) for name, sentence in elsewhere.items() if name in patch)
    if faults:
        raise RuleBroken("Some of this is not corrected here.", code="invalid", faults=faults)
