"""Transfers: in which order they go, and what is still open before animals may leave.

It is no legal advice: local codes, the issuing authority and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from uuid import UUID

from domain.rules.calendar import in_words
from domain.rules.compliance import Coverage
from domain.rules.fitness import Bearing as Speaking
from domain.rules.fitness import Fitness, ReasonCode
from domain.rules.law.decision import Bearing, Finding
from domain.rules.law.facts import Subject
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import Activity, Consequence, Duty, Occasion, Requirement
from domain.rules.law.spans import WorkingDays, day_before
from domain.rules.permits import DocumentKind, Permit, Start, valid_until

LOOKED_BACK_DAYS = 90
"""How far back a file that travels with animals tells what they weighed, what happened to them, and what was measured where they lived."""
CARED_DAYS = 14
"""For how many days after the arrival it tells how they are cared for."""
_DAY = timedelta(days=1)


class TransferBasis(StrEnum):
    """On what ground animals go: between sites of one's own, or to or from another party."""

    MOVE = "move"
    SALE = "sale"
    GIFT = "gift"
    EXCHANGE = "exchange"
    LOAN = "loan"
    PLACEMENT = "placement"
    RETURN = "return"


class TransferStage(StrEnum):
    """How far a transfer has come."""

    DRAFT = "draft"
    COMPLETE = "complete"
    APPROVED = "approved"
    DISPATCHED = "dispatched"
    RECEIVED = "received"
    REFUSED = "refused"
    RETURNED = "returned"
    CLOSED = "closed"


class TransferAct(StrEnum):
    """What takes a transfer from one stage to the next."""

    CHECK = "check"
    APPROVE = "approve"
    DISPATCH = "dispatch"
    RECEIVE = "receive"
    REFUSE = "refuse"
    CLOSE = "close"


_NEXT: Mapping[tuple[TransferStage, TransferAct], TransferStage] = {
    (TransferStage.DRAFT, TransferAct.CHECK): TransferStage.COMPLETE,
    (TransferStage.COMPLETE, TransferAct.CHECK): TransferStage.COMPLETE,
    (TransferStage.COMPLETE, TransferAct.APPROVE): TransferStage.APPROVED,
    (TransferStage.APPROVED, TransferAct.CHECK): TransferStage.APPROVED,
    (TransferStage.APPROVED, TransferAct.DISPATCH): TransferStage.DISPATCHED,
    (TransferStage.DISPATCHED, TransferAct.RECEIVE): TransferStage.RECEIVED,
    (TransferStage.DISPATCHED, TransferAct.REFUSE): TransferStage.REFUSED,
    (TransferStage.REFUSED, TransferAct.RECEIVE): TransferStage.RETURNED,
    (TransferStage.RECEIVED, TransferAct.CLOSE): TransferStage.CLOSED,
    (TransferStage.RETURNED, TransferAct.CLOSE): TransferStage.CLOSED,
}
BEFORE_DISPATCH = frozenset({TransferStage.DRAFT, TransferStage.COMPLETE, TransferStage.APPROVED})
UNDER_WAY = frozenset({TransferStage.DISPATCHED, TransferStage.REFUSED})
ARRIVED = frozenset({TransferStage.RECEIVED, TransferStage.RETURNED})


def next_stage(stage: TransferStage, act: TransferAct) -> TransferStage | None:
    """Return the stage that an act leads to from another, ``None`` where it is not the turn of that act."""
    return _NEXT.get((stage, act))


