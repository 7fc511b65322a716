"""An animal's life, or a counted group's, as its dated events make it: how many there are, and in which state, on every day.

The events are the facts; states and numbers follow from them. Whatever is registered late, corrected or withdrawn, the life is made anew
from the events that are left, and what cannot be true is refused at the event where it shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from itertools import zip_longest
from typing import Protocol
from uuid import UUID

DAY = timedelta(days=1)


class EventKind(StrEnum):
    """What can happen to an animal or a group."""

    ACQUIRED = "acquired"
    BORN = "born"
    HATCHED = "hatched"
    LAID = "laid"
    SPLIT_FROM = "split_from"
    RETURNED = "returned"
    JOINED_BY = "joined_by"
    DIED = "died"
    DEPARTED = "departed"
    SPLIT_OFF = "split_off"
    HATCHED_OUT = "hatched_out"
    JOINED = "joined"
    COUNTED = "counted"
    ESTIMATED = "estimated"
    ESCAPED = "escaped"
    FOUND = "found"
    SENT_AWAY = "sent_away"
    CAME_BACK = "came_back"
    SEXED = "sexed"
    STAGED = "staged"


class Sex(StrEnum):
    """The sex of an animal, or of all animals of a group (Darwin Core ``sex``); ``mixed`` is for groups only."""

    FEMALE = "female"
    MALE = "male"
    HERMAPHRODITE = "hermaphrodite"
    MIXED = "mixed"
    UNKNOWN = "unknown"


class LifeStage(StrEnum):
    """How far an animal has grown (Darwin Core ``lifeStage``). A clutch is a group at stage egg."""

    EGG = "egg"
    LARVA = "larva"
    NEONATE = "neonate"
    JUVENILE = "juvenile"
    SUBADULT = "subadult"
    ADULT = "adult"
    UNKNOWN = "unknown"


class Origin(StrEnum):
    """Where an animal comes from in the first place."""

    CAPTIVE_BRED = "captive_bred"
    FARMED = "farmed"
    WILD = "wild"
    UNKNOWN = "unknown"


class Status(StrEnum):
    """Whether the animal is in the collection's keeping."""

    PRESENT = "present"
    AWAY = "away"
    MISSING = "missing"
    DEAD = "dead"
    DEPARTED = "departed"
    MERGED = "merged"


class Grouping(StrEnum):
    """Whether a record is one animal or a counted group."""

    INDIVIDUAL = "individual"
    GROUP = "group"


OPENING = frozenset({EventKind.ACQUIRED, EventKind.BORN, EventKind.HATCHED, EventKind.LAID, EventKind.SPLIT_FROM})
"""What a life in the collection begins with."""
ADDING = OPENING | {EventKind.RETURNED, EventKind.JOINED_BY}
TAKING = frozenset({EventKind.DIED, EventKind.DEPARTED, EventKind.SPLIT_OFF, EventKind.HATCHED_OUT, EventKind.JOINED})
COUNTING = frozenset({EventKind.COUNTED, EventKind.ESTIMATED})
BIRTHS = frozenset({EventKind.BORN, EventKind.HATCHED, EventKind.LAID})
ARRIVALS = frozenset({EventKind.ACQUIRED, EventKind.RETURNED})
BETWEEN_RECORDS = frozenset({EventKind.SPLIT_FROM, EventKind.JOINED_BY, EventKind.SPLIT_OFF, EventKind.HATCHED_OUT, EventKind.JOINED})
"""What happens to two records at once: animals go from one to the other, and their sum stays. Eggs go on as what has hatched of them."""
GONE = frozenset({Status.DEAD, Status.DEPARTED, Status.MERGED})

