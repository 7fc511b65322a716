"""Whether animals are covered, through the doors."""

from __future__ import annotations

from datetime import date
from uuid import UUID

import pytest

from api.bodies.compliance import ComplianceOfPeriod, CompliancePage, CoverageOfAnimal, PermitsInUse, Turns
from domain.records.animals import Animal
from domain.records.taxa import Taxon
from domain.rules.compliance import Standing
from domain.rules.law.requirements import Activity, Consequence, Entry, Selector
from domain.rules.taxonomy import TaxonRank
from tests import makers, people

LISTED = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))


@pytest.fixture
def kept(store, organisation):
    """Return the ids of two animals at two sites, of a requirement that asks for a permit, and of a permit for one animal."""
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        makers.document_kind(unit)
        rule = makers.requirement(unit, consequence=Consequence.DOCUMENT, documents=("keeping",), selector=LISTED)
        sites = [makers.site(unit, name=name, jurisdiction="XR") for name in ("Reedmere House", "Saltings Hall")]
        animals = [
            makers.animal(unit, of, tag=f"T-{number}", acquired_on="2025-05-01", enclosure_id=str(makers.enclosure(unit, site).id))
            for number, site in enumerate(sites, start=1)
        ]
        permit = makers.permit(unit, total_number=1, valid_until="2026-06-30", site_id=str(sites[0].id))
        makers.expected_brood(unit, animals[0], number_low=2, number_high=5)
    return {
        "animals": [str(one.id) for one in animals],
        "sites": [str(one.id) for one in sites],
        "rule": str(rule.id),
        "permit": permit.id,
    }


def test_animals_are_listed_with_how_they_stand_and_why(client, kept):
    page = CompliancePage.model_validate_json(client.get("/v1/compliance").content)

    assert [(one.tag, one.standing) for one in page.items] == [("T-1", Standing.COVERED), ("T-2", Standing.UNCOVERED)]
    assert (page.counts[Standing.COVERED], page.counts[Standing.UNCOVERED], page.next) == (1, 1, None)
    assert [one.permit_id for one in page.items[0].needs[0].permits] == [kept["permit"]]
    (finding,) = page.items[1].findings
    assert (finding.requirement, finding.edition, finding.citation, finding.documents) == ("XR-1", "1", "s. 1 (fictional)", ["keeping"])
    assert finding.used["taxon"] == "Testudo fictiva"
    assert page.disclaimer.startswith("Not legal advice")


def test_the_list_comes_page_by_page_and_by_standing(client, kept):
    first = client.get("/v1/compliance", params={"limit": 1})
    second = client.get("/v1/compliance", params={"limit": 1, "cursor": first.json()["next"]})
    uncovered = client.get("/v1/compliance", params={"standing": "uncovered"})

    assert [one["tag"] for answer in (first, second) for one in answer.json()["items"]] == ["T-1", "T-2"]
    assert (first.headers["link"].endswith('rel="next"'), second.json()["next"]) == (True, None)
    assert [one["tag"] for one in uncovered.json()["items"]] == ["T-2"]
    assert client.get("/v1/compliance", params={"standing": "covered", "cursor": first.json()["next"]}).status_code == 400


def test_an_animal_whose_standing_changes_between_two_pages_hides_no_other(client, store, kept):
    with store.transaction(makers.origin()) as unit:
        makers.permit(unit, number="P-0", total_number=1)
        other = unit.fetch(Animal, UUID(kept["animals"][1]))
        of = unit.fetch(Taxon, other.taxon_id)
        for number in range(3, 7):
            makers.animal(unit, of, tag=f"T-{number}", acquired_on="2025-05-02", enclosure_id=str(other.enclosure_id))
    first = client.get("/v1/compliance", params={"standing": "uncovered", "limit": 2}).json()
    with store.transaction(makers.origin()) as unit:
        makers.permit(unit, number="P-2", total_number=2)
    second = client.get("/v1/compliance", params={"standing": "uncovered", "limit": 2, "cursor": first["next"]}).json()

    assert [one["tag"] for one in first["items"]] == ["T-3", "T-4"]
    assert ([one["tag"] for one in second["items"]], second["next"]) == (["T-5", "T-6"], None)