class ItemCode(StrEnum):
    """What is open before animals may leave."""

    NO_ANIMALS = "no_animals"
    NOT_HERE = "not_here"
    TAG_TAKEN = "tag_taken"
    CODE_TAKEN = "code_taken"
    IN_CUSTODY = "in_custody"
    NOT_OURS = "not_ours"
    PLACE_UNKNOWN = "place_unknown"
    PROHIBITED = "prohibited"
    CANNOT_DECIDE = "cannot_decide"
    DOCUMENT_MISSING = "document_missing"
    NUMBER_EXCEEDED = "number_exceeded"
    MARK_MISSING = "mark_missing"
    NOT_TOLD = "not_told"
    PAPER_LAPSES = "paper_lapses"
    PAPER_USED = "paper_used"
    LICENCE_LAPSES = "licence_lapses"
    LICENCE_MISSING = "licence_missing"
    CARRIER_MISSING = "carrier_missing"
    CARRIER_UNAUTHORISED = "carrier_unauthorised"
    CARRIER_LAPSES = "carrier_lapses"
    NOBODY_COMPETENT = "nobody_competent"
    CONTAINER_MISSING = "container_missing"
    TEMPERATURE_MISSING = "temperature_missing"
    QUARANTINE_PLACE_MISSING = "quarantine_place_missing"
    QUARANTINE_PLAN_MISSING = "quarantine_plan_missing"
    QUARANTINE_UNSUITED = "quarantine_unsuited"
    QUARANTINE_UNDECIDED = "quarantine_undecided"
    DAY_PASSED = "day_passed"
    LOAN_OVER = "loan_over"
    NUMBER_CHANGED = "number_changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenItem:
    """Something that has to be settled before animals may leave: what, in a sentence, and where it is mended.

    ``field`` is the field of the transfer, or the part of it, that is to be corrected. ``turns`` says that another day may settle it.
    ``animal_ids`` are the animals that it is about, none where it is about all. ``finding`` is what a requirement says, where it is one
    that stands against it.
    """

    code: ItemCode
    sentence: str
    field: str
    animal_ids: tuple[UUID, ...] = ()
    paper_id: UUID | None = None
    finding: Finding | None = None
    turns: bool = False


@dataclass(frozen=True, slots=True)
class Days:
    """The days of a plan: when animals leave, and when they arrive."""

    dispatch_on: date
    arrive_on: date

    def from_day(self, dispatch_on: date) -> Days:
        """Return the plan that leaves on another day and takes as long."""
        return Days(dispatch_on, dispatch_on + (self.arrive_on - self.dispatch_on))

    def left(self, on: date, *, from_us: bool) -> Days:
        """Return the days of animals of which it is said on a day that they leave; another party's may have left since the planned day."""
        is_on_its_way = not from_us and self.dispatch_on <= on <= self.arrive_on
        return self if is_on_its_way else self.from_day(on)