_AFTER_TAKING = {
    EventKind.DIED: Status.DEAD,
    EventKind.DEPARTED: Status.DEPARTED,
    EventKind.SPLIT_OFF: Status.MERGED,
    EventKind.HATCHED_OUT: Status.MERGED,
    EventKind.JOINED: Status.MERGED,
}
_TURNS: Mapping[EventKind, tuple[tuple[Status, ...], Status]] = {
    EventKind.ESCAPED: ((Status.PRESENT, Status.AWAY), Status.MISSING),
    EventKind.FOUND: ((Status.MISSING,), Status.PRESENT),
    EventKind.SENT_AWAY: ((Status.PRESENT,), Status.AWAY),
    EventKind.CAME_BACK: ((Status.AWAY,), Status.PRESENT),
}
"""What an event turns from which states into which. Who escaped while it was away is away still when it is found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened on a day. ``number`` is how many animals it is about; in a count, how many were found.

    ``told_at`` is the instant at which it was registered, which orders the events of one day. ``sex`` and ``life_stage`` are what is known
    since; ``None`` says nothing.
    """

    id: UUID
    kind: EventKind
    on: date
    told_at: datetime
    number: int = 1
    sex: Sex | None = None
    life_stage: LifeStage | None = None


@dataclass(frozen=True, slots=True)
class State:
    """What the animals are at the end of each day from ``from_on`` to ``until_on``, both included; open where ``until_on`` is none."""

    from_on: date
    until_on: date | None
    status: Status
    sex: Sex
    life_stage: LifeStage


@dataclass(frozen=True, slots=True)
class Life:
    """What follows from a record's events: its states in order, what each event changes the number by, and how it stands now.

    ``ended_on`` is the day on which the last of its animals died or left, ``None`` while some are kept.
    """

    states: tuple[State, ...]
    changes: Mapping[UUID, int]
    number: int
    estimated: bool
    ended_on: date | None

    @property
    def now(self) -> State:
        """The state that it is in."""
        return self.states[-1]


class WhatHolds(Protocol):
    """A state, as a rule gives it or as it is on record."""

    from_on: date
    until_on: date | None
    status: Status


def presences(states: Iterable[WhatHolds]) -> list[tuple[date, date | None]]:
    """Return the stretches of days on which animals were here, in order; the day on which they went is the last of its stretch.

    What goes and comes back on one day was here all along, as days are told by their ends; what went on the day that it came was here that
    day.
    """
    found: list[tuple[date, date | None]] = []
    for state in states:
        if state.status is not Status.PRESENT:
            if not found:
                found.append((state.from_on, state.from_on))
            continue
        went_on = None if state.until_on is None else state.until_on + DAY
        if found and found[-1][1] == state.from_on:
            found[-1] = (found[-1][0], went_on)
        else:
            found.append((state.from_on, went_on))
    return found


def stays(starts: Sequence[date], states: Iterable[WhatHolds]) -> list[Stay | None]:
    """Return until when each placement lasts, by the days on which they begin, in order; ``None`` for one that begins while nobody is here.

    It lasts until the eve of the next one, or until the day on which the animals went, whichever comes first.
    """
    here = presences(states)
    found: list[Stay | None] = []
    for start, after in zip_longest(starts, starts[1:]):
        own = next((one for one in reversed(here) if one[0] <= start and (one[1] is None or start <= one[1])), None)
        if own is None:
            found.append(None)
        elif after is not None and (own[1] is None or after <= own[1]):
            found.append(Stay(after - DAY, went=False))
        else:
            found.append(Stay(own[1], went=own[1] is not None))
    return found


@dataclass(frozen=True, slots=True)
class Stay:
    """The last day of a placement, none while it lasts; ``went`` says that the animals went on it, rather than to another place."""

    until_on: date | None
    went: bool


class LifeBroken(ValueError):  # noqa: N818 - a property of the events, not of the program
    """Events that cannot all be true. ``event`` is the one where it shows."""

    def __init__(self, sentence: str, *, code: str, event: Event | None = None) -> None:
        super().__init__(sentence)
        self.code = code
        self.event = event


