"""What has to be told to whom, and by when, after something went wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID

import pytest

from domain.rules.incidents import IncidentKind, notices
from domain.rules.law.facts import Premises
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import (
    Activity,
    Consequence,
    Duty,
    Entry,
    Exemption,
    Fact,
    Obligation,
    Occasion,
    Predicate,
    Relation,
    Selector,
)
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.lives import LifeStage, Origin
from domain.rules.taxonomy import TaxonRank
from tests.rules.law.stating import animal, requirement, taxon

SITE = UUID(int=7)
ZONE = "Europe/Berlin"
FOUND = datetime(2026, 3, 27, 17, 30, tzinfo=UTC)
ENTRY = Entry(name="Testudo ficta", rank=TaxonRank.SPECIES)
LISTED = Selector(any_of=(ENTRY,))
TORTOISE, BOA = animal(of=taxon("Testudo ficta", family="Testudinidae")), animal(of=taxon("Boa ficta", family="Boidae"))


def tell(number=24, unit=Unit.HOURS, occasion=Occasion.ESCAPE, code="tell"):
    return Obligation(code=code, duty=Duty.NOTIFY, occasion=occasion, within=None if number is None else Span(number, unit))


def rule(code="XR-1", selector=LISTED, *obligations, **said):
    said = {"consequence": Consequence.NOTIFY, **said}
    return replace(requirement(code, ENTRY, obligations=obligations or (tell(),), **said), selector=selector)


def place(code, **said):
    return Jurisdiction(code=code, name=f"{code} (fictional)", level=Level.STATE, zone=ZONE, fictional=True, **said)


def asked(
    *rules, of=(TORTOISE,), kind=IncidentKind.ESCAPE, found_at=FOUND, jurisdictions=("XR",), places=None, others=False, public_days=None
):
    known = {"XR": place("XR")} if places is None else places
    premises = Premises(site_id=SITE, jurisdictions=jurisdictions, public_days=public_days)
    return notices(rules, known, of, kind=kind, found_at=found_at, zone=ZONE, premises=premises, others_concerned=others)


def test_hours_count_from_the_instant_whatever_the_clocks_do():
    (notice,) = asked(rule(), found_at=datetime(2026, 3, 28, 18, 0, tzinfo=UTC)).notices

    assert notice.tell_by == datetime(2026, 3, 29, 18, 0, tzinfo=UTC)
    assert notice.is_decided


def test_working_days_end_with_the_last_of_them_where_the_authority_is():
    friday = place("XR", working_days=WorkingDays(holidays=frozenset((date(2026, 3, 30),))))

    (notice,) = asked(rule("XR-1", LISTED, tell(1, Unit.WORKING_DAYS)), places={"XR": friday}).notices

    assert notice.tell_by == datetime(2026, 3, 31, 21, 59, 59, tzinfo=UTC)


def test_what_says_no_span_is_told_at_once_and_comes_first():
    found = asked(rule("XR-2", LISTED, tell(1)), rule("XR-3", LISTED, tell(None))).notices

    assert [(one.requirement.code, one.tell_by is None) for one in found] == [("XR-3", True), ("XR-2", False)]


def test_each_jurisdiction_is_told_for_itself():
    below = rule("XR-A-1", LISTED, tell(48), jurisdiction="XR-A")

    found = asked(rule(), below, jurisdictions=("XR-A", "XR")).notices

    assert [one.requirement.jurisdiction for one in found] == ["XR", "XR-A"]


def test_only_what_is_asked_of_such_an_incident_with_such_an_animal_is_told():
    rules = (rule(), rule("XR-2", LISTED, tell(occasion=Occasion.BITE)))

    assert [one.requirement.code for one in asked(*rules).notices] == ["XR-1"]
    assert asked(*rules, of=(BOA,)).notices == ()


def test_an_animal_among_several_is_enough():
    (notice,) = asked(rule(), of=(BOA, TORTOISE)).notices

    assert (notice.is_decided, notice.used["taxon"]) == (True, "Testudo ficta")


def test_what_is_not_known_of_an_animal_is_never_taken_for_no():
    of_adults = Selector(any_of=LISTED.any_of, life_stages=frozenset((LifeStage.ADULT,)))

    (notice,) = asked(rule("XR-1", of_adults), of=(animal(of=TORTOISE.taxon, life_stage=LifeStage.UNKNOWN),)).notices

    assert (notice.is_decided, notice.missing) == (False, frozenset(("life_stage",)))


def test_where_nobody_said_which_animals_only_what_is_about_all_is_beyond_doubt():
    public = Predicate(fact=Fact.PUBLIC_DAYS, relation=Relation.AT_LEAST, number=7)
    rules = (rule("XR-1"), rule("XR-2", Selector()), rule("XR-3", Selector(), when=(public,)))

    found = {one.requirement.code: one.missing for one in asked(*rules, of=()).notices}

    assert found == {"XR-1": {"animals"}, "XR-2": frozenset(), "XR-3": {"animals"}}


def test_who_is_exempt_has_nothing_to_tell_but_who_needs_a_document_for_that_has():
    free, on_paper = Exemption(code="small"), Exemption(code="permitted", document="keeping")

    assert asked(rule(exemptions=(free,), consequence=Consequence.PROHIBITED)).notices == ()
    assert len(asked(rule(exemptions=(on_paper,), consequence=Consequence.PROHIBITED)).notices) == 1


@pytest.mark.parametrize("said", [{"applies_from": date(2026, 3, 28)}, {"applies_until": date(2026, 3, 26)}])
def test_versions_that_were_not_in_force_on_the_day_ask_for_nothing(said):
    assert asked(rule(**said)).notices == ()


def test_a_day_is_that_of_the_site():
    later = rule(applies_from=date(2026, 3, 28))

    assert len(asked(later, found_at=datetime(2026, 3, 27, 23, 30, tzinfo=UTC)).notices) == 1


def test_each_jurisdiction_that_no_pack_states_is_said_whatever_is_known_of_the_others():
    assert asked(rule(), jurisdictions=("XL",)).missing == {"jurisdiction_XL"}
    assert asked(rule(), jurisdictions=("XR-LOW", "XR")).missing == {"jurisdiction_XR-LOW"}
    assert asked(jurisdictions=("XR",)).missing == frozenset()
    assert asked(rule(), jurisdictions=()).missing == {"jurisdiction"}


def test_the_law_of_another_place_asks_for_nothing():
    assert asked(rule(), rule("XL-1", jurisdiction="XL"), rule("XL-2", jurisdiction="XL", applies_until=date(2020, 1, 1))).notices == (
        asked(rule()).notices
    )


@pytest.mark.parametrize("said", [{"applies_from": date(2026, 3, 27)}, {"applies_until": date(2026, 3, 27)}])
def test_on_its_first_and_its_last_day_a_version_asks(said):
    assert len(asked(rule(**said)).notices) == 1


def test_what_a_rule_says_of_a_sale_does_not_matter():
    assert len(asked(rule(activities=frozenset((Activity.SELL,)))).notices) == 1


@pytest.mark.parametrize(("public_days", "number"), [(10, 1), (3, 0)])
def test_what_is_known_of_the_premises_counts(public_days, number):
    public = Predicate(fact=Fact.PUBLIC_DAYS, relation=Relation.AT_LEAST, number=7)

    assert len(asked(rule(when=(public,)), public_days=public_days).notices) == number


def test_one_animal_that_it_is_surely_about_is_enough_beside_one_of_which_that_is_not_known():
    of_adults = Selector(any_of=LISTED.any_of, life_stages=frozenset((LifeStage.ADULT,)))
    unknown, adult = (animal(of=TORTOISE.taxon, life_stage=one) for one in (LifeStage.UNKNOWN, LifeStage.ADULT))

    (notice,) = asked(rule("XR-1", of_adults), of=(unknown, adult)).notices

    assert (notice.is_decided, notice.used["life_stage"]) == (True, "adult")


def test_where_others_were_concerned_of_which_nothing_is_known_it_cannot_be_decided():
    rules = (rule("XR-1"), rule("XR-2", Selector()))

    found = {one.requirement.code: one.missing for one in asked(*rules, of=(BOA,), others=True).notices}

    assert found == {"XR-1": {"animals"}, "XR-2": frozenset()}


@pytest.mark.parametrize(
    "selector",
    [
        Selector(but_not=(ENTRY,)),
        Selector(life_stages=frozenset((LifeStage.ADULT,))),
        Selector(origins=frozenset((Origin.WILD,))),
    ],
)
def test_what_is_about_some_animals_only_is_in_doubt_where_nobody_said_which(selector):
    (notice,) = asked(rule("XR-1", selector), of=()).notices

    assert notice.missing == {"animals"}


def test_days_are_counted_where_the_authority_is_and_at_the_site_where_that_is_not_known():
    a_day = rule("XR-1", LISTED, tell(1, Unit.DAYS))
    far = replace(place("XR"), zone="America/New_York")

    assert [asked(a_day, places=places).notices[0].tell_by for places in ({"XR": far}, {})] == [
        datetime(2026, 3, 29, 3, 59, 59, tzinfo=UTC),
        datetime(2026, 3, 28, 22, 59, 59, tzinfo=UTC),
    ]
