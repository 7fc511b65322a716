"""What an inspection file gathers of a site: its own animals, equipment, people and law, as they were, each with its record."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from domain.actions.census import Scope, movements
from domain.actions.enclosures import end_enclosure
from domain.actions.equipment import ReplacementStated, replace_equipment
from domain.actions.fitness import fitness_of, suitability_at
from domain.actions.inspection_file import (
    animals_at,
    competences_at,
    deaths_among,
    enclosures_at,
    equipment_of,
    first_day_at,
    provenance,
)
from domain.actions.law import law_as_of
from domain.actions.marks import record_mark
from domain.records.enclosures import Enclosure
from domain.records.journal import HEAD
from domain.rules.fitness import Bearing, Outcome
from domain.rules.lives import EventKind
from domain.rules.service_life import Standing
from tests import makers
from tests.actions.of_animals import MISTAKE, mark

FROM, UNTIL = date(2025, 1, 1), date(2025, 12, 31)
BOX = {"kind": "box", "length_m": 2.0, "width_m": 0.5, "water_depth_m": 0.0}


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit, jurisdiction="XR")


@pytest.fixture
def other(unit):
    return makers.site(unit, name="Saltings Hall", jurisdiction="XR")


@pytest.fixture
def hall(unit, site):
    return makers.enclosure(unit, site, shape=BOX, kind="terrarium")


def test_the_register_has_those_who_were_there_on_the_day_with_mark_and_source(unit, site, other, hall):
    tortoise = makers.taxon(unit)
    one = makers.animal(unit, tortoise, acquired_on="2024-05-01", basis="gift", acquired_from="A keeper", enclosure_id=str(hall.id))
    record_mark(unit, one.id, mark(from_on="2024-06-01", is_primary=True))
    record_mark(unit, one.id, mark(kind="photograph", code=None, reading=None, view="left side", from_on="2024-05-02"))
    gone = makers.animal(unit, tortoise, tag="T-2", acquired_on="2024-05-01", enclosure_id=str(hall.id))
    makers.event(unit, gone, "departed", "2025-12-31")
    makers.animal(unit, tortoise, tag="T-3", acquired_on="2026-01-01", enclosure_id=str(hall.id))
    makers.animal(unit, tortoise, tag="T-4", acquired_on="2024-05-01", enclosure_id=str(makers.enclosure(unit, other, name="B 1").id))

    found = animals_at(unit, site, on=UNTIL, most=10)

    assert [row["tag"] for row in found.records] == ["T-1"]
    assert found.in_all == 1
    assert found.marks[one.id] == [("transponder", "985112003456789"), ("photograph", None)]
    source = found.sources[one.id]
    assert (source["kind"], source["on"], source["basis"], source["party"]) == (EventKind.ACQUIRED, date(2024, 5, 1), "gift", "A keeper")


def test_the_register_is_bounded_and_counts_all(unit, site, hall):
    tortoise = makers.taxon(unit)
    for number in (1, 2, 3):
        makers.animal(unit, tortoise, tag=f"T-{number}", acquired_on="2024-05-01", enclosure_id=str(hall.id))

    found = animals_at(unit, site, on=UNTIL, most=2)

    assert ([row["tag"] for row in found.records], found.in_all) == (["T-1", "T-2"], 3)


def test_the_first_day_of_anything_at_a_site_is_known(unit, site, other, hall):
    makers.animal(unit, makers.taxon(unit), acquired_on="2024-05-01", enclosure_id=str(hall.id))

    assert (first_day_at(unit, site), first_day_at(unit, other)) == (date(2024, 5, 1), None)


def test_deaths_of_the_period_come_with_their_cause_and_no_others(unit, site, hall):
    tortoise = makers.taxon(unit)
    for tag, on in (("T-1", "2025-06-01"), ("T-2", "2024-06-01"), ("T-3", "2026-01-01")):
        one = makers.animal(unit, tortoise, tag=tag, acquired_on="2024-05-01", enclosure_id=str(hall.id))
        makers.event(unit, one, "died", on, cause="old age")

    happened = list(movements(unit, from_on=FROM, until_on=UNTIL, scope=Scope(site_id=site.id)))
    found = deaths_among(unit, happened, from_on=FROM, until_on=UNTIL)

    assert [(one.tag, cause) for one, cause in found] == [("T-1", "old age")]


def test_equipment_is_what_is_overdue_and_what_was_replaced_in_the_period(unit, site, other):
    model = makers.model(unit, life_months=12)
    makers.equipment(unit, model, site, tag="LATE", installed_on="2024-03-01")
    makers.equipment(unit, model, site, tag="GOOD", installed_on="2025-06-01")
    makers.equipment(unit, model, other, tag="ELSEWHERE", installed_on="2024-03-01")
    old = makers.equipment(unit, model, site, tag="OLD", installed_on="2024-09-01")
    stated = ReplacementStated(tag="NEW", installed_on=date(2025, 8, 1), reason="burnt out", no_spare=True)
    replace_equipment(unit, old.id, stated)

    found = equipment_of(unit, site, from_on=FROM, until_on=UNTIL)

    assert [one.tag for one in found.overdue] == ["LATE"]
    assert found.counts[Standing.GOOD] == 2
    assert [(row["tag"], row["old_id"], row["end_reason"]) for row in found.replaced] == [("NEW", old.id, "burnt out")]
    assert equipment_of(unit, site, from_on=FROM, until_on=date(2025, 7, 31)).replaced == []


def test_competences_are_of_the_site_and_the_whole_organisation_without_names(unit, site, other):
    for at, on in ((site, "2025-06-01"), (None, "2025-07-01"), (other, "2025-06-01"), (site, "2026-01-01")):
        makers.competence(unit, makers.staff(unit, at, name=f"{at and at.name} {on}"), from_on=on)

    found = competences_at(unit, site, until_on=UNTIL)

    assert sorted(row["from_on"] for row in found) == [date(2025, 6, 1), date(2025, 7, 1)]
    assert not {"name", "title", "assessed_by", "note"} & set(found[0])


def test_a_competence_that_was_taken_again_is_renewed_and_one_that_is_like_no_other_is_not(unit, site):
    keeper, other = makers.staff(unit, site), makers.staff(unit, site, name="Another")
    first = {"title": "Handling of vipers", "hazard": "venomous", "from_on": "2024-01-01", "expires_on": "2025-06-01"}
    old = makers.competence(unit, keeper, **first)
    makers.competence(unit, keeper, **first | {"title": "handling  of Vipers", "from_on": "2025-05-01", "expires_on": "2027-05-01"})
    makers.competence(unit, keeper, **first | {"hazard": "dangerous"})
    makers.competence(unit, other, **first)

    renewed = [row["id"] for row in competences_at(unit, site, until_on=UNTIL) if row["is_renewed"]]

    assert renewed == [old.id]
    assert not any(row["is_renewed"] for row in competences_at(unit, site, until_on=date(2025, 4, 30)))


def test_an_enclosure_that_ended_after_the_period_was_there_in_it(unit, site, hall):
    end_enclosure(unit, hall.id, MISTAKE)
    ended = unit.fetch(Enclosure, hall.id).ended_on

    assert [len(enclosures_at(unit, site, until_on=day)) for day in (ended - timedelta(days=1), ended)] == [1, 0]


def test_provenance_is_the_law_of_the_place_on_the_day_and_the_end_of_the_journal(store, organisation):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit, jurisdiction="XR")
        makers.requirement(unit, "XR-1")
        makers.requirement(unit, "XR-2", applies_from=date(2026, 1, 1))
        makers.requirement(unit, "XR-3", applies_until=date(2025, 12, 30))
    with store.snapshot(makers.origin()) as unit:
        found = provenance(unit, site, law_as_of(unit), on=UNTIL)

        assert [one.code for one in found.requirements] == ["XR-1"]
        assert (found.position, found.hash) == tuple(unit.row(HEAD))
        assert {row["name"] for row in found.packs} == {"rule-xr-1", "rule-xr-2", "rule-xr-3"}


def test_every_enclosure_is_judged_as_a_placement_there_would_be(unit, site, hall):
    newts, snakes = makers.taxon(unit, "Triturus fictus", hazard="harmless"), makers.taxon(unit, "Vipera ficta", hazard="venomous")
    makers.target(unit, newts, least_floor_m2=0.9, floor_each_more_m2=0.4), makers.target(unit, snakes)
    makers.separation(unit, newts, snakes)
    makers.containment(unit, competence_needed=True)
    small = makers.enclosure(unit, site, name="Small", shape={**BOX, "length_m": 0.4}, kind="terrarium")
    makers.enclosure(unit, site, name="Empty")
    unfit = {"acquired_on": "2025-01-02", "life_stage": "adult", "override_reason": "For the test."}
    living = [
        makers.animal(unit, of, tag=tag, enclosure_id=str(place.id), **unfit)
        for tag, of, place in (("N-1", newts, hall), ("S-1", snakes, hall), ("N-2", newts, small))
    ]

    found = suitability_at(unit, site.id, enclosures_at(unit, site, until_on=UNTIL), on=UNTIL)

    outcomes = {name: [one.fitness.outcome for one in found[place.id]] for name, place in (("hall", hall), ("small", small))}
    assert outcomes == {"hall": [Outcome.DOES_NOT_FIT] * 2, "small": [Outcome.DOES_NOT_FIT]}
    assert sorted(map(len, found.values())) == [0, 1, 2]
    for animal, place in zip(living, (hall, hall, small), strict=True):
        alone = fitness_of(unit, animal, place, on=UNTIL, number=1)
        judged = next(one.fitness for one in found[place.id] if one.animals.taxon_id == animal.taxon_id)
        wanted = [reason for reason in alone.reasons if reason.bearing is not Bearing.REMARK]
        assert [reason for reason in judged.reasons if reason.bearing is not Bearing.REMARK] == wanted


def test_those_who_left_before_the_day_are_in_no_enclosure(unit, site, hall):
    newt = makers.animal(unit, makers.taxon(unit), acquired_on="2025-01-02", enclosure_id=str(hall.id))
    makers.event(unit, newt, "died", "2025-06-01")

    assert [len(suitability_at(unit, site.id, [hall], on=day)[hall.id]) for day in (date(2025, 5, 31), date(2025, 6, 1))] == [1, 0]
