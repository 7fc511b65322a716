"""Whether keeping the animals on record is covered, on a day and over a period, and what a version of a requirement will change."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection as AnyOf
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

from domain.actions.broods import EXPECTED_OF_ANIMALS
from domain.actions.law import Law, law_as_of
from domain.actions.overrides import overrides_of
from domain.actions.permits import permits_of
from domain.actions.premises import PremisesHistory
from domain.actions.subjects import Chronicle
from domain.records.unit import Unit
from domain.rules.calendar import add_months
from domain.rules.compliance import (
    IN_ORDER,
    Coverage,
    HeadRoom,
    LawInForce,
    LimitRoom,
    Standing,
    Standings,
    Stretch,
    ages_asked,
    freshness_asked,
    joined,
    standings,
    turning_days,
)
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import Activity, Requirement
from domain.rules.lives import LifeStage, Origin
from domain.rules.permits import Permit, covers, narrowness, renew_by

_DAY = timedelta(days=1)
LONGEST_PERIOD_DAYS = 3660
BETWEEN_PLACES = frozenset((Activity.IMPORT, Activity.TRANSIT, Activity.MOVE_BETWEEN))
"""What leads to another place, and cannot be decided without it."""
DESTINATION = "destination"
"""What is missing where an act leads to a place that nobody named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """How keeping an animal stood over a period, in stretches of days, the earliest first; days before it came are in none."""

    subject: Subject
    stretches: tuple[Stretch, ...]

    @property
    def days_uncovered(self) -> int:
        """On how many days its keeping was not known to be in order."""
        return sum(one.days for one in self.stretches if one.standing not in IN_ORDER)


@dataclass(frozen=True, slots=True, kw_only=True)
class InUse:
    """A permit that is good on a day: what stands against its number, what is left, and how many young are expected of what it covers.

    ``limits`` say what stands against its numbers by taxon.
    """

    permit: Permit
    good_until: date | None
    renew_by: date | None
    taken: int
    left: int | None
    expected: int
    limits: Sequence[LimitRoom] = ()


Destination = UUID | str
"""Where an act leads: to one of the sites, by its id, or to any place in a jurisdiction, by its code."""


@dataclass(frozen=True, slots=True)
class Expected:
    """Young that are expected of an animal, under the id of that record."""

    id: UUID
    animal_id: UUID
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """An animal whose standing a version of a requirement changes on the day that it applies."""

    before: Coverage
    after: Coverage


