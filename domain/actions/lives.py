"""What happens to animals and groups: events are put on record or withdrawn, and the life is made anew from those that are left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, recorded, refuse_later_than
from domain.actions.sites import today_at
from domain.actions.transfers.lines import GOING, days_of
from domain.errors import Conflict, RuleBroken
from domain.records.animals import Animal, AnimalEvent, AnimalEventStated, AnimalFacts, AnimalState, Placement
from domain.records.base import Record, table_of
from domain.records.enclosures import Enclosure
from domain.records.marks import Mark
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.transfers import Transfer
from domain.records.unit import Unit
from domain.rules.lives import BETWEEN_RECORDS, OPENING, Event, EventKind, Life, LifeBroken, State, Status, Stay, life_of, stays
from domain.rules.text import same_name

TOLD_BY_EVENT = frozenset(EventKind) - OPENING - BETWEEN_RECORDS | {EventKind.BORN, EventKind.HATCHED, EventKind.LAID, EventKind.ACQUIRED}
"""What can be told of an animal that is here; animals go from one record to another by splitting and merging."""
_COMES_OR_GOES = frozenset({EventKind.SENT_AWAY, EventKind.CAME_BACK, EventKind.DEPARTED, EventKind.RETURNED})
_FIELD_OF = {"too-few": "number", "too-many": "number", "individual": "number", "not-mixed": "sex"}


def of_animal(record: type[Record], *order: str) -> Statement:
    """Return the statement for the kept records of a kind that belong to an animal, in an order."""
    table = table_of(record)
    return Statement(
        sa.select(table)
        .where(
            table.c.organisation_id == sa.bindparam("organisation_id"),
            table.c.animal_id == sa.bindparam("animal_id"),
            table.c.ended_on.is_(None),
        )
        .order_by(*(table.c[name] for name in order))
    )


EVENTS_OF = of_animal(AnimalEvent, "happened_on", "created_at", "id")
STATES_OF = of_animal(AnimalState, "from_on")
PLACEMENTS_OF = of_animal(Placement, "from_on")
MARKS_OF = of_animal(Mark, "from_on", "id")


@dataclass(frozen=True, slots=True)
class Told:
    """An event that was put on record, and the animal as it stands since."""

    event: AnimalEvent
    animal: Animal


def today_of(unit: Unit, animal: Animal) -> date:
    """Return the date that it is where an animal is; in UTC while it has no place."""
    place = unit.find(Enclosure, animal.enclosure_id) if animal.enclosure_id else None
    return max(unit.origin.at.date(), unit.told_day) if place is None else today_at(unit, unit.fetch(Site, place.site_id))


def record_event(unit: Unit, animal_id: UUID, stated: AnimalEventStated, *, record_id: UUID | None = None) -> Told:
    """Put on record what happened to an animal or a group.

    Raises:
        RuleBroken: It has not happened yet, it cannot have happened, or it is told in another way.
        Conflict: It is under way with a transfer, and would come or go by something else.
    """
    animal = unit.fetch_reached(Animal, animal_id)
    if stated.kind not in TOLD_BY_EVENT:
        raise RuleBroken(
            "Animals go from one record to another by a split or a merge, so that both records say it.",
            code="between-records",
            field="kind",
        )
    refuse_later_than(today_of(unit, animal), field="happened_on", on=stated.happened_on)
    _refuse_under_way(unit, animal, stated)
    event = add_event(unit, animal, stated, record_id=record_id)
    return Told(event, relived(unit, animal, latest=event))


def _refuse_under_way(unit: Unit, animal: Animal, stated: AnimalEventStated | AnimalEvent) -> None:
    """Refuse that an animal under way with a transfer comes or goes by anything but that, or has not left by it.

    Raises:
        Conflict: It is under way since before that happened.
    """
    if stated.kind not in _COMES_OR_GOES:
        return
    transfer = unit.first(Transfer, GOING, animal_id=animal.id)
    if transfer is not None and stated.happened_on >= days_of(unit, transfer).dispatch_on:
        sentence = f"It is under way with transfer {transfer.reference}: say there that it is received, or refused."
        raise Conflict(sentence, code="under-way", field="kind")


def withdraw_event(unit: Unit, event_id: UUID, ending: Ending, *, owner_id: UUID) -> Told:
    """Withdraw an event that was entered wrongly, with its counterpart where animals went from one record to another.

    Raises:
        NotFound: The animal has no such event.
        RuleBroken: What is left cannot be true.
        Conflict: It was withdrawn already; or the animal is under way with a transfer by it.
    """
    animal = unit.fetch_reached(Animal, owner_id)
    found = event_of(unit, animal, event_id)
    _refuse_under_way(unit, animal, found)
    withdrawn = _withdrawn(unit, found, ending, today=today_of(unit, animal))
    animal = relived(unit, animal, reason=ending.reason)
    if found.other_event_id is not None and found.other_animal_id is not None:
        other = unit.fetch_reached(Animal, found.other_animal_id)
        _withdrawn(unit, unit.fetch(AnimalEvent, found.other_event_id), ending, today=today_of(unit, other))
        relived(unit, other, reason=ending.reason)
    return Told(withdrawn, animal)


def event_of(unit: Unit, animal: Animal, event_id: UUID) -> AnimalEvent:
    """Return an event of an animal.

    Raises:
        NotFound: It has none of that id.
    """
    found = unit.fetch(AnimalEvent, event_id)
    return found if found.animal_id == animal.id else unit.fetch(AnimalEvent, animal.id)


def come_to_life(
    unit: Unit,
    facts: AnimalFacts,
    arrival: AnimalEventStated,
    *,
    record_id: UUID | None = None,
    event_id: UUID | None = None,
    other: tuple[UUID, UUID] | None = None,
    **columns: Any,  # noqa: ANN401 - columns of any type
) -> Animal:
    """Put an animal or group on record with the event by which it came, and return it; ``other`` as in ``add_event``.

    Raises:
        RuleBroken: The arrival cannot be true of it.
    """
    coming = Event(
        id=event_id or unit.new_id(),
        kind=arrival.kind,
        on=arrival.happened_on,
        told_at=unit.origin.at,
        number=arrival.number,
        sex=arrival.sex,
        life_stage=arrival.life_stage,
    )
    try:
        life = life_of([coming], grouping=facts.grouping)
    except LifeBroken as broken:
        raise RuleBroken(str(broken), code=broken.code, field=_FIELD_OF.get(broken.code, "")) from None
    animal = recorded(unit, Animal, facts, record_id=record_id, tag_key=same_name(facts.tag), **_standing(life, []), **columns)
    add_event(unit, animal, arrival, record_id=coming.id, other=other, change=life.number)
    _write_states(unit, animal, life.states)
    return animal


def add_event(
    unit: Unit,
    animal: Animal,
    stated: AnimalEventStated,
    *,
    record_id: UUID | None = None,
    other: tuple[UUID, UUID] | None = None,
    **columns: Any,  # noqa: ANN401 - columns of any type
) -> AnimalEvent:
    """Add an event to an animal's record and return it; ``other`` are the record and the event at the other end of a move."""
    facts = {name: getattr(stated, name) for name in AnimalEventStated.model_fields}
    made = AnimalEvent.model_construct(
        **facts,
        **columns,
        animal_id=animal.id,
        other_animal_id=other[0] if other else None,
        other_event_id=other[1] if other else None,
        organisation_id=unit.organisation_id,
        id=record_id or unit.new_id(),
        created_at=unit.origin.at,
    )
    return unit.add(made, action="record_animal_event")


