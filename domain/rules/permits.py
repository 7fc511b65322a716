"""Permits: until when they are good, what they cover, and which animals each of them covers so that the fewest are left without."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import IntEnum, StrEnum
from itertools import groupby, product
from types import MappingProxyType
from uuid import UUID

from domain.rules.flow import SINK, Network
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import Activity, Occasion
from domain.rules.law.spans import Span, WorkingDays, day_after, day_before
from domain.rules.lives import LifeStage


class Start(StrEnum):
    """From which day a document's validity runs."""

    ISSUE = "issue"
    INSPECTION = "inspection"


NO_CALENDARS: Mapping[str, WorkingDays] = MappingProxyType({})
"""Working days by jurisdiction where none are known: offices work from Monday to Friday."""
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
    REPLACED = "replaced"


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
    """How many animals of some taxa, named by the keys of their names and each with all that it covers, a permit is for.

    ``name`` is what they are called there.
    """

    taxa: frozenset[str]
    number: int
    name: str = ""


Happening = tuple[Occasion, date]
"""Something that may end a permit, and its day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Permit:
    """A permit as granted: its dates, its scope, and what has happened to it.

    It is good where its ``jurisdiction`` applies. A scope that is empty is not limited in that respect: any taxon, site or animal. ``taxa``
    are the keys of names. ``limits`` bound the numbers by taxon, the first that names an animal's being its own; ``number`` bounds all
    together. What names taxa in limits only covers no others. ``replaced_from`` is the first day of the permit that replaces it. ``events``
    happened to the permit as a whole, ``lives`` to single animals that it names.
    """

    id: UUID
    kind: str
    jurisdiction: str
    number_text: str = ""
    issued_on: date
    valid_from: date
    last_day: date | None = None
    inspected_on: date | None = None
    used_on: date | None = None
    withdrawn_on: date | None = None
    replaced_from: date | None = None
    events: tuple[Happening, ...] = ()
    lives: Mapping[UUID, tuple[Happening, ...]] = field(default_factory=dict)
    taxa: frozenset[str] = frozenset()
    activities: frozenset[Activity] = frozenset()
    site_ids: frozenset[UUID] = frozenset()
    animal_ids: frozenset[UUID] = frozenset()
    limits: tuple[Limit, ...] = ()
    number: int | None = None


def narrowness(permit: Permit) -> tuple[bool, bool, bool, str, UUID]:
    """Return what sorts permits from the narrowest to the widest, so that the wide ones are kept for those that nothing else covers."""
    return (not permit.animal_ids, not permit.site_ids, not (permit.taxa or permit.limits), permit.number_text, permit.id)


def ends(permit: Permit, kind: DocumentKind, *, working: WorkingDays | None = None) -> Iterator[End]:
    """Yield everything that ends a permit, in no order; ``working`` are the working days of its kind's jurisdiction.

    A span that runs from an inspection has ended before it began where no inspection is on record. What happens to the animals that a
    permit names ends it for each of them, and the permit with the last of them.
    """
    if permit.last_day is not None:
        yield End(permit.last_day, EndReason.OWN_LAST_DAY)
    if kind.lasts is not None:
        start = permit.inspected_on if kind.starts is Start.INSPECTION else permit.issued_on
        yield (
            End(date.min, EndReason.NOT_INSPECTED) if start is None else End(day_after(start, kind.lasts, working=working), EndReason.SPAN)
        )
    if permit.withdrawn_on is not None:
        yield End(_eve(permit.withdrawn_on), EndReason.WITHDRAWN)
    if permit.replaced_from is not None:
        yield End(_eve(permit.replaced_from), EndReason.REPLACED)
    yield from (End(_eve(on), EndReason.EVENT, occasion) for occasion, on in permit.events if occasion in kind.ends_with)
    if permit.lives:
        of_animals = [ended_for(permit, one, kind) for one in permit.animal_ids]
        lived = [one for one in of_animals if one is not None]
        if lived and len(lived) == len(of_animals):
            occasion, on = max(lived, key=lambda one: one[1])
            yield End(_eve(on), EndReason.EVENT, occasion)
    if kind.for_one_consignment and permit.used_on is not None:
        yield End(permit.used_on, EndReason.USED)


def ended_for(permit: Permit, animal_id: UUID, kind: DocumentKind) -> Happening | None:
    """Return what ended a permit first for an animal that it names, and the first day without it; ``None`` where nothing did."""
    ending = (one for one in permit.lives.get(animal_id, ()) if one[0] in kind.ends_with)
    return min(ending, key=lambda one: one[1], default=None)


def end_of(permit: Permit, kind: DocumentKind, *, working: WorkingDays | None = None) -> End | None:
    """Return what ends a permit first, ``None`` where it has no end yet."""
    return min(ends(permit, kind, working=working), key=lambda end: end.on, default=None)


def valid_until(permit: Permit, kind: DocumentKind, *, working: WorkingDays | None = None) -> date | None:
    """Return the last day on which a permit is good, ``None`` where it has no end yet.

    The earliest counts of: its own last day, the end of the span that its kind lasts, the day before it was withdrawn, the day before
    another permit took its place, the day before an event that ends its kind, and, for one consignment, the day of its use.
    """
    end = end_of(permit, kind, working=working)
    return None if end is None else end.on


def standing_of(permit: Permit, kind: DocumentKind | None, *, on: date, working: WorkingDays | None = None) -> PermitStanding:
    """Return how a permit stands on a day. One of a kind that no rule pack knows covers nobody, whatever it says itself."""
    if kind is None:
        return PermitStanding.KIND_UNKNOWN
    last = valid_until(permit, kind, working=working)
    if last is not None and last < on:
        return PermitStanding.ENDED
    if on < permit.valid_from:
        return PermitStanding.NOT_YET
    return PermitStanding.ENDING if last is not None and (last - on).days <= ENDING_WITHIN_DAYS else PermitStanding.GOOD


def is_valid(permit: Permit, kind: DocumentKind, *, on: date, working: WorkingDays | None = None) -> bool:
    """Return whether a permit is good on a day; on its first and its last day it is."""
    last = valid_until(permit, kind, working=working)
    return permit.valid_from <= on and (last is None or on <= last)


def _eve(day: date) -> date:
    return day - timedelta(days=1)


def renew_by(permit: Permit, kind: DocumentKind, *, working: WorkingDays | None = None) -> date | None:
    """Return the last day on which to apply for the permit that follows, ``None`` where nothing has to be renewed."""
    last = valid_until(permit, kind, working=working)
    if (
        last is None
        or kind.renewal_lead is None
        or last <= permit.valid_from
        or kind.for_one_consignment
        or permit.replaced_from is not None
    ):
        return None
    return day_before(last, kind.renewal_lead, working=working)


def covers(permit: Permit, subject: Subject, *, activity: Activity, premises: Premises) -> bool:
    """Return whether a permit's scope takes an animal and what is done with it at premises, numbers aside."""
    if permit.jurisdiction not in premises.jurisdictions:
        return False
    if permit.activities and activity not in permit.activities:
        return False
    if permit.site_ids and premises.site_id not in permit.site_ids:
        return False
    if permit.animal_ids and subject.id not in permit.animal_ids:
        return False
    names = subject.taxon.names
    if not names.isdisjoint(permit.taxa) or any(not names.isdisjoint(one.taxa) for one in permit.limits):
        return True
    return not permit.taxa and not permit.limits


