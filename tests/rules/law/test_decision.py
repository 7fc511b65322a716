"""What requirements say of an act: each for itself, and all together."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.law.book import Book
from domain.rules.law.conditions import Number
from domain.rules.law.decision import Bearing, Outcome, decide
from domain.rules.law.requirements import Activity, Consequence, Exemption, Fact, Predicate, Relation, Selector
from domain.rules.lives import LifeStage, Origin, Sex
from domain.rules.measures import Measured, MeasureKind
from domain.rules.taxonomy import TaxonRank
from tests.rules.law.stating import DAY, ON_RECORD, animal, listing, premises, requirement, taxon

HOLD = Activity.HOLD
KNOWN = ON_RECORD | {"XL-S", "XL"}
LISTED = listing("Testudo ficta")
SCL = MeasureKind.STRAIGHT_CARAPACE_LENGTH
FOUR_INCHES_MM = 4 * 25.4


def decided(*requirements, of=None, at=None, activity=HOLD, on=DAY, counted=None):
    return decide(requirements, of or animal(), activity=activity, premises=at or premises(), known=KNOWN, on=on, counted=counted)


def under(number, *, fact=SCL, **rest):
    return Predicate(fact=fact, relation=Relation.UNDER, number=number, **rest)


def bearings(decision):
    return [one.bearing for one in decision.findings]


def test_a_listed_animal_may_not_be_kept_and_the_answer_says_by_which_rule():
    decision = decided(requirement("XR-1", LISTED))

    (finding,) = decision.findings
    assert decision.outcome is Outcome.PROHIBITED
    assert (finding.requirement.code, finding.requirement.version, finding.requirement.citation) == ("XR-1", "1", "s. 1 (fictional)")
    assert finding.used["taxon"] == "Testudo ficta"


@pytest.mark.parametrize(
    "said",
    [
        {"jurisdiction": "XL"},
        {"activities": frozenset((Activity.SELL,))},
        {"applies_until": date(2026, 2, 28)},
        {"applies_from": date(2026, 3, 2)},
        {"when": (Predicate(fact=Fact.MARKED, relation=Relation.IS, words=frozenset(("yes",))),)},
    ],
    ids=lambda said: next(iter(said)),
)
def test_what_does_not_concern_the_act_prohibits_nothing(said):
    assert decided(requirement("XR-1", LISTED, **said), requirement("XR-2", listing("Boa ficta"))).outcome is Outcome.PERMITTED


@pytest.mark.parametrize("activity", list(Activity))
def test_a_requirement_without_activities_concerns_all(activity):
    assert decided(requirement("XR-1", LISTED, activities=frozenset()), activity=activity).outcome is Outcome.PROHIBITED


def test_the_first_and_the_last_day_belong_to_a_version():
    rule = requirement("XR-1", LISTED, applies_from=DAY, applies_until=DAY)

    days = [date(2026, 2, 28), DAY, date(2026, 3, 2)]

    assert [decided(rule, requirement("X", listing("Boa ficta")), on=day).outcome is Outcome.PROHIBITED for day in days] == [
        False,
        True,
        False,
    ]


def test_what_is_listed_before_it_applies_is_said_with_its_day_and_binds_nobody_yet():
    rule = requirement("XR-1", LISTED, listed_on=date(2022, 8, 2), applies_from=date(2026, 8, 2))

    (before,) = decided(rule).findings

    assert (before.bearing, before.from_on) == (Bearing.NOT_YET, date(2026, 8, 2))
    assert decided(rule).outcome is Outcome.PERMITTED
    assert decided(rule, on=date(2022, 8, 1)).findings == ()
    assert decided(rule, of=animal(of=taxon("Boa ficta"))).findings == ()


def test_a_place_of_no_jurisdiction_cannot_be_decided():
    nowhere = decided(requirement("XR-1", listing("Boa ficta")), at=replace(premises(), jurisdictions=()))

    assert (nowhere.outcome, nowhere.missing) == (Outcome.CANNOT_DECIDE, {"jurisdiction"})


@pytest.mark.parametrize(
    ("jurisdictions", "missing"),
    [
        (("XR-LOW:TOWN", "XR-LOW", "XR"), {"jurisdiction_XR-LOW:TOWN"}),
        (("XR-LWO:TOWN", "XR-LWO", "XR"), {"jurisdiction_XR-LWO:TOWN", "jurisdiction_XR-LWO"}),
        (("XM",), {"jurisdiction_XM"}),
    ],
)
@pytest.mark.parametrize("rules", [(), (requirement("XR-1", listing("Boa ficta")),)], ids=["no law", "law of the state"])
def test_every_jurisdiction_that_no_pack_states_leaves_a_place_undecided_whatever_else_is_required_there(jurisdictions, missing, rules):
    found = decided(*rules, at=premises(*jurisdictions))

    assert (found.outcome, found.missing) == (Outcome.CANNOT_DECIDE, missing)


@pytest.mark.parametrize("said", [{"applies_until": date(2021, 1, 1)}, {"applies_from": date(2030, 1, 1)}], ids=["ended", "to come"])
def test_what_is_known_of_a_place_does_not_depend_on_the_days_of_its_requirements(said):
    rule = requirement("XR-1", listing("Boa ficta"), **said)

    assert decided(rule).outcome is decided().outcome is Outcome.PERMITTED
    assert Book([rule], known=KNOWN, on=DAY).decide(animal(), activity=HOLD, premises=premises()) == decided()
    assert Book([rule], known=(), on=DAY).decide(animal(), activity=HOLD, premises=premises()).missing == {
        "jurisdiction_XR-LOW", "jurisdiction_XR",
    }  # fmt: skip


def test_an_animal_of_which_too_little_is_known_is_never_permitted():
    decision = decided(requirement("XR-1", listing("Crocodilia", rank=TaxonRank.ORDER)))

    assert (decision.outcome, decision.missing) == (Outcome.CANNOT_DECIDE, {"taxon_order"})


def test_a_prohibition_wins_over_what_cannot_be_decided_and_both_are_said():
    decision = decided(requirement("XR-1", listing("Crocodilia", rank=TaxonRank.ORDER)), requirement("XR-2", LISTED))

    assert decision.outcome is Outcome.PROHIBITED
    assert bearings(decision) == [Bearing.CANNOT_DECIDE, Bearing.PROHIBITS]


@pytest.mark.parametrize(
    ("value_mm", "outcome"),
    [
        (101.5, Outcome.PROHIBITED),
        (101.6, Outcome.PERMITTED),
        (101.7, Outcome.PERMITTED),
        (90.0, Outcome.PROHIBITED),
        (None, Outcome.CANNOT_DECIDE),
    ],
)
def test_four_inches_exactly_are_not_under_four_inches(value_mm, outcome):
    rule = requirement("XG-1", LISTED, activities=frozenset((Activity.SELL,)), when=(under(FOUR_INCHES_MM),))
    measured = {} if value_mm is None else {SCL: Measured(value_mm, date(2026, 2, 1))}

    assert decided(rule, of=animal(measured=measured), activity=Activity.SELL).outcome is outcome


@pytest.mark.parametrize(
    ("value", "relation", "on", "outcome"),
    [
        (90, Relation.UNDER, date(2026, 1, 30), Outcome.PROHIBITED),
        (90, Relation.UNDER, date(2026, 1, 29), Outcome.CANNOT_DECIDE),
        (120, Relation.UNDER, date(2020, 1, 1), Outcome.PERMITTED),
        (120, Relation.AT_LEAST, date(2020, 1, 1), Outcome.PROHIBITED),
        (90, Relation.AT_LEAST, date(2020, 1, 1), Outcome.CANNOT_DECIDE),
    ],
)
def test_what_can_be_outgrown_has_to_be_measured_lately(value, relation, on, outcome):
    size = Predicate(fact=SCL, relation=relation, number=100, measured_within_days=30)
    rule = requirement("XG-1", LISTED, when=(size,))

    assert decided(rule, of=animal(measured={SCL: Measured(value, on)})).outcome is outcome


def acquired(first, last=None):
    return {"acquired_from": first, "acquired_until": last or first}


@pytest.mark.parametrize(
    ("predicate", "known", "there", "outcome"),
    [
        (under(12, fact=Fact.AGE_MONTHS), {"born_from": date(2025, 3, 2), "born_until": date(2025, 3, 2)}, {}, Outcome.PROHIBITED),
        (under(12, fact=Fact.AGE_MONTHS), {"born_from": date(2025, 3, 1), "born_until": date(2025, 3, 1)}, {}, Outcome.PERMITTED),
        (under(12, fact=Fact.AGE_MONTHS), {"born_from": date(2025, 1, 1), "born_until": date(2025, 12, 31)}, {}, Outcome.CANNOT_DECIDE),
        (under(12, fact=Fact.AGE_MONTHS), {}, {}, Outcome.CANNOT_DECIDE),
        (Predicate(fact=Fact.PUBLIC_DAYS, relation=Relation.AT_LEAST, number=7), {}, {"public_days": 7}, Outcome.PROHIBITED),
        (Predicate(fact=Fact.PUBLIC_DAYS, relation=Relation.AT_LEAST, number=7), {}, {"public_days": 6}, Outcome.PERMITTED),
        (Predicate(fact=Fact.PUBLIC_DAYS, relation=Relation.AT_LEAST, number=7), {}, {}, Outcome.CANNOT_DECIDE),
        (Predicate(fact=Fact.ACQUIRED_ON, relation=Relation.BEFORE, day=DAY), acquired(date(2026, 2, 28)), {}, Outcome.PROHIBITED),
        (Predicate(fact=Fact.ACQUIRED_ON, relation=Relation.BEFORE, day=DAY), acquired(DAY), {}, Outcome.PERMITTED),
        (Predicate(fact=Fact.ACQUIRED_ON, relation=Relation.ON_OR_AFTER, day=DAY), acquired(DAY), {}, Outcome.PROHIBITED),
        (Predicate(fact=Fact.ACQUIRED_ON, relation=Relation.BEFORE, day=DAY), {}, {}, Outcome.CANNOT_DECIDE),
        *(
            (Predicate(fact=Fact.ACQUIRED_ON, relation=relation, day=DAY), acquired(date(2015, 1, 1), last), {}, outcome)
            for relation, last, outcome in (
                (Relation.BEFORE, date(2026, 2, 28), Outcome.PROHIBITED),
                (Relation.BEFORE, DAY, Outcome.CANNOT_DECIDE),
                (Relation.ON_OR_AFTER, DAY, Outcome.CANNOT_DECIDE),
                (Relation.ON_OR_AFTER, date(2026, 2, 28), Outcome.PERMITTED),
            )
        ),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("male",))), {"sex": Sex.MALE}, {}, Outcome.PROHIBITED),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("male",))), {"sex": Sex.FEMALE}, {}, Outcome.PERMITTED),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("male",))), {}, {}, Outcome.CANNOT_DECIDE),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("male",))), {"sex": Sex.MIXED}, {}, Outcome.CANNOT_DECIDE),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("mixed",))), {"sex": Sex.MIXED}, {}, Outcome.PROHIBITED),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("mixed", "male"))), {"sex": Sex.MALE}, {}, Outcome.PROHIBITED),
        (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("mixed",))), {"sex": Sex.MALE}, {}, Outcome.PERMITTED),
        (
            Predicate(fact=Fact.HOLDER_KIND, relation=Relation.IS, words=frozenset(("dealer",))),
            {},
            {"holder_kind": "dealer"},
            Outcome.PROHIBITED,
        ),
        (Predicate(fact=Fact.HOLDER_KIND, relation=Relation.IS, words=frozenset(("dealer",))), {}, {}, Outcome.CANNOT_DECIDE),
        (
            Predicate(fact=Fact.PREMISES_KIND, relation=Relation.IS, words=frozenset(("open",))),
            {},
            {"kinds": frozenset(("open", "hall"))},
            Outcome.PROHIBITED,
        ),
        (
            Predicate(fact=Fact.PREMISES_KIND, relation=Relation.IS, words=frozenset(("open",))),
            {},
            {"kinds": frozenset()},
            Outcome.PERMITTED,
        ),
        (Predicate(fact=Fact.PREMISES_KIND, relation=Relation.IS, words=frozenset(("open",))), {}, {}, Outcome.CANNOT_DECIDE),
        (Predicate(fact=Fact.MARKED, relation=Relation.IS, words=frozenset(("no",))), {"is_marked": True}, {}, Outcome.PERMITTED),
        (Predicate(fact=SCL, relation=Relation.AT_MOST, number=100), {"measured": {SCL: Measured(100, DAY)}}, {}, Outcome.PROHIBITED),
        (Predicate(fact=SCL, relation=Relation.OVER, number=100), {"measured": {SCL: Measured(100, DAY)}}, {}, Outcome.PERMITTED),
    ],
)
def test_a_predicate_holds_by_what_is_on_record_and_never_by_what_is_not(predicate, known, there, outcome):
    rule = requirement("XR-1", LISTED, when=(predicate,))

    decision = decided(rule, requirement("XR-2", listing("Boa ficta")), of=animal(**known), at=premises(**there))

    assert decision.outcome is outcome


@pytest.mark.parametrize(
    ("low", "high", "outcome"), [(13, 13, Outcome.PROHIBITED), (12, 12, Outcome.PERMITTED), (12, 13, Outcome.CANNOT_DECIDE)]
)
def test_numbers_at_the_premises_count_and_doubtful_ones_leave_it_open(low, high, outcome):
    rule = requirement("XR-1", LISTED, when=(Predicate(fact=Fact.NUMBER, relation=Relation.OVER, number=12),))

    decision = decided(rule, counted=lambda *_: Number(low, high))

    assert decision.outcome is outcome
    assert decided(rule).missing == {"number"}


def exempting(**said):
    return Exemption(code="a", **said)


def test_an_exemption_that_holds_lifts_a_prohibition_and_says_so():
    rule = requirement("XR-1", LISTED, exemptions=(exempting(when=(under(60),), conditions=("no breeding",)),))

    decision = decided(rule, of=animal(measured={SCL: Measured(50, DAY)}))

    (finding,) = decision.findings
    assert (decision.outcome, finding.bearing, finding.exemption, finding.conditions) == (
        Outcome.PERMITTED, Bearing.EXEMPTED, "a", ("no breeding",),
    )  # fmt: skip


def test_an_exemption_that_cannot_be_decided_leaves_a_prohibition_undecided():
    rule = requirement("XR-1", LISTED, exemptions=(exempting(when=(under(60),)),))

    assert (decided(rule).outcome, decided(rule).missing) == (Outcome.CANNOT_DECIDE, {"straight_carapace_length"})


def test_an_exemption_under_a_permit_turns_a_prohibition_into_the_need_for_it():
    rule = requirement("XR-1", LISTED, exemptions=(exempting(document="contained-holding", activities=frozenset((HOLD,))),))
    both = replace(rule, activities=frozenset((HOLD, Activity.BREED)))

    assert (decided(both).outcome, decided(both).documents) == (Outcome.WITH_DOCUMENTS, (("contained-holding",),))
    assert decided(both, activity=Activity.BREED).outcome is Outcome.PROHIBITED


def test_a_transition_ends_with_its_last_day():
    rule = requirement("XR-1", LISTED, exemptions=(exempting(until=DAY),))

    assert [decided(rule, on=day).outcome for day in (DAY, date(2026, 3, 2))] == [Outcome.PERMITTED, Outcome.PROHIBITED]


def test_a_document_that_is_needed_is_needed_whatever_cannot_be_decided_about_exemptions():
    rule = requirement("XR-1", LISTED, consequence=Consequence.DOCUMENT, documents=("keeping",), exemptions=(exempting(when=(under(60),)),))

    assert (decided(rule).outcome, decided(rule).documents) == (Outcome.WITH_DOCUMENTS, (("keeping",),))


def test_the_tortoise_that_is_too_small_to_mark_needs_a_certificate_instead_of_a_mark():
    rule = requirement("XR-4", LISTED, consequence=Consequence.MARK, exemptions=(exempting(when=(under(60),), document="before-marking"),))

    small, grown, marked, unmeasured = (
        decided(rule, of=animal(measured=measured, is_marked=is_marked))
        for measured, is_marked in (
            ({SCL: Measured(48, DAY)}, False),
            ({SCL: Measured(60, DAY)}, False),
            ({SCL: Measured(60, DAY)}, True),
            ({}, False),
        )
    )

    assert (small.outcome, small.documents) == (Outcome.WITH_DOCUMENTS, (("before-marking",),))
    assert (grown.outcome, bearings(grown)) == (Outcome.WITH_DOCUMENTS, [Bearing.NEEDS_MARK])
    assert (marked.outcome, bearings(marked)) == (Outcome.PERMITTED, [Bearing.OBLIGES])
    assert (unmeasured.outcome, unmeasured.missing) == (Outcome.CANNOT_DECIDE, {"straight_carapace_length"})


def test_astrochelys_without_papers_needs_them_and_a_wrong_origin_is_prohibited():
    tortoise = taxon("Astrochelys radiata", family="Testudinidae", order="Testudines")
    listed = listing("Astrochelys radiata")
    papers = requirement("XL-1", listed, jurisdiction="XL", consequence=Consequence.DOCUMENT, documents=("import", "captive-bred"))
    wild = requirement("XL-2", jurisdiction="XL", selector=Selector(any_of=(listed,), origins=frozenset((Origin.WILD,))))

    def said(origin):
        decision = decided(papers, wild, of=animal(of=tortoise, origin=origin), at=premises("XL-S", "XL"))
        return decision.outcome, decision.documents, decision.missing

    assert said(Origin.CAPTIVE_BRED) == (Outcome.WITH_DOCUMENTS, (("import", "captive-bred"),), frozenset())
    assert said(Origin.WILD)[0] is Outcome.PROHIBITED
    assert said(Origin.UNKNOWN) == (Outcome.CANNOT_DECIDE, (("import", "captive-bred"),), {"origin"})


def test_a_rule_that_exempts_lifts_those_that_it_names_and_no_others():
    zoo = requirement("XR-9", LISTED, consequence=Consequence.EXEMPT, exempts=frozenset(("XR-1",)))

    lifted, other = decided(requirement("XR-1", LISTED), zoo), decided(requirement("XR-2", LISTED), zoo)

    assert (lifted.outcome, bearings(lifted)) == (Outcome.PERMITTED, [Bearing.EXEMPTED, Bearing.EXEMPTED])
    assert lifted.findings[0].exemption == "XR-9"
    assert other.outcome is Outcome.PROHIBITED


def lifting(code, *codes, **said):
    return requirement(code, LISTED, consequence=Consequence.EXEMPT, exempts=frozenset(codes), **said)


@pytest.mark.parametrize(
    ("exempting", "outcome"),
    [
        ([lifting("X-1", "XR-1"), lifting("X-2", "X-1")], Outcome.PROHIBITED),
        ([lifting("X-1", "XR-1"), lifting("X-2", "X-1"), lifting("X-3", "X-2")], Outcome.PERMITTED),
        ([lifting("X-1", "XR-1", "X-2"), lifting("X-2", "X-1", "XR-1")], Outcome.PROHIBITED),
        ([lifting("X-1", "XR-1", "X-2"), lifting("X-2", "X-1", "XR-1"), lifting("X-3", "XR-1")], Outcome.PERMITTED),
        ([lifting("X-1", "XR-1", exemptions=(exempting(until=DAY),))], Outcome.PROHIBITED),
        ([lifting("X-1", "XR-1", exemptions=(exempting(until=date(2026, 2, 28)),))], Outcome.PERMITTED),
    ],
    ids=["exempted", "by an exempted one", "in a circle", "besides a circle", "by itself", "by itself no more"],
)
def test_what_is_itself_exempted_exempts_from_nothing(exempting, outcome):
    rule = requirement("XR-1", LISTED)

    assert decided(rule, *exempting).outcome is decided(*reversed(exempting), rule).outcome is outcome


def test_an_exemption_of_what_exempts_that_cannot_be_decided_leaves_it_open():
    found = decided(
        requirement("XR-2", LISTED, consequence=Consequence.MARK), lifting("X-1", "XR-2", exemptions=(exempting(when=(under(60),)),))
    )

    assert (found.outcome, found.missing) == (Outcome.CANNOT_DECIDE, {"straight_carapace_length"})


@pytest.mark.parametrize(
    ("is_marked", "bearing", "outcome"),
    [
        (True, Bearing.OBLIGES, Outcome.PERMITTED),
        (False, Bearing.NEEDS_MARK, Outcome.WITH_DOCUMENTS),
        (None, Bearing.CANNOT_DECIDE, Outcome.CANNOT_DECIDE),
    ],
)
def test_a_mark_that_is_not_known_to_be_on_each_animal_leaves_it_open(is_marked, bearing, outcome):
    found = decided(requirement("XR-4", LISTED, consequence=Consequence.MARK), of=animal(is_marked=is_marked))
    unmarked = Predicate(fact=Fact.MARKED, relation=Relation.IS, words=frozenset(("no",)))
    asked = decided(requirement("XR-1", LISTED, when=(unmarked,)), of=animal(is_marked=is_marked))

    assert (bearings(found), found.outcome) == ([bearing], outcome)
    assert found.findings[0].used["marked"] == {True: "yes", False: "no", None: "unknown"}[is_marked]
    assert asked.outcome is {True: Outcome.PERMITTED, False: Outcome.PROHIBITED, None: Outcome.CANNOT_DECIDE}[is_marked]
    assert asked.missing == found.missing == (frozenset() if is_marked is not None else {"marked"})


@pytest.mark.parametrize("consequence", [Consequence.NOTIFY, Consequence.REPORT, Consequence.RECORD, Consequence.INSPECT])
def test_a_duty_permits_and_is_said(consequence):
    decision = decided(requirement("XR-1", LISTED, consequence=consequence))

    assert (decision.outcome, bearings(decision)) == (Outcome.PERMITTED, [Bearing.OBLIGES])


@pytest.mark.parametrize("consequence", [Consequence.NOTIFY, Consequence.REPORT, Consequence.RECORD, Consequence.INSPECT])
def test_a_duty_that_may_or_may_not_bind_forbids_nothing_and_says_what_is_missing(consequence):
    of_males = (Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("male",))),)

    decision = decided(requirement("XR-1", LISTED, consequence=consequence, when=of_males))

    (finding,) = decision.findings
    assert (decision.outcome, decision.missing) == (Outcome.PERMITTED, frozenset())
    assert (finding.bearing, finding.missing, finding.used["sex"]) == (Bearing.OBLIGES, {"sex"}, "unknown")
    assert decided(requirement("XR-1", LISTED, when=of_males)).outcome is Outcome.CANNOT_DECIDE


TAXA = (
    taxon("Testudo ficta", family="Testudinidae", order="Testudines"),
    taxon("Boa ficta"),
    taxon("Testudo", rank=TaxonRank.GENUS),
)
ENTRIES = (LISTED, listing("Testudinidae", rank=TaxonRank.FAMILY), listing("Boa ficta"))
SIZES = (under(100), under(100, measured_within_days=30), Predicate(fact=Fact.SEX, relation=Relation.IS, words=frozenset(("male",))))
exemptions = st.builds(
    Exemption, code=st.just("a"), when=st.lists(st.sampled_from(SIZES), max_size=1).map(tuple), document=st.sampled_from((None, "keeping"))
)
rules = st.builds(
    requirement,
    st.sampled_from(["R-1", "R-2", "R-3"]),
    st.sampled_from(ENTRIES),
    consequence=st.sampled_from([one for one in Consequence if one is not Consequence.EXEMPT]),
    documents=st.just(("keeping",)),
    when=st.lists(st.sampled_from(SIZES), max_size=2).map(tuple),
    exemptions=st.lists(exemptions, max_size=1).map(tuple),
    applies_from=st.sampled_from((date(2020, 1, 1), date(2026, 6, 1))),
    listed_on=st.sampled_from((None, date(2019, 1, 1))),
)
animals = st.builds(
    animal,
    of=st.sampled_from(TAXA),
    sex=st.sampled_from([Sex.MALE, Sex.UNKNOWN]),
    life_stage=st.sampled_from(list(LifeStage)),
    measured=st.sampled_from(({}, {SCL: Measured(90, DAY)}, {SCL: Measured(90, date(2020, 1, 1))})),
)
STRICTNESS = {outcome: rank for rank, outcome in enumerate(Outcome)}


@given(st.lists(rules, max_size=5), animals, rules)
def test_a_further_requirement_never_permits_more(said, subject, further):
    before, after = decided(*said, of=subject), decided(*said, further, of=subject)

    assert STRICTNESS[after.outcome] >= STRICTNESS[before.outcome]


@given(st.lists(rules, max_size=5), animals, st.lists(rules, max_size=3))
def test_versions_that_begin_later_change_nothing_about_a_day(said, subject, later):
    future = [replace(one, applies_from=date(2027, 1, 1), listed_on=date(2026, 12, 1)) for one in later]

    assert decided(*said, *future, of=subject).findings == decided(*said, of=subject).findings


@given(
    st.lists(rules, max_size=6),
    st.lists(st.tuples(animals, st.booleans()), max_size=6),
    st.sampled_from([DAY, date(2026, 6, 1), date(2019, 6, 1)]),
)
def test_the_book_says_of_every_animal_what_each_requirement_says(said, subjects, on):
    book = Book(said, known=KNOWN, on=on)

    for subject, is_marked in subjects:
        for place in (premises(), premises("XR-HIL", "XR"), premises("XL")):
            asked = {"subject": replace(subject, is_marked=is_marked), "activity": HOLD, "premises": place}
            assert book.decide(**asked) == decide(said, known=KNOWN, on=on, **asked)