class Collection:
    """What is on record of animals, premises, law and permits over a period; every question of a day in it is answered from memory."""

    def __init__(self, unit: Unit, *, from_on: date, until_on: date) -> None:
        """Read what is on record, one statement for each kind of record."""
        self.law: Law = law_as_of(unit)
        self.in_force = LawInForce(
            jurisdictions=self.law.jurisdictions,
            requirements=self.law.requirements,
            kinds=self.law.kinds,
            permits=permits_of(unit),
            overrides=overrides_of(unit),
            working={one: self.law.working_days(one) for one in {kind.jurisdiction for kind in self.law.kinds.values()}},
        )
        self._premises = PremisesHistory(unit, self.law)
        self._chronicle = Chronicle(unit, from_on=from_on, until_on=until_on)
        self.from_on, self.until_on = from_on, until_on

    def standings(
        self,
        on: date,
        *,
        activity: Activity,
        site_ids: frozenset[UUID] | None = None,
        law: LawInForce | None = None,
        to: Destination | None = None,
    ) -> Standings:
        """Return how doing something with each animal stands on a day, at some sites or (``None``) anywhere; ``to`` is where that leads.

        Permits are assigned over all animals of the organisation: one that is good at any site may be taken by any. Of a day after the
        period the animals and premises of its last day are asked, as far as is known now.
        """
        known = min(on, self.until_on)
        subjects, premises = self._chronicle.on(known), self._premises.on(known)
        found = standings(
            law or self.in_force,
            subjects,
            activity=activity,
            premises=premises,
            on=on,
            destination=None if to is None else self._destination(to, premises),
            missing=frozenset((DESTINATION,)) if to is None and activity in BETWEEN_PLACES else frozenset(),
        )
        if site_ids is None:
            return found
        return replace(found, coverages=tuple(one for one in found.coverages if one.subject.site_id in site_ids))

    def with_young(self, on: date, *, expected: Sequence[Expected]) -> Standings:
        """Return how keeping each animal stands on a day of the period, and how keeping young would that are expected of some of them.

        They are asked about as newly born where their mothers are, and come after all animals. Those of who is gone are left out.
        """
        subjects = {one.id: one for one in self._chronicle.on(on)}
        young = [_newborn(subjects[one.animal_id], one, on=on) for one in expected if one.animal_id in subjects]
        return standings(
            self.in_force, list(subjects.values()), activity=Activity.HOLD, premises=self._premises.on(on), on=on, expected=young
        )

    def fitting(self, subject: Subject, kinds: AnyOf[str], *, on: date) -> Sequence[Permit]:
        """Return the permits of some kinds that are for keeping an animal where it is on a day, the narrowest first, full or not."""
        premises = self._premises.on(on).get(subject.site_id, Premises())
        found = (
            one
            for one in self.in_force.permits
            if one.kind in kinds and self.in_force.is_good(one, on=on) and covers(one, subject, activity=Activity.HOLD, premises=premises)
        )
        return sorted(found, key=narrowness)

    def _destination(self, to: Destination, premises: Mapping[UUID | None, Premises]) -> Premises:
        if isinstance(to, UUID):
            return premises[to]
        return Premises(jurisdictions=self.law.chain(to))

    def in_use(self, permit: Permit, room: HeadRoom, *, expected: int) -> InUse:
        """Return what a permit of a known kind is used for."""
        kind = self.law.kinds[permit.kind]
        return InUse(
            permit=permit,
            good_until=self.in_force.last_day(permit),
            renew_by=renew_by(permit, kind, working=self.in_force.working[kind.jurisdiction]),
            taken=room.taken,
            left=room.left,
            expected=expected,
            limits=room.limits,
        )

    def turning_days(self) -> Sequence[date]:
        """Return the first day of the period, and each on which any standing may be another than on its eve."""
        days = {self.from_on, *self._chronicle.turning_days(), *turning_days(self.in_force), *self._premises.turning_days()}
        days |= {add_months(born, age) for born in self._chronicle.births() for age in ages_asked(self.in_force)}
        days |= {on + timedelta(days=fresh + 1) for on in self._chronicle.measured_days() for fresh in freshness_asked(self.in_force)}
        return sorted(day for day in days if self.from_on <= day <= self.until_on)


def coverage_on(unit: Unit, *, on: date, activity: Activity = Activity.HOLD, site_ids: frozenset[UUID] | None = None) -> Standings:
    """Return how doing something with each animal stands on a day, by the requirements, permits and facts of that day."""
    return Collection(unit, from_on=on, until_on=on).standings(on, activity=activity, site_ids=site_ids)


def coverage_over(
    unit: Unit, *, from_on: date, until_on: date, activity: Activity = Activity.HOLD, site_ids: frozenset[UUID] | None = None
) -> Sequence[Kept]:
    """Return how keeping each animal stood on the days of a period; between two days on which nothing turns all stand alike."""
    collection = Collection(unit, from_on=from_on, until_on=until_on)
    stretches: dict[UUID, list[Stretch]] = {}
    subjects: dict[UUID, Subject] = {}
    for first, last in _spells(collection.turning_days(), until_on):
        for one in collection.standings(first, activity=activity, site_ids=site_ids).coverages:
            subjects[one.subject.id] = one.subject
            stretches.setdefault(one.subject.id, []).append(Stretch(first, last, one.standing))
    return [Kept(subject=subjects[key], stretches=tuple(joined(found))) for key, found in stretches.items()]