class Turn(IntEnum):
    """When animals have their turn at the permits: those that a permit can help before those that it cannot, and young to come last."""

    FIRST = 0
    HINDERED = 1
    EXPECTED = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """That animals need one of some kinds of documents for what is done with them at premises."""

    subject: Subject
    activity: Activity
    kinds: tuple[str, ...]
    premises: Premises
    turn: Turn = Turn.FIRST


@dataclass(frozen=True, slots=True)
class Share:
    """How many animals of a need a permit covers."""

    permit_id: UUID
    number: int


@dataclass(slots=True, kw_only=True)
class Assignment:
    """Which permits cover which animals, and how many are left without.

    ``taken`` counts what stands against each permit's numbers, ``taken_of_limits`` what stands against each of its limits, by their place.
    """

    shares: dict[int, tuple[Share, ...]] = field(default_factory=dict)
    uncovered: dict[int, int] = field(default_factory=dict)
    taken: dict[UUID, int] = field(default_factory=dict)
    taken_of_limits: dict[tuple[UUID, int], int] = field(default_factory=dict)


def assign(
    needs: Sequence[Need],
    permits: Iterable[Permit],
    kinds: Mapping[str, DocumentKind],
    *,
    on: date,
    working: Mapping[str, WorkingDays] = NO_CALENDARS,
) -> Assignment:
    """Return which permit covers which animals on a day so that the fewest are left uncovered.

    Needs are named by their place; those of an animal stand side by side. Of one permit an animal takes one place, for all of its needs
    that this meets. Animals come in the order given, and one that is covered stays covered whatever comes after it: so the first of equals
    are covered where permits do not suffice. Those with several needs come after those with one, in the order in which the last of the
    permits that they need was registered; and those last for which there is none at all, so that they take nothing from who can be covered.

    ``permits`` are in the order in which they were registered. So a further permit never uncovers anybody: who could be covered before it
    was there keeps the turn that it had.

    Source:
        Augmenting paths: L. R. Ford and D. R. Fulkerson 1956, Canadian Journal of Mathematics 8:399-404. That a further permit uncovers
        nobody: L. S. Shapley 1962, Naval Research Logistics Quarterly 9:45-48.
    """
    known = ((one, kinds[one.kind]) for one in permits if one.kind in kinds)
    good = [one for one, kind in known if is_valid(one, kind, on=on, working=working.get(kind.jurisdiction))]
    return _Solving(needs, good, kinds, on=on).solved()


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
    """Needs that have the same places to choose from, in their order.

    Of each member, one need or several that a place meets together, it keeps how many animals are covered. ``registered`` is when the
    first of its permits was.
    """

    slots: tuple[_Slot, ...]
    node: int
    arcs: tuple[int, ...]
    registered: int
    members: list[tuple[tuple[int, ...], int]] = field(default_factory=list)
    uncounted: dict[LifeStage, UUID | None] = field(default_factory=dict)


