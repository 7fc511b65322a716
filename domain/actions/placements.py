"""Putting animals into enclosures, and correcting what was said of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.documents import follow
from domain.actions.fitness import decided, number_there
from domain.actions.lives import PLACEMENTS_OF, STATES_OF, today_of
from domain.actions.recording import Ending, corrected, current, ended, referred, refuse_later_than
from domain.actions.sites import today_at
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records.animals import Animal, AnimalState, Placement, PlacementStated
from domain.records.columns import Id
from domain.records.enclosures import Enclosure
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.unit import Unit
from domain.rules.lives import DAY, Status


class MoveStated(PlacementStated):
    """A move: into which enclosure, since when, and where the caller believes the animal to be."""

    from_enclosure_id: Id | None = None


@dataclass(frozen=True, slots=True)
class _Neighbours:
    """The placement that a day falls into, and the first one after it."""

    around: Placement | None
    after: Placement | None


def place_animal(unit: Unit, animal_id: UUID, stated: MoveStated, *, record_id: UUID | None = None) -> Placement:
    """Put an animal or a group into an enclosure from a day on, and return the placement.

    The placement that it had until then ends the day before; one that follows limits the new one. Of two who move one animal on one day
    without saying from where, the second is refused.

    Raises:
        RuleBroken: The day has not come, or the animal was not here on it; or it does not fit there, and no reason to override was given.
        Conflict: It is elsewhere than the caller believes, was moved already on that day, or is there already.
    """
    animal = unit.fetch_reached(Animal, animal_id)
    place = referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id")
    refuse_later_than(today_at(unit, unit.fetch(Site, place.site_id)), field="from_on", on=stated.from_on)
    refuse_when_not_here(unit, animal, on=stated.from_on, field="from_on")
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    beside = _beside(places, stated.from_on)
    _refuse_mistaken_move(unit, beside.around, stated)
    until_on, closed_by_id = _room_for(unit, beside, stated.from_on)
    made = _placement(unit, animal, place, stated, record_id=record_id, until_on=until_on, closed_by_id=closed_by_id)
    if beside.after is None:
        _now_in(unit, animal, place)
    return made


def enclosure_on(unit: Unit, animal: Animal, *, on: date) -> Enclosure | None:
    """Return the enclosure that an animal or group was in at the end of a day; none where it was in none."""
    around = _beside(unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id), on).around
    return None if around is None else unit.fetch(Enclosure, around.enclosure_id)


def first_place(unit: Unit, animal: Animal, place: Enclosure, stated: PlacementStated, *, today: date) -> Animal:
    """Put an animal that has just been registered into its first enclosure, and return the animal.

    Raises:
        RuleBroken: The day has not come, or lies before the animal came; or it does not fit there, and no reason to override was given.
    """
    refuse_later_than(today, field="placed_on", on=stated.from_on)
    if animal.came_on is not None and stated.from_on < animal.came_on:
        raise RuleBroken(f"It came on {animal.came_on.isoformat()}; it was placed then or later.", code="before-arrival", field="placed_on")
    _placement(unit, animal, place, stated, record_id=None, until_on=None, closed_by_id=None)
    return animal


def change_placement(unit: Unit, placement_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Placement:
    """Correct a placement and return it: the day on which it began, the enclosure, the note. The one before it ends accordingly.

    Raises:
        RuleBroken: The day has not come, or the animal was not here on it.
        Conflict: The day reaches into another placement than the one before.
    """
    animal = unit.fetch_reached(Animal, owner_id)
    found = current(unit, Placement, placement_id, expected_version=expected_version)
    _refuse_of_another(found, animal)
    stated = merged(PlacementStated, found, patch)
    place = referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id", kept=found.enclosure_id)
    refuse_later_than(today_at(unit, unit.fetch(Site, place.site_id)), field="from_on", on=stated.from_on)
    refuse_when_not_here(unit, animal, on=stated.from_on, field="from_on")
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    before = _before(places, found, stated.from_on) if stated.from_on != found.from_on else None
    earlier = stated.from_on < found.from_on
    if before is not None and earlier:
        unit.change(before, {"until_on": stated.from_on - DAY}, action="change_placement")
    changed = corrected(unit, found, stated, **_decided_anew(unit, animal, place, found, stated))
    if before is not None and not earlier:
        unit.change(before, {"until_on": stated.from_on - DAY}, action="change_placement")
    if places[-1].id == found.id:
        _now_in(unit, animal, place)
    return changed


def end_placement(unit: Unit, placement_id: UUID, ending: Ending, *, owner_id: UUID) -> Placement:
    """Withdraw a placement that was entered wrongly, and return it. The one before it goes on in its stead.

    Raises:
        Conflict: It was withdrawn already.
    """
    animal = unit.fetch_reached(Animal, owner_id)
    found = unit.fetch(Placement, placement_id)
    _refuse_of_another(found, animal)
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    gone = ended(unit, found, ending, today=today_of(unit, animal))
    before = next((one for one in reversed(places) if one.until_on == found.from_on - DAY), None)
    if before is not None and before.closed_by_id is None:
        unit.change(before, {"until_on": found.until_on, "closed_by_id": found.closed_by_id}, action="change_placement")
        if places[-1].id == found.id:
            _now_in(unit, animal, unit.fetch(Enclosure, before.enclosure_id))
    return gone


def _decided_anew(unit: Unit, animal: Animal, place: Enclosure, found: Placement, stated: PlacementStated) -> dict[str, Any]:
    """Return the decision about a placement that is corrected to be in another enclosure; nothing where the enclosure stays.

    Raises:
        RuleBroken: It does not suit the animals, and no reason to override is given.
    """
    if place.id == found.enclosure_id:
        return {}
    number = number_there(unit, animal, on=stated.from_on)
    return {"fitness": decided(unit, animal, place, on=stated.from_on, number=number, override_reason=stated.override_reason)}


def _refuse_of_another(found: Placement, animal: Animal) -> None:
    if found.animal_id != animal.id:
        raise NotFound("There is no such placement.")


def refuse_when_not_here(unit: Unit, animal: Animal, *, on: date, field: str) -> None:
    """Refuse a day on which an animal was not in the collection's hands.

    Raises:
        RuleBroken: It had not come yet, had died or left, or was away or missing.
    """
    states = unit.all(AnimalState, STATES_OF, animal_id=animal.id)
    there = next((one for one in states if one.from_on <= on and (one.until_on is None or on <= one.until_on)), None)
    if there is None:
        came = states[0].from_on.isoformat() if states else "an unknown day"
        raise RuleBroken(f"It came on {came}; it cannot be placed before.", code="before-arrival", field=field)
    if there.status is not Status.PRESENT:
        raise RuleBroken(
            f"It is {there.status.value} since {there.from_on.isoformat()}; what is not here is not placed.",
            code="not-here",
            field=field,
        )


def _beside(places: Sequence[Placement], on: date) -> _Neighbours:
    around = next((one for one in places if one.from_on <= on and (one.until_on is None or on <= one.until_on)), None)
    return _Neighbours(around, next((one for one in places if one.from_on > on), None))


def _refuse_mistaken_move(unit: Unit, around: Placement | None, stated: MoveStated) -> None:
    """Refuse a move by somebody who does not know where the animal is.

    Raises:
        Conflict: It is elsewhere than the caller believes, was moved already on that day, or is there already.
    """
    believed = stated.from_enclosure_id
    if around is None:
        if believed is not None:
            raise Conflict("It is in no enclosure on that day.", code="elsewhere", field="from_enclosure_id")
        return
    name = unit.fetch(Enclosure, around.enclosure_id).name
    if believed is not None and believed != around.enclosure_id:
        raise Conflict(f"It is in {name} on that day, not where you believe it to be.", code="elsewhere", field="from_enclosure_id")
    if around.enclosure_id == stated.enclosure_id:
        raise Conflict(f"It is in {name} already, since {around.from_on.isoformat()}.", code="there-already", field="enclosure_id")
    if around.from_on == stated.from_on and believed is None:
        raise Conflict(
            f"It was moved to {name} on that day already. To move it on from there, say so in from_enclosure_id.",
            code="moved-already",
            field="from_on",
        )


def _room_for(unit: Unit, beside: _Neighbours, on: date) -> tuple[date | None, UUID | None]:
    """End the placement that a day falls into, and return until when a new one from that day lasts, and the event that ends it, if any."""
    around, after = beside.around, beside.after
    if around is not None:
        until_on, closed_by_id = around.until_on, around.closed_by_id
        if around.from_on == on:
            gone = {"ended_on": on, "end_reason": "moved on the same day"}
            unit.change(around, gone, action="withdraw_placement")
        else:
            unit.change(around, {"until_on": on - DAY, "closed_by_id": None}, action="change_placement")
        return until_on, closed_by_id
    return (None, None) if after is None else (after.from_on - DAY, None)


def _before(places: Sequence[Placement], found: Placement, on: date) -> Placement | None:
    """Return the placement that has to end the day before ``on``, on which ``found`` is to begin; none where there is a gap between them.

    Raises:
        Conflict: ``on`` is after the end of ``found``, or reaches into another placement than the one before it.
    """
    if found.until_on is not None and on > found.until_on:
        raise Conflict(f"It ended on {found.until_on.isoformat()}.", code="overlap", field="from_on")
    before = next((one for one in reversed(places) if one.from_on < found.from_on), None)
    if before is None:
        return None
    if before.from_on >= on:
        raise Conflict(f"From {before.from_on.isoformat()} it was elsewhere.", code="overlap", field="from_on")
    touches = before.until_on is None or before.until_on >= on or before.until_on == found.from_on - DAY
    return before if touches else None


def _placement(
    unit: Unit,
    animal: Animal,
    place: Enclosure,
    stated: PlacementStated,
    *,
    record_id: UUID | None,
    until_on: date | None,
    closed_by_id: UUID | None,
) -> Placement:
    number = number_there(unit, animal, on=stated.from_on)
    fitness = decided(unit, animal, place, on=stated.from_on, number=number, override_reason=stated.override_reason)
    made = Placement.model_construct(
        fitness=fitness,
        enclosure_id=place.id,
        from_on=stated.from_on,
        until_on=until_on,
        override_reason=stated.override_reason,
        note=stated.note,
        closed_by_id=closed_by_id,
        animal_id=animal.id,
        organisation_id=unit.organisation_id,
        id=record_id or unit.new_id(),
        created_at=unit.origin.at,
    )
    return unit.add(made, action="register_placement")


def _now_in(unit: Unit, animal: Animal, place: Enclosure) -> None:
    """Have the animal's record say that it is in an enclosure, and its documents that they are at that site."""
    unit.change(unit.fetch(Animal, animal.id), {"enclosure_id": place.id}, action="move_animal")
    before = unit.find(Enclosure, animal.enclosure_id) if animal.enclosure_id else None
    if before is None or before.site_id != place.site_id:
        follow(unit, animal.id, place.site_id)