def permits_in_use(unit: Unit, *, on: date, activity: Activity = Activity.HOLD) -> Sequence[InUse]:
    """Return the permits that are good on a day, those that end first before the others.

    Young are expected of an animal as many as were said at the most, by what is on record now; where no number was said, one at least.
    """
    collection = Collection(unit, from_on=on, until_on=on)
    return uses_of(unit, collection, collection.standings(on, activity=activity))


def uses_of(unit: Unit, collection: Collection, found: Standings) -> Sequence[InUse]:
    """Return what the permits that are good on a day are used for by what was found of all animals; see ``permits_in_use``."""
    expected = {animal_id: int(number) for animal_id, number in unit.rows(EXPECTED_OF_ANIMALS)}
    young: defaultdict[UUID, int] = defaultdict(int)
    for one in found.coverages:
        for permit_id in {share.permit_id for answer in one.answers for share in answer.shares}:
            young[permit_id] += expected.get(one.subject.id, 0)
    by_id = {one.id: one for one in collection.in_force.permits}
    in_use = [collection.in_use(by_id[room.permit_id], room, expected=young[room.permit_id]) for room in found.head_rooms]
    return sorted(in_use, key=lambda one: (one.good_until or date.max, one.permit.number_text, one.permit.id))


def turns_with(unit: Unit, requirement: Requirement, *, activity: Activity = Activity.HOLD) -> Sequence[Turn]:
    """Return the animals whose standing a version of a requirement changes on the day that it, or an entry of it, begins to apply.

    The day is asked once with the version and once without it, all else being as it is then: the version before it, if that was in force
    until then, goes on through the day. Of a day to come the animals of today are asked, where they are today, with the law and the permits
    of that day.
    """
    starts, today = _starts(requirement), unit.origin.at.date()
    collection = Collection(unit, from_on=min(today, *starts), until_on=today)
    found: dict[UUID, Turn] = {}
    for day in starts:
        without = replace(collection.in_force, requirements=list(_without(requirement, collection.in_force.requirements, until_on=day)))
        before, after = (collection.standings(day, activity=activity, law=one) for one in (without, collection.in_force))
        for then, now in zip(before.coverages, after.coverages, strict=True):
            if then.standing is not now.standing:
                found.setdefault(now.subject.id, Turn(before=then, after=now))
    return list(found.values())


def _without(requirement: Requirement, requirements: Iterable[Requirement], *, until_on: date) -> Iterator[Requirement]:
    """Yield requirements as if a version had not begun to apply: the one before it is in force until a day."""
    eve = requirement.applies_from - _DAY
    for one in requirements:
        if one.code != requirement.code:
            yield one
        elif one.version != requirement.version:
            yield replace(one, applies_until=until_on) if one.applies_until == eve else one


def _newborn(mother: Subject, of: Expected, *, on: date) -> Subject:
    return Subject(
        id=of.id,
        tag=mother.tag,
        taxon=mother.taxon,
        site_id=mother.site_id,
        number=of.number,
        life_stage=LifeStage.NEONATE,
        origin=Origin.CAPTIVE_BRED,
        born_from=on,
        born_until=on,
        acquired_from=on,
        acquired_until=on,
    )


def _starts(requirement: Requirement) -> Sequence[date]:
    entries = {one.applies_from for one in requirement.selector.any_of if one.applies_from is not None}
    return sorted({requirement.applies_from, *(day for day in entries if day > requirement.applies_from)})


def _spells(days: Sequence[date], until_on: date) -> Iterator[tuple[date, date]]:
    """Yield from each day to the eve of the next, the last one to the end of the period."""
    for first, after in zip(days, [*days[1:], until_on + _DAY], strict=True):
        yield first, after - _DAY


def order_of(subject: Subject) -> tuple[date, str, UUID]:
    """Return what orders animals in a list: the longest kept first, as in a chronicle."""
    return subject.acquired_from or date.min, subject.tag, subject.id


def by_standing(coverages: Iterable[Coverage]) -> Mapping[Standing, int]:
    """Return how many animals stand how."""
    counts = dict.fromkeys(Standing, 0)
    for one in coverages:
        counts[one.standing] += one.subject.number
    return counts