@dataclass(frozen=True, slots=True, kw_only=True)
class Journey:
    """Who carries the animals, in what, how warm, and where they are kept apart on arrival; what is not said is ``None``.

    ``leaves_us`` says that the day of dispatch is ours to keep, and not another party's. ``due_back_on`` is the day until which a loan is.
    """

    leaves_us: bool = True
    carrier: str | None = None
    carrier_authorisation: str | None = None
    carrier_until: date | None = None
    needs_carrier: bool = True
    container: str | None = None
    least_c: float | None = None
    most_c: float | None = None
    needs_quarantine: bool = False
    quarantine_place: str | None = None
    quarantine_days: int | None = None
    party_licence: str | None = None
    party_licence_until: date | None = None
    has_party: bool = False
    due_back_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A paper that goes with the animals: what a permit of its kind says of its days. ``kind`` is ``None`` where no rule pack knows it.

    ``working`` are the working days of the kind's jurisdiction.
    """

    id: UUID
    title: str
    permit: Permit
    kind: DocumentKind | None
    working: WorkingDays | None = None
    requirement_code: str | None = None

    @property
    def last_day(self) -> date | None:
        """The last day on which it is good, ``None`` where it has no end."""
        return self.permit.last_day if self.kind is None else valid_until(self.permit, self.kind, working=self.working)

    @property
    def is_used(self) -> bool:
        """Whether it was for one consignment, and that has left."""
        return self.kind is not None and self.kind.for_one_consignment and self.permit.used_on is not None


@dataclass(frozen=True, slots=True)
class Renewal:
    """That a paper of a plan has to be had anew: made from a first to a last day, it is good until the animals are settled.

    ``from_on`` is ``None`` where the paper's kind sets no span: then whoever issues it has to say a later last day.
    """

    paper: Paper
    starts: Start
    from_on: date | None
    until_on: date


def good_through(days: Days, *, buffer_days: int) -> date:
    """Return the day through which papers have to be good: the day of arrival and as many days as were set aside for a delay."""
    return days.arrive_on + timedelta(days=buffer_days)


def journey_items(journey: Journey, days: Days, *, through: date, today: date) -> Iterator[OpenItem]:
    """Yield what is open about the days, the loan, the carrier, the container, the temperature, the other party and quarantine."""
    name, on = ("dispatch", days.dispatch_on) if journey.leaves_us else ("arrival", days.arrive_on)
    if on < today:
        sentence = f"The day of {name}, {in_words(on)}, has passed; set another."
        yield OpenItem(code=ItemCode.DAY_PASSED, sentence=sentence, field="dispatch_on" if journey.leaves_us else "arrive_on", turns=True)
    if journey.due_back_on is not None and journey.due_back_on <= days.arrive_on:
        until, arrive = in_words(journey.due_back_on), in_words(days.arrive_on)
        sentence = f"The loan is until {until}, and they arrive on {arrive}; agree on a later end."
        yield OpenItem(code=ItemCode.LOAN_OVER, sentence=sentence, field="due_back_on", turns=True)
    if journey.needs_carrier:
        yield from _carrier_items(journey, through=through)
    if journey.container is None:
        sentence = "Say in which container they travel, and how it is marked; carriers have rules for each kind of animal."
        yield OpenItem(code=ItemCode.CONTAINER_MISSING, sentence=sentence, field="container")
    if journey.least_c is None or journey.most_c is None:
        sentence = "Say between which temperatures they travel; outside them the journey waits."
        yield OpenItem(code=ItemCode.TEMPERATURE_MISSING, sentence=sentence, field="least_c" if journey.least_c is None else "most_c")
    if journey.has_party:
        yield from _party_items(journey, through=through)
    if journey.needs_quarantine:
        yield from _quarantine_items(journey)


def _carrier_items(journey: Journey, *, through: date) -> Iterator[OpenItem]:
    if journey.carrier is None:
        yield OpenItem(code=ItemCode.CARRIER_MISSING, sentence="Say who carries them.", field="carrier")
        return
    if journey.carrier_authorisation is None:
        sentence = f"Say under which authorisation {journey.carrier} carries live animals; where none is needed, say so in words."
        yield OpenItem(code=ItemCode.CARRIER_UNAUTHORISED, sentence=sentence, field="carrier_authorisation")
    if journey.carrier_until is not None and journey.carrier_until < through:
        sentence = f"{journey.carrier} is authorised until {in_words(journey.carrier_until)}; it is needed until {in_words(through)}."
        yield OpenItem(code=ItemCode.CARRIER_LAPSES, sentence=sentence, field="carrier_until", turns=True)


def _party_items(journey: Journey, *, through: date) -> Iterator[OpenItem]:
    if journey.party_licence is None:
        sentence = "Say under which licence the other party keeps them; where none is needed, say so in words."
        yield OpenItem(code=ItemCode.LICENCE_MISSING, sentence=sentence, field="party_licence")
    elif journey.party_licence_until is not None and journey.party_licence_until < through:
        lapses = in_words(journey.party_licence_until)
        sentence = f"The other party's licence {journey.party_licence} is good until {lapses}; it is needed until {in_words(through)}."
        yield OpenItem(code=ItemCode.LICENCE_LAPSES, sentence=sentence, field="party_licence_until", turns=True)


def _quarantine_items(journey: Journey) -> Iterator[OpenItem]:
    if journey.quarantine_place is None:
        sentence = "Say in which enclosure they are kept apart on arrival."
        yield OpenItem(code=ItemCode.QUARANTINE_PLACE_MISSING, sentence=sentence, field="quarantine_enclosure_id")
    if journey.quarantine_days is None:
        sentence = "Say for how many days they are kept apart; a veterinarian decides for the species and where they come from."
        yield OpenItem(code=ItemCode.QUARANTINE_PLAN_MISSING, sentence=sentence, field="quarantine_days")


def paper_items(papers: Iterable[Paper], *, through: date) -> Iterator[OpenItem]:
    """Yield the papers that go with the animals and are not good long enough, or were for another consignment."""
    for one in papers:
        if one.is_used:
            used = "" if one.permit.used_on is None else f" on {in_words(one.permit.used_on)}"
            sentence = f"{one.title} was for one consignment, and was used{used}; have one issued for this one."
            yield OpenItem(code=ItemCode.PAPER_USED, sentence=sentence, field="papers", paper_id=one.id)
            continue
        last = one.last_day
        if last is not None and last < through:
            until = "it rests on no inspection that is on record" if last == date.min else f"it is good until {in_words(last)}"
            sentence = f"{one.title} lapses too early: {until}, and is needed until {in_words(through)}."
            yield OpenItem(code=ItemCode.PAPER_LAPSES, sentence=sentence, field="papers", paper_id=one.id, turns=True)


def renewals(papers: Iterable[Paper], days: Days, *, through: date) -> list[Renewal]:
    """Return the papers that have to be had anew for a plan, each with the first day on which it may be made for that."""
    found: list[Renewal] = []
    for one in papers:
        last = one.last_day
        if last is None or last >= through:
            continue
        kind = one.kind
        first = None if kind is None or kind.lasts is None else day_before(through, kind.lasts, working=one.working)
        found.append(Renewal(one, Start.ISSUE if kind is None else kind.starts, first, days.dispatch_on))
    return found


Told = Mapping[str, frozenset[UUID]]
Why = Callable[[Coverage, Sequence[str]], tuple[ItemCode, str]]
"""Why animals are without a document of some kinds: the code, and the end of a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Objection:
    """What the law of one end leaves open of one animal; ``what`` is the sentence without the animal."""

    subject: Subject
    code: ItemCode
    what: str
    field: str
    finding: Finding | None = None

    @property
    def about(self) -> tuple[UUID, ItemCode, str]:
        """By what two of them are one and the same, whichever act they came of: animal, code, and the requirement or the sentence."""
        return self.subject.id, self.code, self.what if self.finding is None else self.finding.requirement.code


