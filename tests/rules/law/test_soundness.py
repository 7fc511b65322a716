"""Whether a requirement makes sense by itself."""

from __future__ import annotations

from datetime import date

import pytest

from domain.rules.law.requirements import (
    Activity,
    Consequence,
    Duty,
    Exemption,
    Fact,
    Obligation,
    Occasion,
    Period,
    Predicate,
    Relation,
    Selector,
)
from domain.rules.law.soundness import faults_of, kinds_named
from domain.rules.law.spans import Span, Unit
from domain.rules.lives import LifeStage, Origin
from domain.rules.measures import MeasureKind
from domain.rules.taxonomy import TaxonRank
from tests.rules.law.stating import listing, requirement

DAY, MONTH = date(2022, 8, 2), Span(1, Unit.MONTHS)


def faults(*entries, **said):
    return [(one.pointer, one.code) for one in faults_of(requirement("XR-1", *entries, **said), at="/r")]


def obligation(duty=Duty.NOTIFY, **said):
    return Obligation(code="o", duty=duty, **said)


IN_TIME = obligation(occasion=Occasion.ESCAPE, within=MONTH)


def test_a_sound_requirement_has_no_fault():
    assert faults(listing("Testudo ficta"), listed_on=DAY, applies_from=DAY, applies_until=DAY) == []


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({"listed_on": DAY, "applies_from": date(2022, 8, 1)}, [("/r/applies_from", "date-order")]),
        ({"applies_from": DAY, "applies_until": date(2022, 8, 1)}, [("/r/applies_until", "date-order")]),
        ({"consequence": Consequence.DOCUMENT}, [("/r/documents", "not-together")]),
        ({"consequence": Consequence.DOCUMENT, "documents": ("keeping",)}, []),
        ({"documents": ("keeping",)}, [("/r/documents", "not-together")]),
        ({"consequence": Consequence.EXEMPT}, [("/r/exempts", "not-together")]),
        ({"consequence": Consequence.EXEMPT, "exempts": frozenset(("XR-2",))}, []),
        ({"exempts": frozenset(("XR-2",))}, [("/r/exempts", "not-together")]),
        ({"consequence": Consequence.MARK}, []),
        *(({"consequence": one}, [("/r/obligation", "required")]) for one in map(Consequence, ("notify", "report", "record", "inspect"))),
        ({"consequence": Consequence.NOTIFY, "obligations": (IN_TIME,)}, []),
        ({"obligations": (IN_TIME, IN_TIME)}, [("/r/obligation/1/code", "repeated")]),
        ({"selector": Selector(life_stages=frozenset((LifeStage.UNKNOWN,)))}, [("/r/life_stages", "not-one-of")]),
        ({"selector": Selector(origins=frozenset((Origin.UNKNOWN, Origin.WILD)))}, [("/r/origins", "not-one-of")]),
        ({"selector": Selector(life_stages=frozenset((LifeStage.EGG,)), origins=frozenset((Origin.WILD,)))}, []),
        ({"selector": Selector(but_not=(listing("Boa ficta", rank=TaxonRank.GENUS),))}, [("/r/but_not/0/name", "rank-order")]),
    ],
)
def test_days_and_consequences_and_what_it_is_about_have_to_fit(said, found):
    assert faults(**said) == found