def relived(unit: Unit, animal: Animal, *, latest: AnimalEvent | None = None, reason: str | None = None) -> Animal:
    """Make an animal's life anew from its events and return the animal as it stands since. ``latest`` is the event just added.

    Where no event is left, the animal was never here: its record ends.

    Raises:
        RuleBroken: The events cannot all be true; the field that would be mended is named.
        Conflict: It was placed somewhere after the day on which it died or left.
    """
    events = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)
    if not events:
        return _never_here(unit, animal, reason=reason)
    life = _life(events, animal, latest=latest)
    for event in events:
        unit.change(event, {"change": life.changes[event.id]}, action="count_animals")
    _write_states(unit, animal, life.states)
    _close_and_open(unit, animal, life, events=events)
    return unit.change(animal, _standing(life, events), action="relive_animal", reason=reason)


def _life(events: Sequence[AnimalEvent], animal: Animal, *, latest: AnimalEvent | None) -> Life:
    try:
        return life_of(map(_told, events), grouping=animal.grouping)
    except LifeBroken as broken:
        raise RuleBroken(_where(broken, latest), code=broken.code, field=_FIELD_OF.get(broken.code, "happened_on")) from None


def _told(one: AnimalEvent) -> Event:
    return Event(
        id=one.id,
        kind=one.kind,
        on=one.happened_on,
        told_at=one.created_at,
        number=one.number,
        sex=one.sex,
        life_stage=one.life_stage,
    )


