"""Permits: until when they are good, what they cover, and which animals each of them covers so that the fewest are left without."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from itertools import product
from uuid import UUID

from domain.rules.flow import SINK, Network
from domain.rules.law.facts import Subject
from domain.rules.law.requirements import Activity, Occasion
from domain.rules.law.spans import Span, WorkingDays, day_after, day_before
from domain.rules.lives import LifeStage


class Start(StrEnum):
    """From which day a document's validity runs."""

    ISSUE = "issue"
    INSPECTION = "inspection"


ENDING_WITHIN_DAYS = 60
"""How long before its last day a permit is said to end soon."""


class EndReason(StrEnum):
    """Why a permit ends when it does."""

    OWN_LAST_DAY = "own_last_day"
    SPAN = "span"
    NOT_INSPECTED = "not_inspected"
    WITHDRAWN = "withdrawn"
    EVENT = "event"
    USED = "used"


@dataclass(frozen=True, slots=True)
class End:
    """The last day on which a permit is good for some reason; ``occasion`` is the event that ends its kind."""

    on: date
    reason: EndReason
    occasion: Occasion | None = None


class PermitStanding(StrEnum):
    """How a permit stands on a day, the most urgent first."""

    KIND_UNKNOWN = "kind_unknown"
    ENDED = "ended"
    ENDING = "ending"
    NOT_YET = "not_yet"
    GOOD = "good"


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentKind:
    """What documents of a kind have in common, as a rule pack states it.

    ``lasts`` runs from ``starts``; without it the document's own last day counts, or it is good until an event. Events of ``ends_with``
    end it on the day that they happen; ``for_one_consignment`` ends it with its use. Where ``counted_stages`` is not empty, animals of
    other stages are covered without counting against its numbers. ``renewal_lead`` is how long before its end to apply anew.
    ``citation`` says where all this stands.
    """

    code: str
    jurisdiction: str
    title: str
    lasts: Span | None = None
    starts: Start = Start.ISSUE
    ends_with: frozenset[Occasion] = frozenset()
    for_one_consignment: bool = False
    counted_stages: frozenset[LifeStage] = frozenset()
    renewal_lead: Span | None = None
    citation: str = ""


@dataclass(frozen=True, slots=True)
class Limit:
    """How many animals of some taxa, named by the keys of their names and each with all that it covers, a permit is for."""

    taxa: frozenset[str]
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Permit:
    """A permit as granted: its dates, its scope, and what has happened to it.

    A scope that is empty is not limited in that respect: any taxon, site or animal. ``taxa`` are the keys of names. ``limits`` bound the
    numbers by taxon, the first that names an animal's being its own; ``number`` bounds all together. What names taxa in limits only
    covers no others.
    """

    id: UUID
    kind: str
    number_text: str = ""
    issued_on: date
    valid_from: date
    last_day: date | None = None
    inspected_on: date | None = None
    used_on: date | None = None
    withdrawn_on: date | None = None
    events: tuple[tuple[Occasion, date], ...] = ()
    taxa: frozenset[str] = frozenset()
    activities: frozenset[Activity] = frozenset()
    site_ids: frozenset[UUID] = frozenset()
    animal_ids: frozenset[UUID] = frozenset()
    limits: tuple[Limit, ...] = ()
    number: int | None = None

    @property
    def breadth(self) -> tuple[bool, bool, bool]:
        """What sorts permits from the narrowest to the widest, so that the wide ones are kept for those that nothing else covers."""
        return (not self.animal_ids, not self.site_ids, not (self.taxa or self.limits))


def ends(permit: Permit, kind: DocumentKind) -> Iterator[End]:
    """Yield everything that ends a permit, in no order.

    A span that runs from an inspection has ended before it began where no inspection is on record.
    """
    if permit.last_day is not None:
        yield End(permit.last_day, EndReason.OWN_LAST_DAY)
    if kind.lasts is not None:
        start = permit.inspected_on if kind.starts is Start.INSPECTION else permit.issued_on
        yield End(date.min, EndReason.NOT_INSPECTED) if start is None else End(day_after(start, kind.lasts), EndReason.SPAN)
    if permit.withdrawn_on is not None:
        yield End(_eve(permit.withdrawn_on), EndReason.WITHDRAWN)
    yield from (End(_eve(on), EndReason.EVENT, occasion) for occasion, on in permit.events if occasion in kind.ends_with)
    if kind.for_one_consignment and permit.used_on is not None:
        yield End(permit.used_on, EndReason.USED)


def end_of(permit: Permit, kind: DocumentKind) -> End | None:
    """Return what ends a permit first, ``None`` where it has no end yet."""
    return min(ends(permit, kind), key=lambda end: end.on, default=None)