def objections(coverages: Iterable[Coverage], *, told: Told, why: Why, where: str, titles: Mapping[str, str]) -> Iterator[Objection]:
    """Yield what the law of one end leaves open of each animal.

    ``told`` are by requirement the animals whose notification is among the papers, ``titles`` those of kinds of documents by code.
    """
    for one in coverages:
        yield from _findings(one, told=told, where=where)
        yield from (_without(one, answer.kinds, why=why, where=where, titles=titles) for answer in one.answers if answer.uncovered)


def law_items(found: Iterable[Objection]) -> Iterator[OpenItem]:
    """Yield what the law leaves open, each thing once with all animals that it is about."""
    unsettled: dict[tuple[UUID, ItemCode, str], Objection] = {}
    for one in found:
        unsettled.setdefault(one.about, one)
    together: dict[tuple[ItemCode, str], list[Objection]] = {}
    for one in unsettled.values():
        together.setdefault((one.code, one.what), []).append(one)
    for (code, what), alike in together.items():
        sentence = f"{_named([one.subject.tag for one in alike])}: {what}"
        animal_ids = tuple(one.subject.id for one in alike)
        yield OpenItem(code=code, sentence=sentence, field=alike[0].field, animal_ids=animal_ids, finding=alike[0].finding, turns=True)


_NAMED = 6
"""How many animals a sentence names by their tags before it only counts the rest."""


def _named(tags: Sequence[str]) -> str:
    rest = len(tags) - _NAMED
    return ", ".join(tags) if rest <= 0 else f"{', '.join(tags[:_NAMED])} and {rest} more"


def _findings(one: Coverage, *, told: Told, where: str) -> Iterator[Objection]:
    subject = one.subject
    for finding in one.decision.findings:
        rule = f"{finding.requirement.title} ({finding.requirement.citation})"
        match finding.bearing:
            case Bearing.PROHIBITS:
                what = f"{where} this is prohibited. {rule}."
                yield Objection(subject=subject, code=ItemCode.PROHIBITED, what=what, field="animals", finding=finding)
            case Bearing.CANNOT_DECIDE:
                what = f"{where} it cannot be decided; find out: {', '.join(sorted(finding.missing))}. {rule}."
                yield Objection(subject=subject, code=ItemCode.CANNOT_DECIDE, what=what, field="animals", finding=finding)
            case Bearing.NEEDS_MARK:
                what = f"a mark is needed and none is on record. {rule}."
                yield Objection(subject=subject, code=ItemCode.MARK_MISSING, what=what, field="animals", finding=finding)
            case Bearing.OBLIGES if _is_told_of_moves(finding.requirement) and subject.id not in told.get(finding.requirement.code, ()):
                what = f"{where} this has to be told beforehand. {rule}. Add the notification to the papers."
                yield Objection(subject=subject, code=ItemCode.NOT_TOLD, what=what, field="papers", finding=finding)
            case _:
                pass
    beyond = one.decision.missing.difference(*(finding.missing for finding in one.decision.findings))
    if beyond:
        what = f"{where} it cannot be decided; find out: {', '.join(sorted(beyond))}."
        yield Objection(subject=subject, code=ItemCode.CANNOT_DECIDE, what=what, field="animals")


def _is_told_of_moves(rule: Requirement) -> bool:
    """Return whether a requirement asks for a notification of what is done, and not of what may happen: escapes, bites, outages."""
    if rule.consequence is not Consequence.NOTIFY:
        return False
    occasions = [one.occasion for one in rule.obligations if one.duty is Duty.NOTIFY]
    return not occasions or any(one in (None, Occasion.DEPARTURE) for one in occasions)


