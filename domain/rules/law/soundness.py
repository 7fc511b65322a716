"""Whether a requirement makes sense by itself: its days, what follows from it, what it asks of facts, and when its duties are due."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain as one_after_another

from domain.errors import Fault
from domain.rules.law.requirements import (
    DUTIES_ALONE,
    Activity,
    Consequence,
    Duty,
    Entry,
    Exemption,
    Fact,
    Obligation,
    Predicate,
    Relation,
    Requirement,
)
from domain.rules.law.returns import FIELDS, MONTHS_OF
from domain.rules.lives import LifeStage, Origin, Sex
from domain.rules.measures import MeasureKind
from domain.rules.taxonomy import TaxonRank, is_higher

COUNTED = frozenset((Fact.NUMBER, Fact.AGE_MONTHS, Fact.PUBLIC_DAYS))
SIZES = frozenset(MeasureKind)
_COMPARING = frozenset((Relation.UNDER, Relation.AT_MOST, Relation.OVER, Relation.AT_LEAST))
_DATING = frozenset((Relation.BEFORE, Relation.ON_OR_AFTER))
_WORDS: dict[str, frozenset[str]] = {
    Fact.MARKED: frozenset(("yes", "no")),
    Fact.SEX: frozenset(one.value for one in Sex if one is not Sex.UNKNOWN),
}
"""The words that a fact may be; holders and premises are of kinds that each jurisdiction names itself."""
_NAMES_OF_RANK = {TaxonRank.SPECIES: 2, TaxonRank.SUBSPECIES: 3}
_LONGEST_MONTH = 31
OLDEST_MONTHS = 2_400
"""The oldest age [months] that may be asked about: two hundred years, which no animal in keeping has reached."""


def faults_of(one: Requirement, *, at: str) -> Iterator[Fault]:
    """Yield what is wrong with a requirement; the pointers begin with ``at``, where it stands in its pack."""
    yield from _days(one, at)
    yield from _consequence(one, at)
    yield from _selector(one, at)
    yield from _predicates(one.when, f"{at}/when")
    yield from _exemptions(one, at)
    yield from _twice((each.code for each in one.obligations), f"{at}/obligation", "code")
    for place, obligation in enumerate(one.obligations):
        yield from _obligation(obligation, f"{at}/obligation/{place}")
    yield from _returns(one, at)


def _days(one: Requirement, at: str) -> Iterator[Fault]:
    if one.listed_on is not None and one.applies_from < one.listed_on:
        yield Fault(f"{at}/applies_from", "date-order", f"It cannot apply before it was listed, on {one.listed_on.isoformat()}.")
    if one.applies_until is not None and one.applies_until < one.applies_from:
        yield Fault(f"{at}/applies_until", "date-order", "Its last day should not be before its first.")


def _consequence(one: Requirement, at: str) -> Iterator[Fault]:
    if (one.consequence is Consequence.DOCUMENT) is not bool(one.documents):
        sentence = "Kinds of documents go with the consequence document, and that with at least one."
        yield Fault(f"{at}/documents", "not-together", sentence)
    if (one.consequence is Consequence.EXEMPT) is not bool(one.exempts):
        yield Fault(f"{at}/exempts", "not-together", "Codes go with the consequence exempt, and that with at least one.")
    if one.consequence in DUTIES_ALONE and not one.obligations:
        yield Fault(f"{at}/obligation", "required", f"Say what is to be done, and by when, to {one.consequence.value}.")


def _selector(one: Requirement, at: str) -> Iterator[Fault]:
    listed = one.selector
    if LifeStage.UNKNOWN in listed.life_stages:
        yield Fault(f"{at}/life_stages", "not-one-of", "No law is about animals of an unknown stage; leave it out.")
    if Origin.UNKNOWN in listed.origins:
        yield Fault(f"{at}/origins", "not-one-of", "No law is about animals of an unknown origin; leave it out.")
    for name, entries in (("taxa", listed.any_of), ("but_not", listed.but_not)):
        for place, entry in enumerate(entries):
            yield from _entry(entry, f"{at}/{name}/{place}")


def _entry(entry: Entry, at: str) -> Iterator[Fault]:
    words = len(entry.name.split())
    if words != _NAMES_OF_RANK.get(entry.rank, words if entry.rank is TaxonRank.HYBRID else 1):
        yield Fault(f"{at}/name", "rank-order", f"This is no name of a {entry.rank.value}.")
    for rank, _ in entry.higher:
        if not is_higher(rank, than=entry.rank):
            yield Fault(f"{at}/higher/{rank.value}", "rank-order", f"A {entry.rank.value} does not lie in a {rank.value}.")


def _predicates(predicates: Sequence[Predicate], at: str) -> Iterator[Fault]:
    for place, one in enumerate(predicates):
        sentence = _misfit(one)
        if sentence is not None:
            yield Fault(f"{at}/{place}", "predicate-unfit", sentence)


def _misfit(one: Predicate) -> str | None:
    """Return why a predicate does not fit its fact, ``None`` where it does."""
    if one.measured_within_days is not None and one.fact not in SIZES:
        return f"{one.fact} is not measured: measured_within_days means nothing here."
    if one.measured_within_days is None and one.fact in SIZES:
        return f"{one.fact} is outgrown: say in measured_within_days how old a measurement may be."
    if one.fact in COUNTED | SIZES:
        if one.relation not in _COMPARING or one.number is None or one.day is not None or one.words:
            return f"{one.fact} is a number: say under, at_most, over or at_least."
        is_too_old = one.fact == Fact.AGE_MONTHS and one.number > OLDEST_MONTHS
        return f"{one.fact} is {OLDEST_MONTHS} at most." if is_too_old else None
    if one.fact == Fact.ACQUIRED_ON:
        fits = one.relation in _DATING and one.day is not None and one.number is None and not one.words
        return None if fits else f"{one.fact} is a day: say before or on_or_after."
    if one.fact not in frozenset(Fact):
        return f"There is no fact {one.fact}."
    if one.relation is not Relation.IS or not one.words or one.number is not None or one.day is not None:
        return f"{one.fact} is a word: say is, with one or more."
    strange = sorted(one.words - _WORDS.get(one.fact, one.words))
    return f"{one.fact} is never {strange[0]}: it is {' or '.join(sorted(_WORDS[one.fact]))}." if strange else None


def _exemptions(one: Requirement, at: str) -> Iterator[Fault]:
    yield from _twice((each.code for each in one.exemptions), f"{at}/exemption", "code")
    for place, exemption in enumerate(one.exemptions):
        here = f"{at}/exemption/{place}"
        yield from _predicates(exemption.when, f"{here}/when")
        yield from _exemption(exemption, one, here)


def _exemption(exemption: Exemption, one: Requirement, at: str) -> Iterator[Fault]:
    if not exemption.when and exemption.document is None and exemption.until is None:
        yield Fault(
            at, "required", "Say when it exempts: a document, a last day, or what has to hold. As it stands nothing would be required."
        )
    if exemption.until is not None and exemption.until < one.applies_from:
        yield Fault(f"{at}/until", "date-order", f"It would be over before the requirement applies, on {one.applies_from.isoformat()}.")
    strange: frozenset[Activity] = exemption.activities - one.activities if one.activities else frozenset()
    if strange:
        yield Fault(f"{at}/activities", "not-together", f"The requirement is not about {', '.join(sorted(strange))}.")


def _obligation(one: Obligation, at: str) -> Iterator[Fault]:
    after_something = one.occasion is not None and one.within is not None
    of_a_period = one.period is not None and one.due_month is not None and one.due_day is not None
    stated = (one.occasion, one.within), (one.period, one.due_month, one.due_day), (one.every,)
    begun = sum(any(part is not None for part in parts) for parts in stated)
    if begun != 1 or not (after_something or of_a_period or one.every is not None):
        yield Fault(
            at,
            "obligation-undated",
            "Say by when, in one way: an occasion with within (or keep_for), a period with due_month and due_day, or every.",
        )
    if one.period is not None and one.due_month is not None and not 1 <= one.due_month <= MONTHS_OF[one.period]:
        yield Fault(f"{at}/due_month", "not-in-period", f"This should be from 1 to {MONTHS_OF[one.period]}: the months after the period.")
    if one.due_day is not None and not 1 <= one.due_day <= _LONGEST_MONTH:
        yield Fault(f"{at}/due_day", "not-in-period", "This should be a day of the month, 1 to 31.")
    if one.duty is Duty.RETAIN and one.occasion is None:
        yield Fault(at, "required", "Say from which occasion records are kept, and for how long: occasion and keep_for.")
    if one.fields and one.duty is not Duty.REPORT:
        yield Fault(f"{at}/fields", "not-together", "Only a report has fields.")


def _returns(one: Requirement, at: str) -> Iterator[Fault]:
    returns = [place for place, each in enumerate(one.obligations) if each.duty is Duty.REPORT and each.period is not None]
    for place in returns[1:]:
        yield Fault(f"{at}/obligation/{place}", "repeated", "A requirement asks for one return: state another requirement for this one.")
    for place in returns:
        for number, name in enumerate(one.obligations[place].fields):
            if name not in FIELDS:
                known = ", ".join(FIELDS)
                yield Fault(
                    f"{at}/obligation/{place}/fields/{number}", "field-unknown", f"No return has a field {name}; it may have {known}."
                )


def _twice(codes: Iterable[str], at: str, name: str) -> Iterator[Fault]:
    seen: set[str] = set()
    for place, code in enumerate(codes):
        if code in seen:
            yield Fault(f"{at}/{place}/{name}", "repeated", f"{code} stands here twice.")
        seen.add(code)


def kinds_named(one: Requirement) -> Iterator[tuple[str, str]]:
    """Yield where a requirement names a kind of document, and its code."""
    own = ((f"documents/{place}", code) for place, code in enumerate(one.documents))
    of_exemptions = ((f"exemption/{place}/document", each.document) for place, each in enumerate(one.exemptions) if each.document)
    yield from one_after_another(own, of_exemptions)