def test_an_act_that_leads_elsewhere_is_told_for_both_places(client, store, kept):
    with store.transaction(makers.origin()) as unit:
        makers.requirement(unit, "XR-2", activities=frozenset((Activity.MOVE_BETWEEN,)))
    at, asked = f"/v1/animals/{kept['animals'][0]}/compliance", {"activity": "move_between"}

    without, to_site, to_place = (
        CoverageOfAnimal.model_validate_json(client.get(at, params={**asked, **to}).content)
        for to in ({}, {"to_site_id": kept["sites"][1]}, {"jurisdiction": "XQ"})
    )

    assert (without.standing, without.places, "destination" in without.missing) == (Standing.PROHIBITED, [], True)
    assert [(one.place, str(one.site_id), one.outcome) for one in to_site.places] == [
        ("here", kept["sites"][0], "prohibited"),
        ("destination", kept["sites"][1], "prohibited"),
    ]
    assert [one.place for one in to_site.findings] == ["here", "destination"]
    assert [(one.jurisdictions, one.outcome) for one in to_place.places] == [(["XR"], "prohibited"), (["XQ"], "cannot_decide")]
    page = CompliancePage.model_validate_json(client.get("/v1/compliance", params={**asked, "jurisdiction": "XR"}).content)
    assert (page.jurisdiction, page.to_site_id, [len(one.places) for one in page.items]) == ("XR", None, [2, 2])


def test_one_animal_is_asked_about_on_any_day_of_its_keeping(client, kept):
    at = f"/v1/animals/{kept['animals'][0]}/compliance"

    now, later = (CoverageOfAnimal.model_validate_json(client.get(at, params=query).content) for query in ({}, {"as_of": "2026-07-01"}))

    assert (now.standing, now.needs[0].lapses_on) == (Standing.COVERED, date(2026, 6, 30))
    assert (later.as_of, later.standing) == (date(2026, 7, 1), Standing.UNCOVERED)
    assert client.get(at, params={"as_of": "2025-04-30"}).status_code == 404
    assert client.get(at, params={"activity": "sell"}).json()["standing"] == "nothing_needed"


def test_days_without_cover_are_told_by_animal(client, kept):
    answer = client.get("/v1/compliance/period", params={"from_on": "2026-01-01", "until_on": "2026-02-28"})
    found = ComplianceOfPeriod.model_validate_json(answer.content)

    assert (found.animals, [(one.tag, one.days_uncovered) for one in found.items]) == (2, [("T-2", 59)])
    assert [(one.from_on, one.until_on) for one in found.items[0].stretches] == [(date(2026, 1, 1), date(2026, 2, 28))]


def test_permits_say_what_is_left_and_how_many_young_are_expected(client, kept):
    (only,) = PermitsInUse.model_validate_json(client.get("/v1/compliance/permits").content).items

    assert (only.permit_id, only.good_until, only.taken, only.left, only.expected) == (kept["permit"], date(2026, 6, 30), 1, 0, 5)


def test_what_a_requirement_changes_is_told_by_animal(client, kept):
    found = Turns.model_validate_json(client.get(f"/v1/requirements/{kept['rule']}/turns").content)

    assert (found.requirement, found.edition) == ("XR-1", "1")
    assert found.items == []


@pytest.mark.parametrize(
    ("path", "pointer"),
    [
        ("/v1/compliance?activity=admire", "/query/activity"),
        ("/v1/compliance?standing=fine", "/query/standing"),
        ("/v1/compliance?jurisdiction=nowhere", "/query/jurisdiction"),
        ("/v1/compliance?jurisdiction=XR&to_site_id=019ca945-0a00-7303-9a41-d18b21ab2c01", "/query/jurisdiction"),
        ("/v1/compliance/period?from_on=2026-01-01", "/query/until_on"),
        ("/v1/compliance/period?from_on=2026-01-02&until_on=2026-01-01", "/query/until_on"),
        ("/v1/compliance/period?from_on=2010-01-02&until_on=2026-01-01", "/query/from_on"),
    ],
)
def test_what_cannot_be_asked_is_named(client, path, pointer):
    answer = client.get(path)

    assert (answer.status_code, [one["pointer"] for one in answer.json()["errors"]]) == (422, [pointer])


def test_who_reaches_one_site_is_told_of_that_alone(client, store, kept, caller, stranger):
    bound = caller(people.key(store, scopes=["records.read"], site_ids=[kept["sites"][1]]))

    assert [one["tag"] for one in bound.get("/v1/compliance").json()["items"]] == ["T-2"]
    assert bound.get(f"/v1/animals/{kept['animals'][0]}/compliance").json()["code"] == "other-site"
    assert bound.get("/v1/compliance", params={"site_id": kept["sites"][0]}).json()["code"] == "other-site"
    assert bound.get("/v1/compliance", params={"to_site_id": kept["sites"][0]}).json()["code"] == "other-site"
    assert bound.get("/v1/compliance/permits").json()["items"] == []
    assert stranger.get(f"/v1/animals/{kept['animals'][0]}/compliance").status_code == 404
    assert stranger.get("/v1/compliance").json()["items"] == []
