"""What a requirement of the law says, as its rule pack states it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from domain.rules.law.spans import Span
from domain.rules.lives import LifeStage, Origin
from domain.rules.taxonomy import TaxonRank


class Activity(StrEnum):
    """What is done with animals, as laws tell it apart."""

    HOLD = "hold"
    DISPLAY = "display"
    BREED = "breed"
    SELL = "sell"
    OFFER = "offer"
    BUY = "buy"
    LOAN = "loan"
    GIVE = "give"
    MOVE_WITHIN = "move_within"
    MOVE_BETWEEN = "move_between"
    IMPORT = "import"
    EXPORT = "export"
    RE_EXPORT = "re_export"
    TRANSIT = "transit"
    RELEASE = "release"
    EUTHANISE = "euthanise"
    RESEARCH = "research"
    PUBLIC_HANDLING = "public_handling"


class Consequence(StrEnum):
    """What follows where a requirement applies."""

    PROHIBITED = "prohibited"
    DOCUMENT = "document"
    MARK = "mark"
    NOTIFY = "notify"
    REPORT = "report"
    RECORD = "record"
    INSPECT = "inspect"
    EXEMPT = "exempt"


DUTIES_ALONE = frozenset((Consequence.NOTIFY, Consequence.REPORT, Consequence.RECORD, Consequence.INSPECT))
"""What asks for something to be done besides an act, and neither forbids that nor makes it depend on anything."""


class Relation(StrEnum):
    """How a fact has to stand to what a predicate names."""

    UNDER = "under"
    AT_MOST = "at_most"
    OVER = "over"
    AT_LEAST = "at_least"
    BEFORE = "before"
    ON_OR_AFTER = "on_or_after"
    IS = "is"


class Fact(StrEnum):
    """What a predicate may ask of, besides the kinds of measurement.

    ``NUMBER`` is how many animals that the requirement selects are at the premises; ``PUBLIC_DAYS`` how many of the last twelve months'
    days the premises were open to the public; ``AGE_MONTHS`` the full months since hatching or birth.
    """

    NUMBER = "number"
    AGE_MONTHS = "age_months"
    ACQUIRED_ON = "acquired_on"
    MARKED = "marked"
    PUBLIC_DAYS = "public_days"
    HOLDER_KIND = "holder_kind"
    PREMISES_KIND = "premises_kind"
    SEX = "sex"


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicate:
    """That a fact stands in a relation to a number [g, mm, months, days or animals], a day, or some words.

    ``measured_within_days`` is how old a measurement may be that can be outgrown; of sizes a pack always says it.
    """

    fact: str
    relation: Relation
    number: float | None = None
    day: date | None = None
    words: frozenset[str] = frozenset()
    measured_within_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A listed taxon, with what it is taken to cover.

    ``members`` are taxa that have been split from it and that the listing is read to cover still. ``higher`` names what it lies in, by
    rank, so that animals that are known no further can be told apart. ``applies_from`` is later than the requirement's own day where
    the list delays this entry.
    """

    name: str
    rank: TaxonRank
    members: tuple[str, ...] = ()
    higher: tuple[tuple[TaxonRank, str], ...] = ()
    applies_from: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Selector:
    """Which animals a requirement is about. Without ``any_of`` it is about all; without stages or origins about every one of them."""

    any_of: tuple[Entry, ...] = ()
    but_not: tuple[Entry, ...] = ()
    life_stages: frozenset[LifeStage] = frozenset()
    origins: frozenset[Origin] = frozenset()
    with_hybrids: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Exemption:
    """When a requirement does not bind: where all of ``when`` holds, and with ``document`` only under one of that kind.

    ``until`` is the last day of a transition; ``activities`` bounds it to some of the requirement's.
    """

    code: str
    when: tuple[Predicate, ...] = ()
    document: str | None = None
    activities: frozenset[Activity] = frozenset()
    until: date | None = None
    conditions: tuple[str, ...] = ()


class Duty(StrEnum):
    """What an obligation asks to be done."""

    NOTIFY = "notify"
    REPORT = "report"
    RECORD = "record"
    INSPECT = "inspect"
    CHECK = "check"
    DRILL = "drill"
    RETAIN = "retain"


class Occasion(StrEnum):
    """What an obligation's time runs from."""

    BIRTH = "birth"
    DEATH = "death"
    ARRIVAL = "arrival"
    DEPARTURE = "departure"
    ESCAPE = "escape"
    BITE = "bite"
    INJURY = "injury"
    OUTAGE = "outage"
    CONTAMINATION = "contamination"
    ADDRESS_CHANGE = "address_change"
    OWNER_CHANGE = "owner_change"
    NUMBER_EXCEEDED = "number_exceeded"


class Period(StrEnum):
    """What a return tells of."""

    CALENDAR_YEAR = "calendar_year"
    CALENDAR_QUARTER = "calendar_quarter"


@dataclass(frozen=True, slots=True, kw_only=True)
class Obligation:
    """What is to be done and by when: within a span of an occasion, on a day after each period, or every so often.

    ``within`` runs from the ``occasion``; a return is due ``due_month`` and ``due_day`` after its ``period``; what recurs does so ``every``
    span from the permit's first day. ``lead`` is how long before it is told. ``fields`` are what a return has to hold, by name.
    """

    code: str
    duty: Duty
    occasion: Occasion | None = None
    within: Span | None = None
    period: Period | None = None
    due_month: int | None = None
    due_day: int | None = None
    every: Span | None = None
    lead: Span | None = None
    fields: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """A requirement in one version, from the day that it applies.

    ``listed_on`` may be earlier than ``applies_from``; ``applies_until`` is its last day. ``documents`` are the kinds of which one is
    needed; ``exempts`` are the codes of those that do not bind where this one, whose consequence is to exempt, applies.
    """

    code: str
    version: str
    pack: str
    jurisdiction: str
    instrument: str
    title: str
    citation: str
    consequence: Consequence
    applies_from: date
    applies_until: date | None = None
    listed_on: date | None = None
    selector: Selector = field(default_factory=Selector)
    activities: frozenset[Activity] = frozenset()
    when: tuple[Predicate, ...] = ()
    documents: tuple[str, ...] = ()
    exempts: frozenset[str] = frozenset()
    exemptions: tuple[Exemption, ...] = ()
    obligations: tuple[Obligation, ...] = ()
    reviewed_on: date | None = None

    @property
    def asks_of_each(self) -> bool:
        """Whether it, or what it exempts, asks for more of an animal or its premises than the taxon, the life stage and the origin."""
        return bool(self.when) or self.consequence is Consequence.MARK or any(one.when for one in self.exemptions)