def _without(one: Coverage, kinds: Sequence[str], *, why: Why, where: str, titles: Mapping[str, str]) -> Objection:
    code, because = why(one, kinds)
    finding = next((each for each in one.decision.findings if each.documents == tuple(kinds)), None)
    rule = "" if finding is None else f" {finding.requirement.title} ({finding.requirement.citation})."
    called = " or ".join(titles.get(kind, kind) for kind in kinds)
    what = f"{where} a document is needed, {called}; {because}{rule}"
    return Objection(subject=one.subject, code=code, what=what, field="papers", finding=finding)


GUARDS = frozenset(
    (
        *(ReasonCode.CLOSURE_TOO_WEAK, ReasonCode.NOBODY_COMPETENT),
        *(ReasonCode.HAZARD_UNKNOWN, ReasonCode.CONTAINMENT_UNKNOWN, ReasonCode.CLOSURE_UNKNOWN),
    )
)
"""What keeps people from harm: no reason to accept the enclosure all the same settles it before a journey."""


def quarantine_items(fitness: Fitness, subjects: Sequence[Subject], *, accepted: bool) -> Iterator[OpenItem]:
    """Yield why an enclosure does not suit animals of one taxon that are to be kept apart in it.

    Where that is ``accepted``, somebody answers for all of it but for what guards people, how it closes and who is competent; that has to
    be known as well.
    """
    named, animal_ids = _named([one.tag for one in subjects]), tuple(one.id for one in subjects)
    for reason in fitness.reasons:
        guards = reason.code in GUARDS
        if reason.bearing is Speaking.AGAINST and (guards or not accepted):
            code, sentence = ItemCode.QUARANTINE_UNSUITED, f"{named}: the enclosure on arrival does not suit. {reason.sentence}"
        elif reason.bearing is Speaking.MISSING and guards:
            code, sentence = (
                ItemCode.QUARANTINE_UNDECIDED,
                f"{named}: whether the enclosure is safe is not known. {reason.sentence}",
            )
        else:
            continue
        yield OpenItem(code=code, sentence=sentence, field="quarantine_enclosure_id", animal_ids=animal_ids)


@dataclass(frozen=True, slots=True)
class Ways:
    """What a journey is by law at both ends; empty at an end about whose law nothing is asked."""

    leaving: tuple[Activity, ...]
    arriving: tuple[Activity, ...]


_GIVEN: Mapping[TransferBasis, tuple[Activity, ...]] = {
    TransferBasis.SALE: (Activity.SELL,),
    TransferBasis.GIFT: (Activity.GIVE,),
    TransferBasis.EXCHANGE: (Activity.GIVE,),
    TransferBasis.PLACEMENT: (Activity.GIVE,),
    TransferBasis.LOAN: (Activity.LOAN,),
}


def ways(basis: TransferBasis, sender: Sequence[str], receiver: Sequence[str], jurisdictions: Mapping[str, Jurisdiction]) -> Ways:
    """Return what the law of either end has to be asked about, given the jurisdictions of both from the local one up.

    Within one state animals are moved within a subdivision or between two, from one state to another they are exported and imported.
    """
    given = _GIVEN.get(basis, ())
    bought = (Activity.BUY,) if basis is TransferBasis.SALE else ()
    states = tuple(_at_level(chain, jurisdictions, Level.STATE) for chain in (sender, receiver))
    if states[0] != states[1]:
        return Ways((*given, Activity.EXPORT), (Activity.IMPORT, *bought, Activity.HOLD))
    parts = tuple(_at_level(chain, jurisdictions, Level.SUBDIVISION) for chain in (sender, receiver))
    moved = Activity.MOVE_WITHIN if parts[0] == parts[1] else Activity.MOVE_BETWEEN
    return Ways((*given, moved), (moved, *bought, Activity.HOLD))


def _at_level(chain: Sequence[str], jurisdictions: Mapping[str, Jurisdiction], level: Level) -> str | None:
    return next((code for code in reversed(chain) if code in jurisdictions and jurisdictions[code].level is level), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """What came of looking at a plan: what is open, the first plan for which nothing is that a day settles, and what to have anew.

    ``earliest`` is ``None`` where other days alone do not settle within a year what is open.
    """

    days: Days
    through: date
    items: tuple[OpenItem, ...]
    earliest: Days | None
    renewals: tuple[Renewal, ...] = field(default=())

    @property
    def is_complete(self) -> bool:
        """Whether nothing is open."""
        return not self.items