def valid_until(permit: Permit, kind: DocumentKind) -> date | None:
    """Return the last day on which a permit is good, ``None`` where it has no end yet.

    The earliest counts of: its own last day, the end of the span that its kind lasts, the day before it was withdrawn, the day before an
    event that ends its kind, and, for one consignment, the day of its use.
    """
    end = end_of(permit, kind)
    return None if end is None else end.on


def standing_of(permit: Permit, kind: DocumentKind | None, *, on: date) -> PermitStanding:
    """Return how a permit stands on a day. One of a kind that no rule pack knows covers nobody, whatever it says itself."""
    if kind is None:
        return PermitStanding.KIND_UNKNOWN
    last = valid_until(permit, kind)
    if last is not None and last < on:
        return PermitStanding.ENDED
    if on < permit.valid_from:
        return PermitStanding.NOT_YET
    return PermitStanding.ENDING if last is not None and (last - on).days <= ENDING_WITHIN_DAYS else PermitStanding.GOOD


def is_valid(permit: Permit, kind: DocumentKind, *, on: date) -> bool:
    """Return whether a permit is good on a day; on its first and its last day it is."""
    last = valid_until(permit, kind)
    return permit.valid_from <= on and (last is None or on <= last)


def _eve(day: date) -> date:
    return day - timedelta(days=1)


def renew_by(permit: Permit, kind: DocumentKind, *, working: WorkingDays | None = None) -> date | None:
    """Return the last day on which to apply for the permit that follows, ``None`` where nothing has to be renewed."""
    last = valid_until(permit, kind)
    if last is None or kind.renewal_lead is None or last <= permit.valid_from or kind.for_one_consignment:
        return None
    return day_before(last, kind.renewal_lead, working=working)


def covers(permit: Permit, subject: Subject, *, activity: Activity) -> bool:
    """Return whether a permit's scope takes an animal and what is done with it, numbers aside."""
    if permit.activities and activity not in permit.activities:
        return False
    if permit.site_ids and subject.site_id not in permit.site_ids:
        return False
    if permit.animal_ids and subject.id not in permit.animal_ids:
        return False
    names = subject.taxon.names
    if not names.isdisjoint(permit.taxa) or any(not names.isdisjoint(one.taxa) for one in permit.limits):
        return True
    return not permit.taxa and not permit.limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """That animals need one of some kinds of documents for what is done with them."""

    subject: Subject
    activity: Activity
    kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """How many animals of a need a permit covers."""

    permit_id: UUID
    number: int


@dataclass(slots=True, kw_only=True)
class Assignment:
    """Which permits cover which animals, and how many are left without; ``taken`` counts what stands against each permit's numbers."""

    shares: dict[int, tuple[Share, ...]] = field(default_factory=dict)
    uncovered: dict[int, int] = field(default_factory=dict)
    taken: dict[UUID, int] = field(default_factory=dict)


def assign(needs: Sequence[Need], permits: Iterable[Permit], kinds: Mapping[str, DocumentKind], *, on: date) -> Assignment:
    """Return which permit covers which animals on a day so that the fewest are left uncovered; needs are named by their place.

    Animals come in the order given, and one that is covered stays covered whatever comes after it. So the first of equals are covered
    where permits do not suffice, and a further permit never uncovers anybody.

    Source:
        Augmenting paths: L. R. Ford and D. R. Fulkerson 1956, Canadian Journal of Mathematics 8:399-404. That a further permit uncovers
        nobody: L. S. Shapley 1962, Naval Research Logistics Quarterly 9:45-48.
    """
    good = [one for one in permits if one.kind in kinds and is_valid(one, kinds[one.kind], on=on)]
    return _Solving(needs, sorted(good, key=lambda one: (one.breadth, one.number_text, one.id)), kinds).solved()


def head_room(permit: Permit, taken: int) -> int | None:
    """Return how many more animals a permit's number allows, negative where there are too many; ``None`` where it names none.

    Without a number in all, the sum of those by taxon counts, unless the permit is for further taxa without a number too.
    """
    of_taxa = sum(one.number for one in permit.limits) if permit.limits and not permit.taxa else None
    total = of_taxa if permit.number is None else permit.number
    return None if total is None else total - taken


@dataclass(frozen=True, slots=True)
class _Slot:
    """A place that animals can take: a permit, and the limit within it that is theirs, -1 for the permit as a whole."""

    permit: int
    limit: int


@dataclass(slots=True)
class _Class:
    """Needs that have the same places to choose from, in their order, each with how many of its animals are covered."""

    slots: tuple[_Slot, ...]
    node: int
    arcs: tuple[int, ...]
    members: list[tuple[int, int]] = field(default_factory=list)
    uncounted: dict[LifeStage, UUID | None] = field(default_factory=dict)


