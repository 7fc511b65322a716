"""Whether keeping animals is covered on a day, and on which days of a period it was not.

What the law asks of each animal is decided first; then the permits are assigned so that the fewest animals are left without. It is no legal
advice: local codes, the issuing authority and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from functools import lru_cache
from math import ceil, floor
from uuid import UUID

from domain.rules.law.book import Book
from domain.rules.law.conditions import Number
from domain.rules.law.decision import Bearing, Counted, Decision, Finding, Outcome, conclude
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import Activity, Fact, Predicate, Requirement
from domain.rules.law.selection import selects
from domain.rules.permits import Assignment, DocumentKind, Need, Permit, Share, assign, head_room, valid_until

BINDING = frozenset((Bearing.PROHIBITS, Bearing.CANNOT_DECIDE, Bearing.NEEDS_DOCUMENT, Bearing.NEEDS_MARK))
"""What somebody may answer for not heeding; everything else hinders nothing."""


class Standing(StrEnum):
    """How keeping an animal stands, from best to worst."""

    NOTHING_NEEDED = "nothing_needed"
    COVERED = "covered"
    UNCOVERED = "uncovered"
    CANNOT_DECIDE = "cannot_decide"
    PROHIBITED = "prohibited"


IN_ORDER: tuple[Standing, ...] = (Standing.NOTHING_NEEDED, Standing.COVERED)
"""Standings of animals whose keeping is in order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Override:
    """That a named person answers for not heeding a requirement for an animal, or for all at a site, until a day."""

    id: UUID
    requirement_code: str
    from_on: date
    expires_on: date
    animal_id: UUID | None = None
    site_id: UUID | None = None

    def lifts(self, finding: Finding, subject: Subject, *, on: date) -> bool:
        """Return whether it lifts what a requirement says of an animal on a day."""
        if finding.requirement.code != self.requirement_code or not self.from_on <= on <= self.expires_on:
            return False
        return subject.id == self.animal_id if self.animal_id is not None else subject.site_id == self.site_id


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was found of a need for one of some kinds of documents: which permits cover how many, and how many are without.

    ``lapses_on`` is the last day of the first of these permits to end.
    """

    kinds: tuple[str, ...]
    shares: tuple[Share, ...]
    uncovered: int
    lapses_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How keeping an animal stands on a day, and why; ``lifted`` are findings that somebody answers for not heeding, with the override."""

    subject: Subject
    standing: Standing
    decision: Decision
    answers: tuple[Answer, ...] = ()
    lifted: tuple[tuple[Finding, UUID], ...] = ()

    @property
    def uncovered(self) -> int:
        """How many animals of the record are without a document that they need."""
        return max((one.uncovered for one in self.answers), default=0)

    @property
    def needs_mark(self) -> bool:
        """Whether a mark is missing that a requirement asks for."""
        return any(one.bearing is Bearing.NEEDS_MARK for one in self.decision.findings)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadRoom:
    """How many animals stand against a permit's number, and how many more it allows (``None``: it names no number)."""

    permit_id: UUID
    taken: int
    left: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Standings:
    """All of a day: every animal's coverage in the order given, and what is left of each permit that was good on it."""

    on: date
    coverages: tuple[Coverage, ...]
    head_rooms: tuple[HeadRoom, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LawInForce:
    """What is asked and what was granted: the requirements in all their versions, the kinds of documents, permits, overrides.

    ``jurisdictions`` are the codes of those that are on record.
    """

    jurisdictions: Container[str]
    requirements: Sequence[Requirement]
    kinds: Mapping[str, DocumentKind]
    permits: Sequence[Permit] = ()
    overrides: Sequence[Override] = ()


def standings(
    law: LawInForce,
    subjects: Sequence[Subject],
    *,
    activity: Activity,
    premises: Mapping[UUID | None, Premises],
    on: date,
    counted: Counted | None = None,
) -> Standings:
    """Return how doing something with each of some animals stands on a day.

    ``premises`` are by site; animals of no known place are at premises without a jurisdiction, and cannot be decided. Animals come in the
    order given: where permits do not suffice, the first are covered. ``counted`` says how many animals are at premises, where it is not
    these that count there.
    """
    book = Book(law.requirements, known=law.jurisdictions, on=on)
    number = Counting(subjects, on=on).number if counted is None else counted
    nowhere = Premises()
    decided = [book.decide(one, activity=activity, premises=premises.get(one.site_id, nowhere), counted=number) for one in subjects]
    lifted = [_lifted(decision, one, law.overrides, on=on) for decision, one in zip(decided, subjects, strict=True)]
    needs = [
        (place, Need(subject=one, activity=activity, kinds=kinds))
        for place, (one, (decision, _)) in enumerate(zip(subjects, lifted, strict=True))
        for kinds in least(decision.documents)
    ]
    found = assign([need for _, need in needs], law.permits, law.kinds, on=on)
    ends = {one.id: valid_until(one, law.kinds[one.kind]) for one in law.permits if one.kind in law.kinds}
    answers: dict[int, list[Answer]] = {}
    for index, (place, need) in enumerate(needs):
        answers.setdefault(place, []).append(_answer(found, index, need, ends))
    coverages = tuple(
        Coverage(
            subject=one,
            standing=standing_of(decision, answers.get(place, ())),
            decision=decision,
            answers=tuple(answers.get(place, ())),
            lifted=lifts,
        )
        for place, (one, (decision, lifts)) in enumerate(zip(subjects, lifted, strict=True))
    )
    return Standings(on=on, coverages=coverages, head_rooms=_head_rooms(law, found, ends, on=on))


def standing_of(decision: Decision, answers: Iterable[Answer]) -> Standing:
    """Return how an animal stands by what was decided and which documents there are."""
    match decision.outcome:
        case Outcome.PROHIBITED:
            return Standing.PROHIBITED
        case Outcome.CANNOT_DECIDE:
            return Standing.CANNOT_DECIDE
        case Outcome.PERMITTED:
            return Standing.NOTHING_NEEDED
        case Outcome.WITH_DOCUMENTS:
            marked = not any(one.bearing is Bearing.NEEDS_MARK for one in decision.findings)
            return Standing.COVERED if marked and not any(one.uncovered for one in answers) else Standing.UNCOVERED


@lru_cache(maxsize=4_096)
def least(documents: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], ...]:
    """Return the needs that imply the others: who has one of few kinds has one of more, and no animal takes two places for that."""
    sets = list(dict.fromkeys(documents))
    return tuple(one for one in sets if not any(set(other) < set(one) for other in sets))


