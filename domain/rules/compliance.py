"""Whether keeping animals is covered on a day, and on which days of a period it was not.

What the law asks of each animal is decided first; then the permits are assigned so that the fewest animals are left without. It is no legal
advice: local codes, the issuing authority and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from functools import lru_cache, partial
from itertools import pairwise
from math import ceil, floor
from uuid import UUID

from domain.rules.law.book import Book
from domain.rules.law.conditions import Number
from domain.rules.law.decision import Bearing, Counted, Decision, Finding, Outcome, conclude
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import Activity, Fact, Predicate, Requirement
from domain.rules.law.selection import selects
from domain.rules.law.spans import WorkingDays
from domain.rules.permits import Assignment, DocumentKind, Need, Permit, Share, Turn, assign, head_room, valid_until

BINDING = frozenset((Bearing.PROHIBITS, Bearing.CANNOT_DECIDE, Bearing.NEEDS_DOCUMENT, Bearing.NEEDS_MARK))
"""What somebody may answer for not heeding; everything else hinders nothing."""


class Standing(StrEnum):
    """How keeping an animal stands, from best to worst; overridden is what is in order only since somebody answers for the rest."""

    NOTHING_NEEDED = "nothing_needed"
    COVERED = "covered"
    OVERRIDDEN = "overridden"
    UNCOVERED = "uncovered"
    CANNOT_DECIDE = "cannot_decide"
    PROHIBITED = "prohibited"


IN_ORDER: tuple[Standing, ...] = (Standing.NOTHING_NEEDED, Standing.COVERED, Standing.OVERRIDDEN)
"""Standings of animals whose keeping is in order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Override:
    """That a named person answers for not heeding a requirement for an animal, or for all at a site, until a day.

    It is for some activities alone, and for the edition of the requirement that was in force when it began.
    """

    id: UUID
    requirement_code: str
    edition: str
    activities: frozenset[Activity]
    from_on: date
    expires_on: date
    animal_id: UUID | None = None
    site_id: UUID | None = None

    def is_for(self, finding: Finding, *, on: date) -> bool:
        """Return whether it is for a requirement, in its edition, on a day."""
        rule = finding.requirement
        return (rule.code, rule.version) == (self.requirement_code, self.edition) and self.from_on <= on <= self.expires_on

    def reaches(self, subject: Subject, premises: Premises) -> bool:
        """Return whether it is for an animal at premises."""
        return subject.id == self.animal_id if self.animal_id is not None else premises.site_id == self.site_id


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was found of a need for one of some kinds of documents: which permits cover how many, and how many are without.

    ``lapses_on`` is the last day of the first of these permits to end.
    """

    kinds: tuple[str, ...]
    shares: tuple[Share, ...]
    uncovered: int
    lapses_on: date | None


Lifted = tuple[tuple[Finding, UUID], ...]
"""What somebody answers for not heeding, each with the override."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What was decided of an act at one place; ``needs`` are the kinds of documents that are needed there, of each set one."""

    premises: Premises
    decision: Decision
    needs: tuple[tuple[str, ...], ...]
    lifted: Lifted = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How keeping an animal stands on a day, and why; ``lifted`` are findings that somebody answers for not heeding, with the override.

    Of an act that leads to another place, ``places`` are where the animal is and where it is to come, each with what was decided there.
    """

    subject: Subject
    standing: Standing
    decision: Decision
    answers: tuple[Answer, ...] = ()
    lifted: Lifted = ()
    places: tuple[Heard, ...] = ()

    @property
    def uncovered(self) -> int:
        """How many animals of the record are without a document that they need."""
        return max((one.uncovered for one in self.answers), default=0)

    @property
    def needs_mark(self) -> bool:
        """Whether a mark is missing that a requirement asks for."""
        return any(one.bearing is Bearing.NEEDS_MARK for one in self.decision.findings)


@dataclass(frozen=True, slots=True)
class LimitRoom:
    """How many animals of some taxa stand against a permit's number for them, and how many more of them it allows."""

    name: str
    number: int
    taken: int
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadRoom:
    """How many animals stand against a permit's number, and how many more it allows (``None``: it names no number); by taxon as well."""

    permit_id: UUID
    taken: int
    left: int | None
    limits: tuple[LimitRoom, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Standings:
    """All of a day: every animal's coverage in the order given, and what is left of each permit that was good on it.

    ``expected`` are the coverages that young to come would have.
    """

    on: date
    coverages: tuple[Coverage, ...]
    head_rooms: tuple[HeadRoom, ...]
    expected: tuple[Coverage, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LawInForce:
    """What is asked and what was granted: the requirements in all their versions, the kinds of documents, permits, overrides.

    ``jurisdictions`` are the codes of those that are on record; ``permits`` are in the order in which they were registered; ``working`` are
    the working days of the jurisdictions of kinds.
    """

    jurisdictions: Container[str]
    requirements: Sequence[Requirement]
    kinds: Mapping[str, DocumentKind]
    permits: Sequence[Permit] = ()
    overrides: Sequence[Override] = ()
    working: Mapping[str, WorkingDays] = field(default_factory=dict)

    def last_day(self, permit: Permit) -> date | None:
        """Return the last day on which a permit of a known kind is good, ``None`` where it has no end yet."""
        kind = self.kinds[permit.kind]
        return valid_until(permit, kind, working=self.working.get(kind.jurisdiction))

    def is_good(self, permit: Permit, *, on: date) -> bool:
        """Return whether a permit is of a known kind and good on a day."""
        if permit.kind not in self.kinds or on < permit.valid_from:
            return False
        last = self.last_day(permit)
        return last is None or on <= last


def standings(
    law: LawInForce,
    subjects: Sequence[Subject],
    *,
    activity: Activity,
    premises: Mapping[UUID | None, Premises],
    on: date,
    counted: Counted | None = None,
    destination: Premises | None = None,
    missing: frozenset[str] = frozenset(),
    expected: Sequence[Subject] = (),
) -> Standings:
    """Return how doing something with each of some animals stands on a day.

    ``premises`` are by site; animals of no known place are at premises without a jurisdiction, and cannot be decided. An act that leads to
    a ``destination`` is decided there as well; ``missing`` is what else is not known of it. ``counted`` says how many animals are at
    premises, where it is not these that count there. Animals come in the order given: where permits do not suffice, the first are covered;
    but those that no permit can help come after the others, and young that are ``expected`` after all.
    """
    counting = Counting(subjects, on=on)
    acting = _Acting(law, counting, activity=activity, premises=premises, destination=destination, missing=missing, on=on, counted=counted)
    everyone = (*subjects, *expected)
    heard = [acting.heard(one) for one in everyone]
    needs: list[Need] = []
    first = [0]
    for place, (subject, at_places) in enumerate(zip(everyone, heard, strict=True)):
        turn = Turn.EXPECTED if place >= len(subjects) else _turn(at_places)
        for one in at_places:
            needs += [Need(subject=subject, activity=activity, kinds=kinds, premises=one.premises, turn=turn) for kinds in one.needs]
        first.append(len(needs))
    found = assign(needs, law.permits, law.kinds, on=on, working=law.working)
    ends = {one.id: law.last_day(one) for one in law.permits if one.kind in law.kinds}
    answers = (tuple(_answer(found, index, needs[index], ends) for index in range(*span)) for span in pairwise(first))
    coverages = tuple(map(_coverage, everyone, heard, answers))
    return Standings(
        on=on,
        coverages=coverages[: len(subjects)],
        head_rooms=_head_rooms(law, found, ends, on=on),
        expected=coverages[len(subjects) :],
    )


def _turn(heard: tuple[Heard, ...]) -> Turn:
    return Turn.HINDERED if any(one.decision.outcome in _HINDERED for one in heard) else Turn.FIRST


class _Acting:
    """Doing something with animals on a day: what the law says of it where they are, and where they are to come."""

    def __init__(
        self,
        law: LawInForce,
        counting: Counting,
        *,
        activity: Activity,
        premises: Mapping[UUID | None, Premises],
        destination: Premises | None,
        missing: frozenset[str],
        on: date,
        counted: Counted | None,
    ) -> None:
        self._book = Book(law.requirements, known=law.jurisdictions, on=on)
        self._counting, self._number = counting, counting.number if counted is None else counted
        self._overrides = [one for one in law.overrides if activity in one.activities]
        self._activity, self._premises, self._destination, self._on = activity, premises, destination, on
        self._nowhere, self._missing = Premises(), missing
        self._alike: dict[tuple[int, UUID | None], tuple[Heard, ...]] = {}

    def heard(self, subject: Subject) -> tuple[Heard, ...]:
        """Return what is decided of an animal where it is and, where the act leads elsewhere, there."""
        premises = self._premises.get(subject.site_id, self._nowhere)
        decision = self._book.decide(subject, activity=self._activity, premises=premises, counted=self._number)
        if self._destination is not None:
            counted = partial(self._counting.number_with, subject)
            there = self._book.decide(subject, activity=self._activity, premises=self._destination, counted=counted)
            return self._at(subject, premises, decision), self._at(subject, self._destination, there)
        if self._overrides:
            return (self._at(subject, premises, decision),)
        alike = (id(decision), premises.site_id)
        if alike not in self._alike:
            self._alike[alike] = (self._at(subject, premises, decision),)
        return self._alike[alike]

    def _at(self, subject: Subject, premises: Premises, decision: Decision) -> Heard:
        if self._missing:
            decision = conclude(decision.findings, missing=decision.missing | self._missing)
        lifted: Lifted = ()
        if self._overrides:
            decision, lifted = self._lifted(subject, premises, decision)
        return Heard(premises=premises, decision=decision, needs=least(decision.documents), lifted=lifted)

    def _lifted(self, subject: Subject, premises: Premises, decision: Decision) -> tuple[Decision, Lifted]:
        """Return a decision without what somebody answers for not heeding, and that."""
        lifted: list[tuple[Finding, UUID]] = []
        heeded: list[Finding] = []
        for finding in decision.findings:
            own = (one for one in self._overrides if finding.bearing in BINDING and one.is_for(finding, on=self._on))
            override = next((one for one in own if one.reaches(subject, premises)), None)
            if override is None:
                heeded.append(finding)
            else:
                lifted.append((finding, override.id))
        if not lifted:
            return decision, ()
        of_findings = frozenset[str]().union(*(one.missing for one in decision.findings))
        return conclude(heeded, missing=decision.missing - of_findings), tuple(lifted)


_HINDERED = frozenset((Outcome.PROHIBITED, Outcome.CANNOT_DECIDE))
"""Outcomes that no permit changes."""


def _coverage(subject: Subject, heard: tuple[Heard, ...], answers: tuple[Answer, ...]) -> Coverage:
    decision, lifted = heard[0].decision, heard[0].lifted
    if len(heard) > 1:
        missing = frozenset[str]().union(*(one.decision.missing for one in heard))
        decision = conclude([finding for one in heard for finding in one.decision.findings], missing=missing)
        lifted = tuple(each for one in heard for each in one.lifted)
    standing = standing_of(decision, answers)
    return Coverage(
        subject=subject,
        standing=Standing.OVERRIDDEN if lifted and standing in IN_ORDER else standing,
        decision=decision,
        answers=answers,
        lifted=lifted,
        places=heard if len(heard) > 1 else (),
    )


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
    """Return the needs that imply the others, each once in whichever order its kinds are said: who has one of few has one of more."""
    kinds: dict[frozenset[str], tuple[str, ...]] = {}
    for one in documents:
        kinds.setdefault(frozenset(one), one)
    return tuple(said for one, said in kinds.items() if not any(other < one for other in kinds))


def _answer(found: Assignment, index: int, need: Need, ends: Mapping[UUID, date | None]) -> Answer:
    shares = found.shares.get(index, ())
    last_days = [last for one in shares if (last := ends[one.permit_id]) is not None]
    return Answer(kinds=need.kinds, shares=shares, uncovered=found.uncovered.get(index, 0), lapses_on=min(last_days, default=None))


def _head_rooms(law: LawInForce, found: Assignment, ends: Mapping[UUID, date | None], *, on: date) -> tuple[HeadRoom, ...]:
    good = (one for one in law.permits if one.id in ends and one.valid_from <= on and ((last := ends[one.id]) is None or on <= last))
    return tuple(_head_room(one, found) for one in good)


def _head_room(permit: Permit, found: Assignment) -> HeadRoom:
    taken = found.taken.get(permit.id, 0)
    in_all = None if permit.number is None else permit.number - taken
    limits = []
    for place, limit in enumerate(permit.limits):
        own = found.taken_of_limits.get((permit.id, place), 0)
        left = limit.number - own
        limits.append(LimitRoom(limit.name, limit.number, own, left if in_all is None else min(left, in_all)))
    return HeadRoom(permit_id=permit.id, taken=taken, left=head_room(permit, taken), limits=tuple(limits))


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
            yield from _after(law.last_day(permit))
        yield from (on for happened in permit.lives.values() for _, on in happened)
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

    def number_with(self, newcomer: Subject, requirement: Requirement, premises: Premises) -> Number | None:
        """Return how many there would be with one more; of premises that nobody named that is not known."""
        number = None if premises.site_id is None else self.number(requirement, premises)
        if number is None or newcomer.site_id == premises.site_id:
            return number
        selected = selects(requirement.selector, newcomer, on=self._on)
        return Number(
            number.low + (newcomer.number if selected.is_true else 0), number.high + (0 if selected.is_false else newcomer.number)
        )

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