class _Solving:
    """Animals flow from classes of needs through the limits of permits, and the permits, to the sink."""

    def __init__(self, needs: Sequence[Need], permits: Sequence[Permit], kinds: Mapping[str, DocumentKind]) -> None:
        self.needs, self.permits, self.kinds = needs, permits, kinds
        self.most = sum(need.subject.number for need in needs)
        self.wide: dict[tuple[str, UUID | None, str | None], list[int]] = {}
        self.by_animal: dict[tuple[str, UUID], list[int]] = {}
        for place, permit in enumerate(permits):
            names = permit.taxa.union(*(limit.taxa for limit in permit.limits)) or (None,)
            for site_id, name in () if permit.animal_ids else product(permit.site_ids or (None,), names):
                self.wide.setdefault((permit.kind, site_id, name), []).append(place)
            for animal_id in permit.animal_ids:
                self.by_animal.setdefault((permit.kind, animal_id), []).append(place)
        self.network = Network()
        self.permit_nodes: dict[int, int] = {}
        self.slot_nodes: dict[_Slot, int] = {}
        self.classes: dict[object, _Class] = {}

    def solved(self) -> Assignment:
        """Cover need after need, and say by which permits once all have had their turn."""
        found = Assignment()
        for place, need in enumerate(self.needs):
            own = self._class_of(need)
            number = need.subject.number
            if (uncounted := self._uncounted(own, need.subject.life_stage)) is not None:
                found.shares[place] = (Share(uncounted, number),)
                continue
            covered = self.network.push(own.node, number)
            if covered < number:
                found.uncovered[place] = number - covered
            own.members.append((place, covered))
        for one in self.classes.values():
            self._share_out(found, one)
        return found

    def _share_out(self, found: Assignment, own: _Class) -> None:
        """Give the members of a class, in their order, what its places took."""
        taken = [Share(self.permits[slot.permit].id, self.network.flow(arc)) for slot, arc in zip(own.slots, own.arcs, strict=True)]
        for one in taken:
            if one.number:
                found.taken[one.permit_id] = found.taken.get(one.permit_id, 0) + one.number
        waiting = deque(one for one in taken if one.number)
        for place, covered in own.members:
            shares: dict[UUID, int] = {}
            left = covered
            while left:
                first = waiting.popleft()
                some = min(left, first.number)
                shares[first.permit_id] = shares.get(first.permit_id, 0) + some
                left -= some
                if some < first.number:
                    waiting.appendleft(Share(first.permit_id, first.number - some))
            found.shares[place] = tuple(Share(permit_id, number) for permit_id, number in shares.items())

    def _uncounted(self, own: _Class, stage: LifeStage) -> UUID | None:
        """Return a permit that covers animals of a stage without counting them; a stage that is not known is counted."""
        if stage not in own.uncounted:
            stages = ((slot, self.kinds[self.permits[slot.permit].kind].counted_stages) for slot in own.slots)
            free = (self.permits[slot.permit].id for slot, counted in stages if counted and stage not in {*counted, LifeStage.UNKNOWN})
            own.uncounted[stage] = next(free, None)
        return own.uncounted[stage]

    def _class_of(self, need: Need) -> _Class:
        subject = need.subject
        own = tuple(place for kind in need.kinds for place in self.by_animal.get((kind, subject.id), ()))
        key = (need.kinds, need.activity, subject.taxon.id, subject.site_id, own)
        if key not in self.classes:
            wide = (
                place
                for site_id in dict.fromkeys((subject.site_id, None))
                for kind in need.kinds
                for place in self._wide_places(kind, site_id, subject.taxon.names)
            )
            slots = tuple(slot for place in (*own, *wide) if (slot := self._slot(place, need)) is not None)
            node = self.network.node()
            self.classes[key] = _Class(slots, node, tuple(self.network.arc(node, self._slot_node(slot), self.most) for slot in slots))
        return self.classes[key]

    def _wide_places(self, kind: str, site_id: UUID | None, names: Iterable[str]) -> list[int]:
        """Return the permits of a kind that are for a site and for any taxon, or one of some names; the narrowest first."""
        return sorted({place for name in (None, *names) for place in self.wide.get((kind, site_id, name), ())})

    def _slot(self, place: int, need: Need) -> _Slot | None:
        permit = self.permits[place]
        if not covers(permit, need.subject, activity=need.activity):
            return None
        names = need.subject.taxon.names
        own = (index for index, limit in enumerate(permit.limits) if not names.isdisjoint(limit.taxa))
        return _Slot(place, next(own, -1))

    def _slot_node(self, slot: _Slot) -> int:
        if slot not in self.slot_nodes:
            permit = self.permits[slot.permit]
            number = self.most if slot.limit < 0 else permit.limits[slot.limit].number
            self.slot_nodes[slot] = node = self.network.node()
            self.network.arc(node, self._permit_node(slot.permit), number)
        return self.slot_nodes[slot]

    def _permit_node(self, place: int) -> int:
        if place not in self.permit_nodes:
            number = self.permits[place].number
            self.permit_nodes[place] = node = self.network.node()
            self.network.arc(node, SINK, self.most if number is None else number)
        return self.permit_nodes[place]