@pytest.mark.parametrize(
    ("entry", "found"),
    [
        (listing("Testudo ficta", applies_from=DAY), []),
        (listing("Testudo ficta", applies_from=date(2019, 1, 1)), []),
        (listing("Testudo"), [("/r/taxa/0/name", "rank-order")]),
        (listing("Testudo ficta minor"), [("/r/taxa/0/name", "rank-order")]),
        (listing("Testudo ficta minor", rank=TaxonRank.SUBSPECIES), []),
        (listing("Testudo ficta", rank=TaxonRank.GENUS), [("/r/taxa/0/name", "rank-order")]),
        (listing("Boa ficta × Boa alia", rank=TaxonRank.HYBRID), []),
        (listing("Testudinidae", rank=TaxonRank.FAMILY, higher=((TaxonRank.ORDER, "Testudines"),)), []),
        (listing("Boidae", rank=TaxonRank.FAMILY, higher=((TaxonRank.GENUS, "Boa"),)), [("/r/taxa/0/higher/genus", "rank-order")]),
        (listing("Boidae", rank=TaxonRank.FAMILY, higher=((TaxonRank.FAMILY, "Boidae"),)), [("/r/taxa/0/higher/family", "rank-order")]),
    ],
)
def test_a_listed_taxon_has_a_name_of_its_rank_and_lies_in_what_is_higher(entry, found):
    assert faults(entry) == found


NUMBERS = {"under": Relation.UNDER, "at_most": Relation.AT_MOST, "over": Relation.OVER, "at_least": Relation.AT_LEAST}


def predicate(fact, relation, **said):
    return Predicate(fact=fact, relation=relation, **said)


@pytest.mark.parametrize("relation", NUMBERS.values())
@pytest.mark.parametrize("fact", [Fact.NUMBER, Fact.AGE_MONTHS, Fact.PUBLIC_DAYS, *MeasureKind])
def test_numbers_are_compared(fact, relation):
    fresh = {"measured_within_days": 90} if fact in frozenset(MeasureKind) else {}

    assert faults(when=(predicate(fact, relation, number=3.0, **fresh),)) == []


@pytest.mark.parametrize(
    "fits",
    [
        predicate(Fact.AGE_MONTHS, Relation.AT_LEAST, number=2400.0),
        predicate(Fact.NUMBER, Relation.OVER, number=2401.0),
        predicate(Fact.ACQUIRED_ON, Relation.BEFORE, day=DAY),
        predicate(Fact.ACQUIRED_ON, Relation.ON_OR_AFTER, day=DAY),
        predicate(Fact.MARKED, Relation.IS, words=frozenset(("yes",))),
        predicate(Fact.SEX, Relation.IS, words=frozenset(("male", "female"))),
        predicate(Fact.HOLDER_KIND, Relation.IS, words=frozenset(("non-commercial",))),
        predicate(Fact.PREMISES_KIND, Relation.IS, words=frozenset(("rescue",))),
        predicate(MeasureKind.MASS, Relation.OVER, number=3.0, measured_within_days=30),
    ],
    ids=lambda one: f"{one.fact} {one.relation}",
)
def test_days_are_dated_and_words_are_words(fits):
    assert faults(when=(fits,)) == []


A_NUMBER = "number is a number: say under, at_most, over or at_least."
A_DAY = "acquired_on is a day: say before or on_or_after."
A_WORD = "sex is a word: say is, with one or more."
OUTGROWN = "mass is outgrown: say in measured_within_days how old a measurement may be."
UNMEASURED = "number is not measured: measured_within_days means nothing here."
KNOWN_SEX = "sex is never unknown: it is female or hermaphrodite or male or mixed."