@dataclass(slots=True)
class _Course:
    """A life as far as it has been read."""

    grouping: Grouping
    number: int = 0
    estimated: bool = False
    status: Status | None = None
    sex: Sex = Sex.UNKNOWN
    life_stage: LifeStage = LifeStage.UNKNOWN
    departed: int = 0
    escaped_from: Status | None = None
    ended_on: date | None = None
    states: list[State] = field(default_factory=list)
    changes: dict[UUID, int] = field(default_factory=dict)


def life_of(events: Iterable[Event], *, grouping: Grouping) -> Life:
    """Return the life that events make, whatever order they are given in.

    On one day a life begins first, and a single animal's ends last; in between, events follow one another as they were registered.

    Raises:
        LifeBroken: They cannot all be true: more leave than are there, something happens before the beginning or after the end.
    """
    course = _Course(grouping)
    for event in _in_order(events, grouping):
        _refuse_untimely(course, event)
        _take(course, event)
    if not course.states:
        raise LifeBroken("A life in the collection begins with an arrival, a birth, a hatching or a clutch.", code="no-beginning")
    return Life(tuple(_joined_up(course.states)), course.changes, course.number, course.estimated, course.ended_on)


def sex_together(one: Sex, other: Sex) -> Sex:
    """Return the sex of a group that animals of two sexes form: mixed where both are known, or either is mixed already."""
    if one is other:
        return one
    return Sex.MIXED if Sex.MIXED in {one, other} or Sex.UNKNOWN not in {one, other} else Sex.UNKNOWN


def stage_together(one: LifeStage, other: LifeStage) -> LifeStage:
    """Return the life stage of a group that animals of two stages form: unknown, where they are not of the same."""
    return one if one is other else LifeStage.UNKNOWN


def mixes_eggs(one: LifeStage, other: LifeStage) -> bool:
    """Return whether one stage is known to be eggs and the other to be none."""
    return LifeStage.UNKNOWN not in {one, other} and (one is LifeStage.EGG) != (other is LifeStage.EGG)


def numbers_of(events: Iterable[Event], *, grouping: Grouping) -> Sequence[tuple[date, int]]:
    """Return the days on which the number changes, each with the number at its end.

    Raises:
        LifeBroken: As ``life_of``.
    """
    known = list(events)
    changes = life_of(known, grouping=grouping).changes
    found: dict[date, int] = {}
    number = 0
    for event in _in_order(known, grouping):
        number += changes[event.id]
        found[event.on] = number
    return list(found.items())


def _in_order(events: Iterable[Event], grouping: Grouping) -> list[Event]:
    known = sorted(events, key=lambda one: (one.on, one.told_at, one.id))
    beginning = next((one for one in known if one.kind in OPENING), None)

    def place_in_day(event: Event) -> int:
        ends = grouping is Grouping.INDIVIDUAL and event.kind in TAKING
        return -1 if event is beginning else int(ends)

    return sorted(known, key=lambda one: (one.on, place_in_day(one)))


def _refuse_untimely(course: _Course, event: Event) -> None:
    """Refuse an event that cannot follow on those before it.

    Raises:
        LifeBroken: It is before the beginning, after the end, or not of what its state allows.
    """
    if course.status is None:
        if event.kind not in OPENING:
            raise LifeBroken(
                f"Nothing is on record before {event.on.isoformat()}: this would have happened before the animal came.",
                code="before-arrival",
                event=event,
            )
        return
    if course.ended_on is not None and event.kind is not EventKind.RETURNED:
        raise LifeBroken(_after_the_end(course), code="after-end", event=event)
    if event.kind is EventKind.RETURNED and not course.departed:
        raise LifeBroken("Only what departed can return.", code="not-departed", event=event)
    if course.grouping is Grouping.INDIVIDUAL and event.kind in OPENING:
        raise LifeBroken(
            "One animal can only come into the collection once; what left before can return.", code="here-already", event=event
        )
    if course.grouping is Grouping.INDIVIDUAL and event.kind is EventKind.JOINED_BY:
        raise LifeBroken("One animal is joined by no others; it joins a group.", code="individual", event=event)
    turn = _TURNS.get(event.kind)
    if turn is not None and course.status not in turn[0]:
        allowed = " or ".join(one.value for one in turn[0])
        raise LifeBroken(f"This can only be said of what is {allowed}; it is {course.status.value}.", code="not-so", event=event)