def _answer(found: Assignment, index: int, need: Need, ends: Mapping[UUID, date | None]) -> Answer:
    shares = found.shares.get(index, ())
    last_days = [last for one in shares if (last := ends[one.permit_id]) is not None]
    return Answer(kinds=need.kinds, shares=shares, uncovered=found.uncovered.get(index, 0), lapses_on=min(last_days, default=None))


def _head_rooms(law: LawInForce, found: Assignment, ends: Mapping[UUID, date | None], *, on: date) -> tuple[HeadRoom, ...]:
    good = (one for one in law.permits if one.id in ends and one.valid_from <= on and ((last := ends[one.id]) is None or on <= last))
    rooms = ((one, found.taken.get(one.id, 0)) for one in good)
    return tuple(HeadRoom(permit_id=one.id, taken=taken, left=head_room(one, taken)) for one, taken in rooms)


def _lifted(
    decision: Decision, subject: Subject, overrides: Sequence[Override], *, on: date
) -> tuple[Decision, tuple[tuple[Finding, UUID], ...]]:
    """Return a decision without what somebody answers for not heeding, and that."""
    lifted: list[tuple[Finding, UUID]] = []
    heeded: list[Finding] = []
    for finding in decision.findings:
        own = next((one for one in overrides if one.lifts(finding, subject, on=on)), None) if finding.bearing in BINDING else None
        if own is None:
            heeded.append(finding)
        else:
            lifted.append((finding, own.id))
    if not lifted:
        return decision, ()
    of_findings = frozenset[str]().union(*(one.missing for one in decision.findings))
    return conclude(heeded, missing=decision.missing - of_findings), tuple(lifted)


def turning_days(law: LawInForce) -> Iterator[date]:
    """Yield the days from which what is asked, granted or overridden is another than on their eve, some more than once."""
    for one in law.requirements:
        yield one.applies_from
        yield from _after(one.applies_until, *(exemption.until for exemption in one.exemptions))
        yield from (day for entry in one.selector.any_of if (day := entry.applies_from) is not None)
        yield from (day for day in (one.listed_on,) if day is not None)
    for permit in law.permits:
        yield permit.valid_from
        if permit.kind in law.kinds:
            yield from _after(valid_until(permit, law.kinds[permit.kind]))
    for override in law.overrides:
        yield override.from_on
        yield from _after(override.expires_on)


def ages_asked(law: LawInForce) -> frozenset[int]:
    """Return the ages [full months] at which a requirement, or what it exempts, may turn."""
    asked = (one.number for rule in law.requirements for one in _predicates(rule) if one.fact == Fact.AGE_MONTHS and one.number is not None)
    return frozenset(age for number in asked for age in (ceil(number), floor(number) + 1))


def freshness_asked(law: LawInForce) -> frozenset[int]:
    """Return how old [days] measurements may be where a requirement, or what it exempts, bounds that."""
    asked = (one.measured_within_days for rule in law.requirements for one in _predicates(rule))
    return frozenset(days for days in asked if days is not None)


def _after(*days: date | None) -> Iterator[date]:
    yield from (day + timedelta(days=1) for day in days if day is not None and day < date.max)


class Counting:
    """How many animals at premises a requirement selects, counted once for each requirement that asks."""

    def __init__(self, subjects: Iterable[Subject], *, on: date) -> None:
        """Sort the animals by where they are."""
        self._on = on
        self._at: dict[UUID | None, list[Subject]] = {}
        for one in subjects:
            self._at.setdefault(one.site_id, []).append(one)
        self._known: dict[tuple[str, str, UUID | None], Number] = {}

    def number(self, requirement: Requirement, premises: Premises) -> Number | None:
        """Return how many there are, ``None`` where the requirement does not ask."""
        if not any(one.fact == Fact.NUMBER for one in _predicates(requirement)):
            return None
        key = (requirement.code, requirement.version, premises.site_id)
        if key not in self._known:
            self._known[key] = self._count(requirement, premises.site_id)
        return self._known[key]

    def _count(self, requirement: Requirement, site_id: UUID | None) -> Number:
        low = high = 0
        for one in self._at.get(site_id, ()):
            selected = selects(requirement.selector, one, on=self._on)
            low += one.number if selected.is_true else 0
            high += 0 if selected.is_false else one.number
        return Number(low, high)


def _predicates(requirement: Requirement) -> Iterable[Predicate]:
    yield from requirement.when
    for one in requirement.exemptions:
        yield from one.when


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days on end, both ends included, on which an animal stood alike."""

    from_on: date
    until_on: date
    standing: Standing

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.until_on - self.from_on).days + 1


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Return stretches in the order of their days, where those that touch and stand alike are one."""
    found: list[Stretch] = []
    for one in sorted(stretches, key=lambda stretch: stretch.from_on):
        if found and found[-1].standing is one.standing and (one.from_on - found[-1].until_on).days == 1:
            found[-1] = replace(found[-1], until_on=one.until_on)
        else:
            found.append(one)
    return found
