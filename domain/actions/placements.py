"""Putting animals into enclosures, and correcting what was said of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.documents import follow
from domain.actions.fitness import decided, number_there
from domain.actions.lives import PLACEMENTS_OF, STATES_OF, settle_places, stays_of, today_of, went_by
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
    return put(unit, unit.fetch_reached(Animal, animal_id), stated, record_id=record_id)


def put(unit: Unit, animal: Animal, stated: MoveStated, *, record_id: UUID | None = None) -> Placement:
    """Put an animal or a group into an enclosure as ``place_animal`` does, wherever it was until then.

    Raises:
        RuleBroken, Conflict: As for placing.
    """
    place = referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id")
    refuse_later_than(today_at(unit, unit.fetch(Site, place.site_id)), field="from_on", on=stated.from_on)
    state_here(unit, animal, on=stated.from_on, field="from_on")
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    beside = _beside(places, stated.from_on)
    _refuse_mistaken_move(unit, beside.around, stated)
    _make_room(unit, beside.around, stated.from_on)
    follow_on = () if beside.after is None else (beside.after.from_on,)
    stay, *_ = stays_of(unit, animal.id, (stated.from_on, *follow_on))
    assert stay is not None, "nobody is placed who is not here"  # noqa: S101 - refused above
    closed_by_id = went_by(unit, animal.id, stay)
    made = _placement(unit, animal, place, stated, record_id=record_id, until_on=stay.until_on, closed_by_id=closed_by_id)
    _say_where(unit, animal)
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
    state_here(unit, animal, on=stated.from_on, field="from_on")
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    if stated.from_on != found.from_on:
        _refuse_passing(places, found, stated.from_on)
        _make_room(unit, next((one for one in places if one.id != found.id and _holds(one, stated.from_on)), None), stated.from_on)
    changed = corrected(unit, found, stated, **_decided_anew(unit, animal, place, found, stated))
    settle_places(unit, animal)
    _say_where(unit, animal)
    return unit.fetch(Placement, changed.id)


def end_placement(unit: Unit, placement_id: UUID, ending: Ending, *, owner_id: UUID) -> Placement:
    """Withdraw a placement that was entered wrongly, and return it. The one before it goes on in its stead.

    Raises:
        Conflict: It was withdrawn already.
    """
    animal = unit.fetch_reached(Animal, owner_id)
    found = unit.fetch(Placement, placement_id)
    _refuse_of_another(found, animal)
    gone = ended(unit, found, ending, today=today_of(unit, animal))
    settle_places(unit, animal)
    _say_where(unit, animal)
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


def state_here(unit: Unit, animal: Animal, *, on: date, field: str) -> AnimalState:
    """Return the state that an animal was in at the end of a day on which it was in the collection's hands.

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
    return there


def _beside(places: Sequence[Placement], on: date) -> _Neighbours:
    around = next((one for one in places if _holds(one, on)), None)
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


def _make_room(unit: Unit, around: Placement | None, on: date) -> None:
    """End the placement that a day falls into on its eve; one that began on that very day is withdrawn."""
    if around is None:
        return
    if around.from_on == on:
        unit.change(around, {"ended_on": on, "end_reason": "moved on the same day"}, action="withdraw_placement")
    else:
        unit.change(around, {"until_on": on - DAY, "closed_by_id": None}, action="change_placement")


def _holds(place: Placement, on: date) -> bool:
    return place.from_on <= on and (place.until_on is None or on <= place.until_on)


def _refuse_passing(places: Sequence[Placement], found: Placement, on: date) -> None:
    """Refuse a new first day of a placement that lies after its end, or not after the beginning of the one before it.

    Raises:
        Conflict: It does.
    """
    if found.until_on is not None and on > found.until_on:
        raise Conflict(f"It ended on {found.until_on.isoformat()}.", code="overlap", field="from_on")
    before = next((one for one in reversed(places) if one.from_on < found.from_on), None)
    if before is not None and before.from_on >= on:
        raise Conflict(f"From {before.from_on.isoformat()} it was elsewhere.", code="overlap", field="from_on")


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


def _say_where(unit: Unit, animal: Animal) -> None:
    """Have the animal's record say which enclosure it is, or was last, in, and its documents that they are at that site."""
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    now = unit.fetch(Enclosure, places[-1].enclosure_id) if places else None
    if animal.enclosure_id == (now.id if now else None):
        return
    before = unit.find(Enclosure, animal.enclosure_id) if animal.enclosure_id else None
    unit.change(unit.fetch(Animal, animal.id), {"enclosure_id": now.id if now else None}, action="move_animal")
    if now is not None and (before is None or before.site_id != now.site_id):
        follow(unit, animal.id, now.site_id)