@pytest.mark.parametrize(
    ("unfit", "sentence"),
    [
        (predicate(Fact.NUMBER, Relation.OVER), A_NUMBER),
        (predicate(Fact.NUMBER, Relation.IS, words=frozenset(("many",))), A_NUMBER),
        (predicate(Fact.NUMBER, Relation.BEFORE, number=1.0), A_NUMBER),
        (predicate(Fact.NUMBER, Relation.OVER, number=1.0, day=DAY), A_NUMBER),
        (predicate(Fact.NUMBER, Relation.OVER, number=1.0, words=frozenset("x")), A_NUMBER),
        (
            predicate(MeasureKind.MASS, Relation.BEFORE, day=DAY, measured_within_days=9),
            "mass is a number: say under, at_most, over or at_least.",
        ),
        *((predicate(MeasureKind.MASS, relation, number=1.0), OUTGROWN) for relation in NUMBERS.values()),
        (predicate(Fact.NUMBER, Relation.OVER, number=1.0, measured_within_days=3), UNMEASURED),
        (predicate(Fact.ACQUIRED_ON, Relation.UNDER, number=1.0), A_DAY),
        (predicate(Fact.ACQUIRED_ON, Relation.BEFORE), A_DAY),
        (predicate(Fact.ACQUIRED_ON, Relation.UNDER, day=DAY), A_DAY),
        (predicate(Fact.ACQUIRED_ON, Relation.BEFORE, day=DAY, number=1.0), A_DAY),
        (predicate(Fact.ACQUIRED_ON, Relation.BEFORE, day=DAY, words=frozenset("x")), A_DAY),
        (predicate(Fact.SEX, Relation.IS), A_WORD),
        (predicate(Fact.SEX, Relation.UNDER, words=frozenset(("male",))), A_WORD),
        (predicate(Fact.SEX, Relation.IS, words=frozenset(("male",)), number=1.0), A_WORD),
        (predicate(Fact.SEX, Relation.IS, words=frozenset(("male",)), day=DAY), A_WORD),
        (predicate(Fact.SEX, Relation.IS, words=frozenset(("male", "unknown"))), KNOWN_SEX),
        (predicate(Fact.MARKED, Relation.IS, words=frozenset(("true",))), "marked is never true: it is no or yes."),
        (predicate("girth", Relation.OVER, number=1.0), "There is no fact girth."),
        (predicate(Fact.AGE_MONTHS, Relation.UNDER, number=2401.0), "age_months is 2400 at most."),
    ],
    ids=lambda value: f"{value.fact} {value.relation}" if isinstance(value, Predicate) else "",
)
def test_a_predicate_that_does_not_fit_its_fact_is_found_wherever_it_stands(unfit, sentence):
    exemption = Exemption(code="a", when=(unfit,))
    fine = predicate(Fact.NUMBER, Relation.OVER, number=1.0)

    [asked] = faults_of(requirement("XR-1", when=(fine, unfit)), at="/r")
    [exempting] = faults_of(requirement("XR-1", exemptions=(exemption,)), at="/r")

    assert (asked.pointer, asked.code, asked.detail) == ("/r/when/1", "predicate-unfit", sentence)
    assert (exempting.pointer, exempting.detail) == ("/r/exemption/0/when/0", sentence)


@pytest.mark.parametrize(
    ("exemption", "found"),
    [
        (Exemption(code="a", document="keeping"), []),
        (Exemption(code="a", until=date(2020, 1, 1)), []),
        (Exemption(code="a", document="keeping", activities=frozenset((Activity.HOLD,))), []),
        (Exemption(code="a"), [("/r/exemption/0", "required")]),
        (Exemption(code="a", activities=frozenset((Activity.HOLD,))), [("/r/exemption/0", "required")]),
        (Exemption(code="a", until=date(2019, 12, 31)), [("/r/exemption/0/until", "date-order")]),
        (
            Exemption(code="a", document="keeping", activities=frozenset((Activity.SELL, Activity.HOLD))),
            [("/r/exemption/0/activities", "not-together")],
        ),
    ],
)
def test_an_exemption_says_when_and_of_what_the_requirement_asks(exemption, found):
    assert faults(exemptions=(exemption,)) == found


def test_exemptions_have_codes_of_their_own_and_may_be_of_any_act_where_the_requirement_is():
    one = Exemption(code="a", document="keeping", activities=frozenset((Activity.SELL,)))

    assert faults(activities=frozenset(), exemptions=(one,)) == []
    assert faults(activities=frozenset(), exemptions=(one, one)) == [("/r/exemption/1/code", "repeated")]


UNDATED = [("/r/obligation/0", "obligation-undated")]


