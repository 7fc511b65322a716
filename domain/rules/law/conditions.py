"""Whether what a requirement asks of animals and premises holds, by the facts on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from domain.rules.calendar import full_months_between
from domain.rules.law.facts import Premises, Subject
from domain.rules.law.requirements import Fact, Predicate, Relation
from domain.rules.law.truth import NO, YES, Truth, all_of, known, unknown
from domain.rules.lives import Sex
from domain.rules.measures import MeasureKind

_SEXES_OPEN = frozenset((Sex.UNKNOWN, Sex.MIXED))
"""Sexes of records of which some animal may be of any sex."""
GROWS = frozenset((Relation.UNDER, Relation.AT_MOST))
"""Relations that an animal can grow out of, so that an old measurement does not show them."""


@dataclass(frozen=True, slots=True)
class Number:
    """How many there are: at least ``low``, at most ``high``, where some cannot be told to be among them."""

    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """An animal at premises on a day, and how many there that the requirement in question selects."""

    subject: Subject
    premises: Premises
    on: date
    number: Number | None = None


def holds(predicates: tuple[Predicate, ...], setting: Setting) -> Truth:
    """Return whether all predicates hold."""
    return all_of(_holds(one, setting) for one in predicates)


def facts_used(predicates: tuple[Predicate, ...], setting: Setting) -> Mapping[str, str]:
    """Return what the predicates looked at, by the facts' names, as a person would read it."""
    return {one.fact: _shown(one.fact, setting) for one in predicates}


def _holds(predicate: Predicate, setting: Setting) -> Truth:
    match predicate.fact:
        case Fact.NUMBER:
            return _between(predicate, setting.number, missing="number")
        case Fact.AGE_MONTHS:
            return _between(predicate, _age_months(setting), missing="hatched_on")
        case Fact.PUBLIC_DAYS:
            days = setting.premises.public_days
            return _between(predicate, None if days is None else Number(days, days), missing="public_days")
        case Fact.ACQUIRED_ON:
            return _by_day(predicate, setting.subject.acquired_from, setting.subject.acquired_until)
        case Fact.MARKED:
            is_marked = setting.subject.is_marked
            return unknown("marked") if is_marked is None else known(("yes" if is_marked else "no") in predicate.words)
        case Fact.SEX:
            return _by_sex(predicate, setting.subject.sex)
        case Fact.HOLDER_KIND:
            kind = setting.premises.holder_kind
            return unknown("holder_kind") if kind is None else known(kind in predicate.words)
        case Fact.PREMISES_KIND:
            kinds = setting.premises.kinds
            return unknown("premises_kind") if kinds is None else known(bool(kinds & predicate.words))
        case _:
            return _by_measure(predicate, setting)


def _between(predicate: Predicate, number: Number | None, *, missing: str) -> Truth:
    """Return whether a number that lies between two bounds stands as asked; unknown where only one of the bounds does."""
    if number is None:
        return unknown(missing)
    low, high = (_stands(predicate, bound) for bound in (number.low, number.high))
    return known(low) if low is high else unknown(missing)


def _stands(predicate: Predicate, value: float) -> bool:
    limit = predicate.number
    assert limit is not None, "a predicate on a number names one"  # noqa: S101 - packs are checked when they are loaded
    match predicate.relation:
        case Relation.UNDER:
            return value < limit
        case Relation.AT_MOST:
            return value <= limit
        case Relation.OVER:
            return value > limit
        case _:
            return value >= limit


def _by_sex(predicate: Predicate, sex: Sex) -> Truth:
    """Return whether a sex is one of those that are asked for; of a mixed group it is unknown where these do not include mixed."""
    if sex.value in predicate.words:
        return YES
    return unknown("sex") if sex in _SEXES_OPEN else NO


def _by_day(predicate: Predicate, first: date | None, last: date | None) -> Truth:
    """Return whether a day that lies between two stands as asked; unknown where only one of the two does."""
    if first is None or last is None or predicate.day is None:
        return unknown(predicate.fact)
    is_before = first < predicate.day
    if is_before is not (last < predicate.day):
        return unknown(predicate.fact)
    return known(is_before is (predicate.relation is Relation.BEFORE))


def _by_measure(predicate: Predicate, setting: Setting) -> Truth:
    measured = setting.subject.measured.get(MeasureKind(predicate.fact))
    if measured is None:
        return unknown(predicate.fact)
    stands = _stands(predicate, measured.value)
    may_be_outgrown = predicate.relation in GROWS if stands else predicate.relation not in GROWS
    if may_be_outgrown and predicate.measured_within_days is not None:
        oldest = setting.on - timedelta(days=predicate.measured_within_days)
        if measured.on < oldest:
            return unknown(predicate.fact)
    return known(stands)


def _age_months(setting: Setting) -> Number | None:
    first, last = setting.subject.born_from, setting.subject.born_until
    if first is None or last is None:
        return None
    return Number(full_months_between(min(last, setting.on), setting.on), full_months_between(first, setting.on))


def _shown(fact: str, setting: Setting) -> str:
    subject, premises = setting.subject, setting.premises
    match fact:
        case Fact.NUMBER:
            number = setting.number
            return "unknown" if number is None else str(number.low) if number.low == number.high else f"{number.low} to {number.high}"
        case Fact.AGE_MONTHS:
            age = _age_months(setting)
            return "unknown" if age is None else str(age.low) if age.low == age.high else f"{age.low} to {age.high}"
        case Fact.PUBLIC_DAYS:
            return "unknown" if premises.public_days is None else str(premises.public_days)
        case Fact.ACQUIRED_ON:
            return _days_shown(subject.acquired_from, subject.acquired_until)
        case Fact.MARKED:
            return marked_shown(subject)
        case Fact.SEX:
            return subject.sex.value
        case Fact.HOLDER_KIND:
            return premises.holder_kind or "unknown"
        case Fact.PREMISES_KIND:
            return "unknown" if premises.kinds is None else ", ".join(sorted(premises.kinds)) or "none"
        case _:
            kind = MeasureKind(fact)
            measured = subject.measured.get(kind)
            return "unknown" if measured is None else f"{measured.value:g} {kind.unit} on {measured.on.isoformat()}"


def marked_shown(subject: Subject) -> str:
    """Return whether an animal is marked, as a person would read it."""
    return "unknown" if subject.is_marked is None else "yes" if subject.is_marked else "no"


def _days_shown(first: date | None, last: date | None) -> str:
    if first is None or last is None:
        return "unknown"
    return first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"