_NEVER = 2**62
"""When what is not there was registered: after all that is."""


class _Solving:
    """Animals flow from classes of needs through the limits of permits, and the permits, to the sink."""

    def __init__(self, needs: Sequence[Need], permits: Sequence[Permit], kinds: Mapping[str, DocumentKind], *, on: date) -> None:
        self.needs, self.kinds = needs, kinds
        self.most = sum(need.subject.number for need in needs)
        narrowest_first = sorted(enumerate(permits), key=lambda one: narrowness(one[1]))
        self.permits = [permit for _, permit in narrowest_first]
        self.registered = [place for place, _ in narrowest_first]
        self.wide: dict[tuple[str, UUID | None, str | None], list[int]] = {}
        self.by_animal: dict[tuple[str, UUID], list[int]] = {}
        for place, permit in enumerate(self.permits):
            names = permit.taxa.union(*(limit.taxa for limit in permit.limits)) or (None,)
            for site_id, name in () if permit.animal_ids else product(permit.site_ids or (None,), names):
                self.wide.setdefault((permit.kind, site_id, name), []).append(place)
            for animal_id in permit.animal_ids:
                ended = ended_for(permit, animal_id, kinds[permit.kind])
                if ended is None or on < ended[1]:
                    self.by_animal.setdefault((permit.kind, animal_id), []).append(place)
        self.network = Network()
        self.permit_nodes: dict[int, int] = {}
        self.slot_nodes: dict[_Slot, tuple[int, int]] = {}
        self.classes: dict[object, _Class] = {}
        self.joint: dict[tuple[_Slot, ...], _Class] = {}
        self.class_at: list[_Class] = []
        self.found = Assignment()

    def solved(self) -> Assignment:
        """Cover animal after animal, and say by which permits once all have had their turn."""
        self.class_at = [self._class_of(need) for need in self.needs]
        for places in self._in_turn():
            left = [place for place in places if not self._is_covered_uncounted(place)]
            self._cover(left, self.needs[places[0]].subject.number)
        for one in (*self.classes.values(), *self.joint.values()):
            self._share_out(one)
        for slot, (_, arc) in self.slot_nodes.items():
            if slot.limit >= 0:
                self.found.taken_of_limits[self.permits[slot.permit].id, slot.limit] = self.network.flow(arc)
        return self.found

    def _in_turn(self) -> Sequence[tuple[int, ...]]:
        """Return the needs of each animal, by their places, in the order in which animals have their turn."""
        by_animal = groupby(range(len(self.needs)), key=lambda place: (self.needs[place].subject.id, self.needs[place].activity))
        return sorted((tuple(places) for _, places in by_animal), key=self._turn)

    def _turn(self, places: Sequence[int]) -> tuple[Turn, int]:
        turn = self.needs[places[0]].turn
        return turn, -1 if len(places) == 1 else max(self.class_at[place].registered for place in places)

    def _is_covered_uncounted(self, place: int) -> bool:
        """Return whether a permit covers the animals of a need without counting them, and keep that."""
        need = self.needs[place]
        permit_id = self._uncounted(self.class_at[place], need.subject.life_stage)
        if permit_id is not None:
            self.found.shares[place] = (Share(permit_id, need.subject.number),)
        return permit_id is not None

    def _cover(self, places: Sequence[int], number: int) -> None:
        """Cover the needs of some animals: first by places that meet several at once, then each of what is left for itself."""
        for together, own in self._met_together(places) if len(places) > 1 else ():
            covered = self.network.push(own.node, number)
            if covered:
                own.members.append((together, covered))
                self._cover([place for place in places if place not in together], covered)
                number -= covered
        for place in places if number else ():
            own = self.class_at[place]
            covered = self.network.push(own.node, number)
            own.members.append(((place,), covered))
            if covered < number:
                self.found.uncovered[place] = self.found.uncovered.get(place, 0) + number - covered

    def _met_together(self, places: Sequence[int]) -> Iterator[tuple[tuple[int, ...], _Class]]:
        """Yield the needs of an animal that the same places meet, the most at once before the fewer, with the class of these places."""
        meeting: defaultdict[_Slot, list[int]] = defaultdict(list)
        for place in places:
            for slot in self.class_at[place].slots:
                meeting[slot].append(place)
        by_needs: defaultdict[tuple[int, ...], list[_Slot]] = defaultdict(list)
        for slot, met in meeting.items():
            if len(met) > 1:
                by_needs[tuple(met)].append(slot)
        for together, slots in sorted(by_needs.items(), key=lambda one: (-len(one[0]), one[0])):
            yield together, self._joint_class(tuple(slots))

    def _joint_class(self, slots: tuple[_Slot, ...]) -> _Class:
        if slots not in self.joint:
            self.joint[slots] = self._class_with(slots)
        return self.joint[slots]

    def _class_with(self, slots: tuple[_Slot, ...]) -> _Class:
        node = self.network.node()
        arcs = tuple(self.network.arc(node, self._slot_node(slot), self.most) for slot in slots)
        registered = min((self.registered[slot.permit] for slot in slots), default=_NEVER)
        return _Class(slots, node, arcs, registered)

    def _share_out(self, own: _Class) -> None:
        """Give the members of a class, in their order, what its places took."""
        found = self.found
        taken = [Share(self.permits[slot.permit].id, self.network.flow(arc)) for slot, arc in zip(own.slots, own.arcs, strict=True)]
        for one in taken:
            if one.number:
                found.taken[one.permit_id] = found.taken.get(one.permit_id, 0) + one.number
        waiting = deque(one for one in taken if one.number)
        for places, covered in own.members:
            shares: dict[UUID, int] = {}
            left = covered
            while left:
                first = waiting.popleft()
                some = min(left, first.number)
                shares[first.permit_id] = shares.get(first.permit_id, 0) + some
                left -= some
                if some < first.number:
                    waiting.appendleft(Share(first.permit_id, first.number - some))
            given = tuple(Share(permit_id, number) for permit_id, number in shares.items())
            for place in places:
                found.shares[place] = (*found.shares.get(place, ()), *given)

    def _uncounted(self, own: _Class, stage: LifeStage) -> UUID | None:
        """Return a permit that covers animals of a stage without counting them; a stage that is not known is counted."""
        if stage not in own.uncounted:
            stages = ((slot, self.kinds[self.permits[slot.permit].kind].counted_stages) for slot in own.slots)
            free = (self.permits[slot.permit].id for slot, counted in stages if counted and stage not in {*counted, LifeStage.UNKNOWN})
            own.uncounted[stage] = next(free, None)
        return own.uncounted[stage]

    def _class_of(self, need: Need) -> _Class:
        subject = need.subject
        own = tuple(place for kind in need.kinds for place in self.by_animal.get((kind, subject.id), ())) if self.by_animal else ()
        key = (need.kinds, need.activity, subject.taxon.id, need.premises.site_id, need.premises.jurisdictions, own)
        found = self.classes.get(key)
        if found is None:
            wide = (
                place
                for site_id in dict.fromkeys((need.premises.site_id, None))
                for kind in need.kinds
                for place in self._wide_places(kind, site_id, subject.taxon.names)
            )
            slots = tuple(slot for place in (*own, *wide) if (slot := self._slot(place, need)) is not None)
            found = self.classes[key] = self._class_with(slots)
        return found

    def _wide_places(self, kind: str, site_id: UUID | None, names: Iterable[str]) -> list[int]:
        """Return the permits of a kind that are for a site and for any taxon, or one of some names; the narrowest first."""
        return sorted({place for name in (None, *names) for place in self.wide.get((kind, site_id, name), ())})

    def _slot(self, place: int, need: Need) -> _Slot | None:
        permit = self.permits[place]
        if not covers(permit, need.subject, activity=need.activity, premises=need.premises):
            return None
        names = need.subject.taxon.names
        own = (index for index, limit in enumerate(permit.limits) if not names.isdisjoint(limit.taxa))
        return _Slot(place, next(own, -1))

    def _slot_node(self, slot: _Slot) -> int:
        """Return the node of a place; it is kept with the arc from there to the permit."""
        if slot not in self.slot_nodes:
            permit = self.permits[slot.permit]
            number = self.most if slot.limit < 0 else permit.limits[slot.limit].number
            node = self.network.node()
            self.slot_nodes[slot] = node, self.network.arc(node, self._permit_node(slot.permit), number)
        return self.slot_nodes[slot][0]

    def _permit_node(self, place: int) -> int:
        if place not in self.permit_nodes:
            number = self.permits[place].number
            self.permit_nodes[place] = node = self.network.node()
            self.network.arc(node, SINK, self.most if number is None else number)
        return self.permit_nodes[place]
