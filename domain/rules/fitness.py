"""Whether an enclosure suits the animals that are to live in it: a decision with its reasons.

What is not on record never speaks for an enclosure: then it cannot be decided, and the reasons say what is missing. What is against it wins
over what is missing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from domain.rules.calendar import in_words
from domain.rules.lives import LifeStage


class Hazard(StrEnum):
    """What animals can do to people, from least to most."""

    HARMLESS = "harmless"
    CAN_INJURE = "can_injure"
    DANGEROUS = "dangerous"
    VENOMOUS = "venomous"


class Closure(StrEnum):
    """How an enclosure closes, from least to most."""

    OPEN = "open"
    COVERED = "covered"
    LATCHED = "latched"
    LOCKED = "locked"
    LOCKED_TWICE = "locked_twice"


class Outcome(StrEnum):
    """What comes of it."""

    FITS = "fits"
    DOES_NOT_FIT = "does_not_fit"
    CANNOT_DECIDE = "cannot_decide"


class Bearing(StrEnum):
    """What a reason does to the outcome: it is against the placement, says what is missing, or is only to be known."""

    AGAINST = "against"
    MISSING = "missing"
    REMARK = "remark"


class ReasonCode(StrEnum):
    """What a reason is about. The words are stable; front ends may tell reasons apart by them."""

    KIND_UNSUITED = "kind-unsuited"
    FLOOR_TOO_SMALL = "floor-too-small"
    WATER_TOO_LITTLE = "water-too-little"
    TOO_MANY = "too-many"
    KEPT_APART = "kept-apart"
    LIVES_SINGLY = "lives-singly"
    CLOSURE_TOO_WEAK = "closure-too-weak"
    NOBODY_COMPETENT = "nobody-competent"
    OUT_OF_QUARANTINE = "out-of-quarantine"
    PAST_QUARANTINE = "past-quarantine"
    CLOCK_RESTARTS = "clock-restarts"
    NO_QUARANTINE = "no-quarantine"
    TARGET_UNKNOWN = "target-unknown"
    SIZE_UNKNOWN = "size-unknown"
    FLOOR_UNKNOWN = "floor-unknown"
    WATER_UNKNOWN = "water-unknown"
    EACH_MORE_UNKNOWN = "each-more-unknown"
    HAZARD_UNKNOWN = "hazard-unknown"
    CONTAINMENT_UNKNOWN = "containment-unknown"
    CLOSURE_UNKNOWN = "closure-unknown"


class CameFrom(StrEnum):
    """Where animals were before: among the stock, in quarantine, or not in this collection, and not in quarantine since."""

    STOCK = "stock"
    QUARANTINE = "quarantine"
    OUTSIDE = "outside"


CAUTION = "Site rules, local codes and licensed practice come first; this decision does not replace them."
"""What is said with every decision about animals that can harm people, or of which that is not known."""
QUARANTINE_PRACTICE = "Quarantine practice: arrivals wait apart until they are released; all in, all out, or the clock restarts."
STATED_CAPACITY = "The enclosure's capacity as registered."


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What animals of a taxon need of an enclosure at one stage of life, or at all that have no target of their own.

    ``enclosure_kinds`` are the kinds that suit; without any, all do. ``least_floor_m2`` and ``least_water_l`` are for one animal.
    """

    taxon_id: UUID
    life_stage: LifeStage | None = None
    enclosure_kinds: tuple[str, ...] = ()
    least_floor_m2: float | None = None
    floor_each_more_m2: float | None = None
    least_water_l: float | None = None
    water_each_more_l: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """That animals covered by the name of one accepted taxon may not live with those of another; with itself: that they live singly."""

    one: UUID
    other: UUID
    reason: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Safeguard:
    """What is asked for before animals of a hazard class are kept."""

    least_closure: Closure
    competence_needed: bool = False
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lodgers:
    """Animals of one taxon at one stage of life. ``covered_by`` are the accepted taxa whose names cover theirs, their own among them."""

    taxon_id: UUID
    name: str
    number: int = 1
    life_stage: LifeStage = LifeStage.UNKNOWN
    hazard: Hazard | None = None
    covered_by: frozenset[UUID] = frozenset()
    target: Target | None = None

    @property
    def are_eggs(self) -> bool:
        """Whether they have not hatched."""
        return self.life_stage is LifeStage.EGG


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """An enclosure. ``floor_m2`` is its floor [m2], ``volume_l`` its water [L], ``capacity`` the most animals that may live in it."""

    name: str
    kind: str = ""
    floor_m2: float | None = None
    volume_l: float | None = None
    capacity: int | None = None
    closure: Closure | None = None
    quarantine: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementFacts:
    """Animals that are to be put into a place on a day, and those there already.

    ``competent`` is how many members of staff, of the site or of the whole organisation, hold a competence for their hazard class on that
    day. ``site_quarantines`` says whether the site has a place to keep arrivals apart in.
    """

    on: date
    animals: Lodgers
    place: Place
    others: Sequence[Lodgers] = ()
    came_from: CameFrom = CameFrom.STOCK
    apart: Sequence[Apart] = ()
    safeguard: Safeguard | None = None
    competent: int = 0
    site_quarantines: bool = False

    @property
    def everybody(self) -> tuple[Lodgers, ...]:
        """The animals to be placed, then the others."""
        return (self.animals, *self.others)


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that bears on a placement, in a sentence. ``source`` is whose rule it is, where one is on record.

    ``missing`` names what is not on record, as kind of record and field.
    """

    code: ReasonCode
    bearing: Bearing
    sentence: str
    source: str | None = None
    missing: str | None = None


@dataclass(frozen=True, slots=True)
class Fitness:
    """The decision about a placement. Reasons against it come first, then what is missing, then what is only to be known."""

    outcome: Outcome
    reasons: tuple[Reason, ...]
    caution: str | None = None

    @property
    def against(self) -> tuple[Reason, ...]:
        """The reasons that speak against the placement."""
        return tuple(one for one in self.reasons if one.bearing is Bearing.AGAINST)


def fitness(facts: PlacementFacts) -> Fitness:
    """Return whether a place suits the animals that are to live there, with everybody who is there already.

    A place without a stated capacity has no such limit. Eggs need room only where a target says so for eggs, and are no company that
    other eggs could not share.
    """
    found = [*_kind(facts), *_room(facts), *_capacity(facts), *_company(facts), *_containment(facts), *_quarantine(facts)]
    reasons = tuple(one for bearing in Bearing for one in found if one.bearing is bearing)
    bearings = {one.bearing for one in reasons}
    if Bearing.AGAINST in bearings:
        outcome = Outcome.DOES_NOT_FIT
    else:
        outcome = Outcome.CANNOT_DECIDE if Bearing.MISSING in bearings else Outcome.FITS
    harmless = all(one.hazard is Hazard.HARMLESS for one in facts.everybody)
    return Fitness(outcome, reasons, None if harmless else CAUTION)


def target_for(targets: Iterable[Target], *, lineage: Sequence[UUID], life_stage: LifeStage) -> Target | None:
    """Return what animals at a stage of life need: the target of their taxon, or of the nearest above it that has one for them.

    A target for the stage goes before one for any. Eggs have only targets for eggs. Where the stage is not known and the taxon has targets
    for some stages, one for any stage does not do: the animals may be at one of those.
    """
    by_taxon: dict[UUID, dict[LifeStage | None, Target]] = {}
    for target in targets:
        by_taxon.setdefault(target.taxon_id, {}).setdefault(target.life_stage, target)
    for own in (by_taxon[taxon_id] for taxon_id in lineage if taxon_id in by_taxon):
        if life_stage in own:
            return own[life_stage]
        if life_stage is LifeStage.UNKNOWN and set(own) != {None}:
            return None
        if life_stage is not LifeStage.EGG and None in own:
            return own[None]
    return None


def _kind(facts: PlacementFacts) -> Iterator[Reason]:
    animals, place = facts.animals, facts.place
    if animals.target is None or not animals.target.enclosure_kinds or place.kind in animals.target.enclosure_kinds:
        return
    suited = " or ".join(f"'{_words(kind)}'" for kind in animals.target.enclosure_kinds)
    yield _against(
        ReasonCode.KIND_UNSUITED,
        f"{place.name} is of kind '{_words(place.kind)}'; {animals.name} should live in one of kind {suited}.",
        source=animals.target.source,
    )


@dataclass(frozen=True, slots=True)
class _Extent:
    """A way in which a place can be too small."""

    word: str
    unit: str
    least: str
    more: str
    of_place: str
    too_small: ReasonCode
    unknown: ReasonCode


_EXTENTS = (
    _Extent("floor", "m²", "least_floor_m2", "floor_each_more_m2", "floor_m2", ReasonCode.FLOOR_TOO_SMALL, ReasonCode.FLOOR_UNKNOWN),
    _Extent("water", "L", "least_water_l", "water_each_more_l", "volume_l", ReasonCode.WATER_TOO_LITTLE, ReasonCode.WATER_UNKNOWN),
)
_ROUNDING = 1e-9
"""By how much a computed size may fall short [fraction]: 0.7 m by 0.1 m is a little less than 0.07 m2 to a computer."""


def _room(facts: PlacementFacts) -> Iterator[Reason]:
    for lodgers in facts.everybody:
        if lodgers.target is None:
            if not lodgers.are_eggs or lodgers is facts.animals:
                yield _target_unknown(lodgers)
        elif lodgers.target.least_floor_m2 is None and lodgers.target.least_water_l is None and not lodgers.are_eggs:
            yield _missing(
                ReasonCode.SIZE_UNKNOWN,
                f"The target for {lodgers.name} says neither how much floor nor how much water they need.",
                missing="husbandry_target.least_floor_m2",
                source=lodgers.target.source,
            )
    for extent in _EXTENTS:
        yield from _large_enough(facts, extent)


def _target_unknown(lodgers: Lodgers) -> Reason:
    stage = "at an unknown stage of life" if lodgers.life_stage is LifeStage.UNKNOWN else f"at stage {lodgers.life_stage.value}"
    return _missing(
        ReasonCode.TARGET_UNKNOWN, f"No husbandry target holds for {lodgers.name} {stage} on that day.", missing="husbandry_target"
    )


@dataclass(frozen=True, slots=True)
class _Need:
    """What some animals need of an extent: the least for one, and for each more as far as their target says so."""

    lodgers: Lodgers
    target: Target
    least: float
    more: float | None

    @property
    def known_more(self) -> float:
        """What each more is known to need: nothing where the target does not say."""
        return self.more or 0.0


def _needs(facts: PlacementFacts, extent: _Extent) -> Iterator[_Need]:
    for lodgers in facts.everybody:
        least = getattr(lodgers.target, extent.least, None)
        if lodgers.target is not None and least is not None:
            yield _Need(lodgers, lodgers.target, least, getattr(lodgers.target, extent.more))


def _large_enough(facts: PlacementFacts, extent: _Extent) -> Iterator[Reason]:
    """Yield why the place is too small, or what is missing to say so.

    One animal needs the least size of its target, every other one what its own target adds for each more; of all choices of the one, that
    which asks for most. What is not known of some counts as nothing, so that the rest can be too much already.
    """
    needs = [*_needs(facts, extent)]
    if not needs:
        return
    number, there = sum(one.lodgers.number for one in needs), getattr(facts.place, extent.of_place)
    need = max(one.least - one.known_more for one in needs) + sum(one.lodgers.number * one.known_more for one in needs)
    source = "; ".join(dict.fromkeys(one.target.source for one in needs))
    wanted = f"{_animals(number)} there {'needs' if number == 1 else 'need'} {_figure(need)} {extent.unit} of {extent.word} at least"
    if there is None:
        sentence = f"{wanted}; how much {facts.place.name} has is not on record."
        yield _missing(extent.unknown, sentence, missing="enclosure.shape", source=source)
    elif need > there * (1 + _ROUNDING):
        yield _against(extent.too_small, f"{wanted}; {facts.place.name} has {_figure(there)} {extent.unit}.", source=source)
        return
    for one in needs if number > 1 else ():
        if one.more is None:
            name, many = one.lodgers.name, _animals(number)
            sentence = f"The target for {name} does not say how much {extent.word} each more needs, and there would be {many}."
            yield _missing(ReasonCode.EACH_MORE_UNKNOWN, sentence, missing=f"husbandry_target.{extent.more}", source=one.target.source)


def _capacity(facts: PlacementFacts) -> Iterator[Reason]:
    place, number = facts.place, sum(one.number for one in facts.everybody)
    if place.capacity is not None and number > place.capacity:
        sentence = f"There would be {number} animals in {place.name}, which is for {place.capacity} at most."
        yield _against(ReasonCode.TOO_MANY, sentence, source=STATED_CAPACITY)


def _company(facts: PlacementFacts) -> Iterator[Reason]:
    animals = facts.animals
    for rule in facts.apart:
        if rule.one == rule.other and rule.one in animals.covered_by and animals.number > 1 and not animals.are_eggs:
            yield _against(
                ReasonCode.LIVES_SINGLY,
                f"{animals.name} live singly, and these are {animals.number}: {rule.reason}.",
                source=rule.source,
            )
        for other in facts.others:
            if _parts(rule, animals, other):
                yield _kept_apart(rule, animals, other)


def _parts(rule: Apart, animals: Lodgers, other: Lodgers) -> bool:
    """Return whether a rule keeps animals from others. One about two taxa says nothing of animals of one and the same taxon."""
    if animals.are_eggs and other.are_eggs:
        return False
    if animals.taxon_id == other.taxon_id and rule.one != rule.other:
        return False
    one_way = rule.one in animals.covered_by and rule.other in other.covered_by
    return one_way or (rule.other in animals.covered_by and rule.one in other.covered_by)


def _kept_apart(rule: Apart, animals: Lodgers, other: Lodgers) -> Reason:
    there = f"{other.number} {other.name} {'lives' if other.number == 1 else 'live'} there"
    if rule.one == rule.other:
        code, rules = ReasonCode.LIVES_SINGLY, f"{animals.name} live singly"
    else:
        code, rules = ReasonCode.KEPT_APART, f"{animals.name} may not share with {other.name}"
    return _against(code, f"{rules}, and {there}: {rule.reason}.", source=rule.source)


_CLOSURES: Mapping[Closure, int] = {closure: step for step, closure in enumerate(Closure)}


def _containment(facts: PlacementFacts) -> Iterator[Reason]:
    animals, rule = facts.animals, facts.safeguard
    if animals.hazard is None:
        sentence = f"What {animals.name} can do to people is not on record, nor of a taxon above."
        yield _missing(ReasonCode.HAZARD_UNKNOWN, sentence, missing="taxon.hazard")
        return
    hazard, day = _words(animals.hazard), in_words(facts.on)
    if rule is None:
        if animals.hazard is not Hazard.HARMLESS:
            sentence = f"No containment rule holds on {day} for animals of class '{hazard}', such as {animals.name}."
            yield _missing(ReasonCode.CONTAINMENT_UNKNOWN, sentence, missing="containment")
        return
    yield from _closed_enough(facts, rule, hazard=hazard)
    if rule.competence_needed and facts.competent == 0:
        sentence = (
            f"0 staff of the site or of the whole organisation hold a competence for class '{hazard}' on {day}; 1 is needed at least."
        )
        yield _against(ReasonCode.NOBODY_COMPETENT, sentence, source=rule.source)


def _closed_enough(facts: PlacementFacts, rule: Safeguard, *, hazard: str) -> Iterator[Reason]:
    place, least = facts.place, _words(rule.least_closure)
    if place.closure is None:
        yield _missing(
            ReasonCode.CLOSURE_UNKNOWN,
            f"Animals of class '{hazard}' are kept '{least}' at least; how {place.name} closes is not on record.",
            missing="enclosure.closure",
            source=rule.source,
        )
    elif _CLOSURES[place.closure] < _CLOSURES[rule.least_closure]:
        yield _against(
            ReasonCode.CLOSURE_TOO_WEAK,
            f"Animals of class '{hazard}' are kept '{least}' at least; {place.name} is only '{_words(place.closure)}'.",
            source=rule.source,
        )


def _quarantine(facts: PlacementFacts) -> Iterator[Reason]:
    animals, place, number = facts.animals, facts.place, sum(one.number for one in facts.others)
    if place.quarantine:
        if number:
            there = f"{_animals(number)} {'is' if number == 1 else 'are'} there already"
            sentence = f"{place.name} is for quarantine and {there}: the clock restarts for all of them on {in_words(facts.on)}."
            yield _remark(ReasonCode.CLOCK_RESTARTS, sentence)
    elif facts.came_from is CameFrom.QUARANTINE:
        sentence = f"{animals.name} would leave quarantine for {place.name}. {_RELEASE}"
        yield _against(ReasonCode.OUT_OF_QUARANTINE, sentence, source=QUARANTINE_PRACTICE)
    elif facts.came_from is CameFrom.OUTSIDE:
        past = f"{animals.name} arrived and would join the stock in {place.name} without quarantine"
        if facts.site_quarantines:
            yield _against(ReasonCode.PAST_QUARANTINE, f"{past}. {_RELEASE}", source=QUARANTINE_PRACTICE)
        else:
            yield _remark(ReasonCode.NO_QUARANTINE, f"{past}; the site has no enclosure for it on record.")


_RELEASE = "This needs a stated release: say who allows it, and on what findings."


def _against(code: ReasonCode, sentence: str, *, source: str) -> Reason:
    return Reason(code, Bearing.AGAINST, sentence, source)


def _missing(code: ReasonCode, sentence: str, *, missing: str, source: str | None = None) -> Reason:
    return Reason(code, Bearing.MISSING, sentence, source, missing)


def _remark(code: ReasonCode, sentence: str) -> Reason:
    return Reason(code, Bearing.REMARK, sentence, QUARANTINE_PRACTICE)


def _animals(number: int) -> str:
    return f"{number} animal" if number == 1 else f"{number} animals"


def _words(word: str) -> str:
    return word.replace("_", " ")


def _figure(value: float) -> str:
    """Return a size as people write it: to a ten-thousandth, without zeros at the end."""
    return f"{value:.4f}".rstrip("0").rstrip(".")