def _where(broken: LifeBroken, latest: AnimalEvent | None) -> str:
    if broken.event is None or latest is None or broken.event.id == latest.id:
        return str(broken)
    return f"With this, what is on record for {broken.event.on.isoformat()} ({broken.event.kind.value}) could not be: {broken}"


def _standing(life: Life, events: Sequence[AnimalEvent]) -> dict[str, Any]:
    """Return what an animal's record says of how it stands."""
    return {
        "count": life.number,
        "estimated": life.estimated,
        "sex": life.now.sex,
        "life_stage": life.now.life_stage,
        "status": life.now.status,
        "came_on": life.states[0].from_on,
        "ended_on": life.ended_on,
        "end_reason": None if life.ended_on is None else _how_it_ended(life, events),
    }


def _how_it_ended(life: Life, events: Sequence[AnimalEvent]) -> str:
    if life.now.status is Status.MERGED:
        return "went on into other records"
    kind = EventKind.DIED if life.now.status is Status.DEAD else EventKind.DEPARTED
    last = next(one for one in reversed(events) if one.kind is kind)
    said = (last.basis.value.replace("_", " ") if last.basis else None, last.party, last.cause)
    return ": ".join((kind.value, ", ".join(one for one in said if one)))[:120].removesuffix(": ")


def _never_here(unit: Unit, animal: Animal, *, reason: str | None) -> Animal:
    today, why = today_of(unit, animal), reason or "entered by mistake"
    for record, statement in ((AnimalState, STATES_OF), (Placement, PLACEMENTS_OF), (Mark, MARKS_OF)):
        for one in unit.all(record, statement, animal_id=animal.id):
            gone = {"ended_on": today, "end_reason": why} | ({"live_key": None} if record is Mark else {})
            unit.change(one, gone, action=f"withdraw_{one.noun}", reason=why)
    return unit.change(animal, {"count": 0, "ended_on": today, "end_reason": why}, action="end_animal", reason=why)


def _write_states(unit: Unit, animal: Animal, wanted: Sequence[State]) -> None:
    """Have the stored states be the wanted ones; what the journal said of them before stays there."""
    stored = {one.from_on: one for one in unit.all(AnimalState, STATES_OF, animal_id=animal.id)}
    days = {state.from_on for state in wanted}
    for day, one in stored.items():
        if day not in days:
            unit.change(one, {"ended_on": unit.origin.at.date(), "end_reason": "made anew"}, action="withdraw_animal_state")
    for state in wanted:
        facts = {"until_on": state.until_on, "status": state.status, "sex": state.sex, "life_stage": state.life_stage}
        if state.from_on in stored:
            unit.change(stored[state.from_on], facts, action="change_animal_state")
    for state in wanted:
        if state.from_on not in stored:
            facts = {"until_on": state.until_on, "status": state.status, "sex": state.sex, "life_stage": state.life_stage}
            unit.add(_made(unit, AnimalState, animal_id=animal.id, from_on=state.from_on, **facts), action="register_animal_state")


