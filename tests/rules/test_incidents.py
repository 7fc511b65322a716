"""What has to be told to whom, and by when, after something went wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID

import pytest

from domain.rules.incidents import IncidentKind, notices
from domain.rules.law.facts import Premises
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.requirements import Consequence, Duty, Entry, Exemption, Fact, Obligation, Occasion, Predicate, Relation, Selector
from domain.rules.law.spans import Span, Unit, WorkingDays
from domain.rules.lives import LifeStage
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


def asked(*rules, of=(TORTOISE,), kind=IncidentKind.ESCAPE, found_at=FOUND, jurisdictions=("XR",), places=None):
    known = {"XR": place("XR")} if places is None else places
    premises = Premises(site_id=SITE, jurisdictions=jurisdictions)
    return notices(rules, known, of, kind=kind, found_at=found_at, zone=ZONE, premises=premises)


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
