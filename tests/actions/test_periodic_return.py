"""A return is asked for a period that its rule has, and tells of it what is on record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from domain.actions.marks import record_mark
from domain.actions.periodic_return import periodic_return, return_asked
from domain.rules.law.requirements import Activity, Consequence, Duty, Entry, Fact, Obligation, Period, Predicate, Relation, Selector
from domain.rules.lives import Origin
from domain.rules.taxonomy import TaxonRank
from tests import makers
from tests.actions.of_animals import mark, refusal

TODAY = date(2026, 3, 1)
FIELDS = ("taxon", "stock_at_start", "births", "arrivals", "deaths", "departures", "stock_at_end", "permit_numbers", "transponders")


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit, jurisdiction="XR")


@pytest.fixture
def hall(unit, site):
    return makers.enclosure(unit, site)


def returned(period=Period.CALENDAR_YEAR, fields=FIELDS, **said):
    return Obligation(code="return", duty=Duty.REPORT, period=period, due_month=1, due_day=31, fields=fields, **said)


def rule(unit, code="XR-9", obligation=None, **said):
    makers.requirement(unit, code, consequence=Consequence.REPORT, obligations=(obligation or returned(),), **said)


def asked(unit, site, code="XR-9", **period):
    return return_asked(unit, site, code, today=TODAY, **(period or {"year": 2025}))


def rows(unit, site, **period):
    return {row.taxon.name: row for row in periodic_return(unit, site, asked(unit, site, **period)).rows}


def test_a_year_and_its_first_day_mean_the_same_period(unit, site):
    rule(unit)

    by_year, by_day = asked(unit, site), asked(unit, site, from_on=date(2025, 1, 1))

    assert by_year == by_day
    assert (by_year.from_on, by_year.until_on, by_year.due_on) == (date(2025, 1, 1), date(2025, 12, 31), date(2026, 1, 31))


def test_a_quarter_is_told_by_its_first_day(unit, site):
    rule(unit, obligation=returned(Period.CALENDAR_QUARTER))

    found = asked(unit, site, from_on=date(2025, 10, 1))

    assert (found.until_on, found.due_on) == (date(2025, 12, 31), date(2026, 1, 31))


@pytest.mark.parametrize(
    ("period", "stated", "fault"),
    [
        (Period.CALENDAR_YEAR, {"from_on": date(2025, 4, 1)}, ("not-in-period", "/from_on")),
        (Period.CALENDAR_YEAR, {"year": 2026}, ("in-future", "/year")),
        (Period.CALENDAR_YEAR, {"from_on": date(2026, 1, 1)}, ("in-future", "/from_on")),
        (Period.CALENDAR_YEAR, {"year": 2019}, ("not-in-period", "/year")),
        (Period.CALENDAR_QUARTER, {"year": 2025}, ("not-in-period", "/year")),
        (Period.CALENDAR_QUARTER, {"from_on": date(2025, 5, 1)}, ("not-in-period", "/from_on")),
        (Period.CALENDAR_QUARTER, {"from_on": date(2026, 1, 1)}, ("in-future", "/from_on")),
    ],
)
def test_a_period_that_the_rule_does_not_have_is_refused_by_its_field(unit, site, period, stated, fault):
    rule(unit, obligation=returned(period))

    assert refusal(asked, unit, site, **stated) == fault


def test_a_requirement_without_a_return_or_of_another_place_is_refused(unit, site):
    rule(unit, "XR-9")
    rule(unit, "XR-8", obligation=returned(fields=()))
    makers.requirement(unit, "XR-7")
    nowhere = makers.site(unit, name="Saltings Hall")

    assert refusal(asked, unit, site, "XR-0") == ("reference-unknown", "/requirement_code")
    assert refusal(asked, unit, site, "XR-7") == ("no-return", "/requirement_code")
    assert refusal(asked, unit, site, "XR-8") == ("no-return", "/requirement_code")
    assert refusal(asked, unit, nowhere) == ("not-there", "/requirement_code")


def test_a_period_of_which_a_part_is_under_the_rule_may_be_asked_for(unit, site):
    rule(unit, applies_from=date(2025, 12, 31))

    assert asked(unit, site).requirement.applies_from == date(2025, 12, 31)
    assert refusal(asked, unit, site, year=2024) == ("not-in-period", "/year")


def test_numbers_are_those_of_the_stock_statement_with_all_names_of_a_taxon_in_one_row(unit, site, hall):
    rule(unit)
    now = makers.taxon(unit, "Trachemys ficta")
    old = makers.taxon(unit, "Emys ficta", accepted_id=str(now.id))
    makers.group(unit, now, 5, acquired_on="2024-05-01", enclosure_id=str(hall.id))
    late = makers.animal(unit, old, acquired_on="2025-02-01", enclosure_id=str(hall.id))
    makers.event(unit, late, "died", "2025-06-01")
    makers.event(unit, makers.animal(unit, old, tag="T-2", acquired_on="2024-02-01", enclosure_id=str(hall.id)), "departed", "2025-07-01")

    (row,) = rows(unit, site).values()

    found = row.account
    assert (found.opening, found.arrivals, found.deaths, found.departures, found.closing) == (6, 1, 1, 1, 5)
    assert (row.taxon.name, row.taxon_ids, found.balances) == ("Trachemys ficta", {now.id, old.id}, True)


def test_eggs_are_a_row_of_their_own(unit, site, hall):
    rule(unit)
    tortoise = makers.taxon(unit)
    makers.animal(unit, tortoise, acquired_on="2024-02-01", enclosure_id=str(hall.id))
    makers.group(unit, tortoise, 7, came_by="laid", life_stage="egg", acquired_on="2025-05-01", enclosure_id=str(hall.id))

    found = periodic_return(unit, site, asked(unit, site)).rows

    assert [(row.kind.are_eggs, row.account.closing) for row in found] == [(False, 1), (True, 7)]


def test_sex_and_stage_make_rows_where_the_rule_lists_them(unit, site, hall):
    rule(unit, obligation=returned(fields=("taxon", "sex", "life_stage", "number")))
    tortoise = makers.taxon(unit)
    for tag, sex, stage in (("T-1", "male", "adult"), ("T-2", "female", "adult"), ("T-3", "male", "juvenile"), ("T-4", "male", "adult")):
        makers.animal(unit, tortoise, tag=tag, sex=sex, life_stage=stage, acquired_on="2024-02-01", enclosure_id=str(hall.id))

    found = periodic_return(unit, site, asked(unit, site)).rows

    assert [(row.kind.life_stage, row.kind.sex, row.account.closing) for row in found] == [
        ("adult", "female", 1), ("adult", "male", 2), ("juvenile", "male", 1),
    ]  # fmt: skip


def test_only_what_the_rule_is_about_is_returned_and_what_may_be_is_named(unit, site, hall):
    listed = Selector(any_of=(Entry(name="Testudines", rank=TaxonRank.ORDER),))
    rule(unit, selector=listed)
    order = {name: makers.taxon(unit, name, rank="order") for name in ("Testudines", "Squamata")}
    taxa = [makers.taxon(unit, name, parent_id=above and str(above.id)) for name, above in (
        ("Emys ficta", order["Testudines"]), ("Boa ficta", order["Squamata"]), ("Rana ficta", None))]  # fmt: skip
    for number, one in enumerate(taxa):
        makers.animal(unit, one, tag=f"T-{number}", acquired_on="2024-02-01", enclosure_id=str(hall.id))

    found = periodic_return(unit, site, asked(unit, site))

    assert [row.taxon.name for row in found.rows] == ["Emys ficta", "Rana ficta"]
    assert found.unsure == {taxa[2].id: frozenset(("taxon_order",))}
    assert (found.asked_of, found.missing) == (1, frozenset(("taxon_order",)))


def test_a_rule_about_animals_of_an_origin_counts_all_and_says_that_it_cannot_tell(unit, site, hall):
    rule(unit, selector=Selector(origins=frozenset((Origin.WILD,))))
    tortoise = makers.taxon(unit)
    makers.animal(unit, tortoise, origin="wild", acquired_on="2024-02-01", enclosure_id=str(hall.id))

    found = periodic_return(unit, site, asked(unit, site))

    assert found.unsure == {tortoise.id: frozenset(("origin",))}
    assert found.asked_of == 1


@pytest.mark.parametrize(("least", "asked_of"), [(3, 3), (4, 0)])
def test_how_many_animals_the_rule_asks_about_on_the_last_day_is_told(unit, site, hall, least, asked_of):
    rule(unit, when=(Predicate(fact=Fact.NUMBER, relation=Relation.AT_LEAST, number=least),))
    makers.group(unit, makers.taxon(unit), 3, acquired_on="2024-02-01", enclosure_id=str(hall.id))

    assert periodic_return(unit, site, asked(unit, site)).asked_of == asked_of


def test_permits_that_were_good_for_a_taxon_on_a_day_of_the_period_are_named_once(unit, site, hall):
    rule(unit)
    boa, tortoise = makers.taxon(unit, "Boa ficta"), makers.taxon(unit)
    one = makers.animal(unit, boa, tag="B-1", acquired_on="2024-02-01", enclosure_id=str(hall.id))
    makers.animal(unit, tortoise, tag="T-1", acquired_on="2024-02-01", enclosure_id=str(hall.id))
    elsewhere = makers.site(unit, name="Saltings Hall", jurisdiction="XR")
    for number, stated in (
        ("ANY", {}),
        ("OLD", {"issued_on": "2023-01-01", "valid_until": "2024-12-31"}),
        ("ENDED-IN-IT", {"issued_on": "2023-01-01", "valid_until": "2025-01-01"}),
        ("NEW", {"issued_on": "2026-01-01"}),
        ("ELSEWHERE", {"site_id": elsewhere.id}),
        ("SELLING", {"activities": ["sell"]}),
    ):
        makers.permit(unit, number=number, **stated)
    makers.permit_taxon(unit, makers.permit(unit, number="BOAS", any_taxon=False), boa)
    makers.permit_animal(unit, makers.permit(unit, number="ONE", any_taxon=False), one)

    found = rows(unit, site)

    assert found["Testudo fictiva"].permit_numbers == ("ANY", "ENDED-IN-IT")
    assert set(found["Boa ficta"].permit_numbers) >= {"ANY", "ENDED-IN-IT", "BOAS"}
    assert not {"OLD", "NEW", "ELSEWHERE", "SELLING"} & set(found["Boa ficta"].permit_numbers)


def test_transponders_are_those_borne_at_the_end_and_the_bare_are_counted(unit, site, hall):
    rule(unit)
    tortoise = makers.taxon(unit)
    for number in (1, 2, 3):
        one = makers.animal(unit, tortoise, tag=f"T-{number}", acquired_on="2025-01-02", enclosure_id=str(hall.id))
        if number < 3:
            record_mark(unit, one.id, mark(code=f"98511200345678{number}", from_on="2025-06-01" if number == 1 else "2026-01-05"))
    makers.group(unit, tortoise, 4, acquired_on="2025-01-02", enclosure_id=str(hall.id))

    (row,) = rows(unit, site).values()

    assert (row.transponders, row.without) == (["985112003456781"], 2)


def test_animals_of_another_site_are_in_no_return_of_this_one(unit, site):
    rule(unit)
    other = makers.site(unit, name="Saltings Hall", jurisdiction="XR")
    makers.animal(unit, makers.taxon(unit), acquired_on="2024-02-01", enclosure_id=str(makers.enclosure(unit, other).id))

    assert rows(unit, site) == {}


def test_a_rule_about_another_act_asks_by_that_act(unit, site, hall):
    rule(unit, activities=frozenset((Activity.DISPLAY,)))
    makers.animal(unit, makers.taxon(unit), acquired_on="2024-02-01", enclosure_id=str(hall.id))

    found = asked(unit, site)

    assert periodic_return(unit, site, found).asked_of == 1
    assert periodic_return(unit, site, replace(found, until_on=date(2024, 1, 1), from_on=date(2023, 1, 1))).asked_of == 0