def _close_and_open(unit: Unit, animal: Animal, life: Life, *, events: Sequence[AnimalEvent]) -> None:
    """End placements and marks that an event ends, and open again what an event ended that is not on record any more.

    Raises:
        Conflict: It was placed somewhere on a day on which it was not here.
    """
    settle_places(unit, animal)
    _settle_marks(unit, animal, kept={one.id for one in events}, ended=_last_event_on(events, life.ended_on))


def _last_event_on(events: Sequence[AnimalEvent], day: date | None) -> AnimalEvent | None:
    return None if day is None else [one for one in events if one.happened_on <= day][-1]


def stays_of(unit: Unit, animal_id: UUID, starts: Sequence[date]) -> list[Stay | None]:
    """Return until when placements of an animal last that begin on some days, by the states on record."""
    return stays(starts, unit.all(AnimalState, STATES_OF, animal_id=animal_id))


def went_by(unit: Unit, animal_id: UUID, stay: Stay) -> UUID | None:
    """Return the event by which animals went on the last day of a placement, ``None`` where they did not."""
    if not stay.went:
        return None
    found = _last_event_on(unit.all(AnimalEvent, EVENTS_OF, animal_id=animal_id), stay.until_on)
    return None if found is None else found.id


def settle_places(unit: Unit, animal: Animal) -> None:
    """Have every placement of an animal last as long as follows from the placements after it and from when the animal was here.

    Raises:
        Conflict: One begins on a day on which the animal was not here.
    """
    places = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)
    wanted: list[tuple[Placement, dict[str, Any]]] = []
    for place, stay in zip(places, stays_of(unit, animal.id, [one.from_on for one in places]), strict=True):
        if stay is None:
            raise Conflict(
                f"It was placed somewhere on {place.from_on.isoformat()}, and was not here then. Withdraw that placement first.",
                code="placed-later",
            )
        facts = {"until_on": stay.until_on, "closed_by_id": went_by(unit, animal.id, stay)}
        if any(getattr(place, name) != value for name, value in facts.items()):
            wanted.append((place, facts))
    # What ends earlier makes room for what ends later: the database lets no two overlap in between.
    for place, facts in sorted(wanted, key=lambda each: (each[1]["until_on"] or date.max) > (each[0].until_on or date.max)):
        unit.change(place, facts, action="change_placement")


def _settle_marks(unit: Unit, animal: Animal, *, kept: set[UUID], ended: AnimalEvent | None) -> None:
    """Let the codes of an animal's marks be taken by others once it is gone, and claim them again if it is not.

    Raises:
        Conflict: Another animal bears such a code meanwhile.
    """
    for mark in unit.all(Mark, MARKS_OF, animal_id=animal.id):
        if mark.closed_by_id is not None and mark.closed_by_id not in kept:
            again = {"until_on": None, "closed_by_id": None, "live_key": mark.key_among_living}
            mark = unit.change(mark, again, action="change_mark")  # noqa: PLW2901 - the same mark, opened again
        if ended is not None and mark.until_on is None:
            until = max(ended.happened_on, mark.from_on)
            unit.change(mark, {"until_on": until, "closed_by_id": ended.id, "live_key": None}, action="change_mark")


def _withdrawn(unit: Unit, found: AnimalEvent, ending: Ending, *, today: date) -> AnimalEvent:
    if found.ended_on is not None:
        raise Conflict(f"This event was withdrawn on {found.ended_on.isoformat()} already.", code="ended")
    gone: Mapping[str, Any] = {"ended_on": today, "end_reason": ending.reason}
    return unit.change(found, gone, action="withdraw_animal_event", reason=ending.reason)


def _made(unit: Unit, record: type[Any], **columns: Any) -> Any:  # noqa: ANN401 - columns of any record
    return record.model_construct(**columns, organisation_id=unit.organisation_id, id=unit.new_id(), created_at=unit.origin.at)