def _after_the_end(course: _Course) -> str:
    how = {Status.DEAD: "died", Status.DEPARTED: "left", Status.MERGED: "went on into other records"}[course.status or Status.DEAD]
    day = course.ended_on.isoformat() if course.ended_on else ""
    return f"It {how} on {day}; nothing can happen to it after that. What was entered wrongly is withdrawn."


def _take(course: _Course, event: Event) -> None:
    """Take an event into the course of the life.

    Raises:
        LifeBroken: Its number cannot be.
    """
    change = _change_by(course, event)
    course.number += change
    course.changes[event.id] = change
    if event.kind in COUNTING:
        course.estimated = event.kind is EventKind.ESTIMATED
    course.departed -= change if event.kind in {EventKind.DEPARTED, EventKind.RETURNED} else 0
    course.escaped_from = course.status if event.kind is EventKind.ESCAPED else course.escaped_from
    course.status, course.ended_on = _status_after(course, event)
    course.sex = event.sex or course.sex
    course.life_stage = event.life_stage or course.life_stage
    if course.grouping is Grouping.INDIVIDUAL and course.sex is Sex.MIXED:
        raise LifeBroken("One animal is not of mixed sex.", code="not-mixed", event=event)
    _write_down(course, event.on)


def _change_by(course: _Course, event: Event) -> int:
    if event.number < 1:
        raise LifeBroken("This should be about one animal at least.", code="too-few", event=event)
    if course.grouping is Grouping.INDIVIDUAL and event.number != 1:
        raise LifeBroken("This is one animal, not a group.", code="individual", event=event)
    if event.kind is EventKind.RETURNED and event.number > course.departed:
        raise LifeBroken(f"Only {course.departed} departed before {event.on.isoformat()}.", code="too-many", event=event)
    if event.kind in ADDING:
        return event.number
    if event.kind in TAKING:
        if event.number > course.number:
            raise LifeBroken(f"There are only {course.number} on {event.on.isoformat()}.", code="too-many", event=event)
        return -event.number
    if event.kind in COUNTING:
        if course.grouping is Grouping.INDIVIDUAL:
            raise LifeBroken("One animal is not counted; it is there, or missing.", code="individual", event=event)
        return event.number - course.number
    return 0


def _status_after(course: _Course, event: Event) -> tuple[Status | None, date | None]:
    if event.kind in TAKING and course.number == 0:
        return _AFTER_TAKING[event.kind], event.on
    if event.kind is EventKind.FOUND:
        return course.escaped_from, None
    if event.kind in _TURNS:
        return _TURNS[event.kind][1], None
    if course.status is None or (event.kind is EventKind.RETURNED and course.status in GONE):
        return Status.PRESENT, None
    return course.status, course.ended_on


def _write_down(course: _Course, on: date) -> None:
    state = State(on, None, course.status or Status.PRESENT, course.sex, course.life_stage)
    if course.states and course.states[-1].from_on == on:
        course.states[-1] = state
    else:
        course.states.append(state)


def _joined_up(states: Sequence[State]) -> list[State]:
    """Return states without a gap, each until the day before the next; what says the same as the one before it is part of that."""
    distinct: list[State] = []
    for state in states:
        if not distinct or replace(state, from_on=distinct[-1].from_on) != distinct[-1]:
            distinct.append(state)
    until = [later.from_on - DAY for later in distinct[1:]]
    return [replace(state, until_on=day) for state, day in zip(distinct, [*until, None], strict=True)]