@pytest.mark.parametrize(
    ("stated", "found"),
    [
        (IN_TIME, []),
        (obligation(every=MONTH), []),
        (obligation(period=Period.CALENDAR_YEAR, due_month=1, due_day=31), []),
        (obligation(period=Period.CALENDAR_YEAR, due_month=12, due_day=1), []),
        (obligation(period=Period.CALENDAR_QUARTER, due_month=3, due_day=1), []),
        (obligation(Duty.RETAIN, occasion=Occasion.DEATH, within=MONTH), []),
        (obligation(Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=1, due_day=31, fields=("taxon",)), []),
        (obligation(), UNDATED),
        (obligation(lead=MONTH), UNDATED),
        (obligation(occasion=Occasion.DEATH), UNDATED),
        (obligation(within=MONTH), UNDATED),
        (obligation(period=Period.CALENDAR_YEAR), UNDATED),
        (obligation(period=Period.CALENDAR_YEAR, due_month=1), UNDATED),
        (obligation(period=Period.CALENDAR_YEAR, due_day=1), UNDATED),
        (obligation(due_month=1, due_day=1), UNDATED),
        (obligation(occasion=Occasion.DEATH, within=MONTH, every=MONTH), UNDATED),
        (obligation(occasion=Occasion.DEATH, within=MONTH, due_day=1), UNDATED),
        (obligation(period=Period.CALENDAR_YEAR, due_month=1, due_day=1, every=MONTH), UNDATED),
        (obligation(period=Period.CALENDAR_YEAR, due_month=13, due_day=1), [("/r/obligation/0/due_month", "not-in-period")]),
        (obligation(period=Period.CALENDAR_YEAR, due_month=0, due_day=1), [("/r/obligation/0/due_month", "not-in-period")]),
        (obligation(period=Period.CALENDAR_QUARTER, due_month=4, due_day=1), [("/r/obligation/0/due_month", "not-in-period")]),
        (obligation(period=Period.CALENDAR_YEAR, due_month=1, due_day=32), [("/r/obligation/0/due_day", "not-in-period")]),
        (obligation(period=Period.CALENDAR_YEAR, due_month=1, due_day=0), [("/r/obligation/0/due_day", "not-in-period")]),
        (obligation(Duty.RETAIN, every=MONTH), [("/r/obligation/0", "required")]),
        (obligation(every=MONTH, fields=("taxon",)), [("/r/obligation/0/fields", "not-together")]),
    ],
)
def test_an_obligation_has_one_time_and_a_report_alone_has_fields(stated, found):
    assert faults(obligations=(stated,)) == found


ANNUAL = {"duty": Duty.REPORT, "period": Period.CALENDAR_YEAR, "due_month": 1, "due_day": 31}


def test_a_field_that_no_return_has_is_named_with_its_place():
    told = Obligation(code="o", fields=("taxon", "shoe_size", "number"), **ANNUAL)

    (fault,) = faults_of(requirement("XR-1", obligations=(told,)), at="/r")

    assert (fault.pointer, fault.code) == ("/r/obligation/0/fields/1", "field-unknown")
    assert "shoe_size" in fault.detail
    assert "stock_at_start" in fault.detail


def test_a_requirement_asks_for_one_return():
    returns = tuple(Obligation(code=code, fields=("taxon",), **ANNUAL) for code in ("a", "b"))

    assert faults(obligations=(returns[0], IN_TIME, returns[1])) == [("/r/obligation/2", "repeated")]


def test_kinds_of_documents_are_named_with_their_places():
    rule = requirement(
        "XR-1",
        consequence=Consequence.DOCUMENT,
        documents=("keeping", "showing"),
        exemptions=(Exemption(code="a", until=DAY), Exemption(code="b", document="moving")),
    )

    assert [*kinds_named(rule)] == [("documents/0", "keeping"), ("documents/1", "showing"), ("exemption/1/document", "moving")]
