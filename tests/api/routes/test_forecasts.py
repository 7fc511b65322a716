"""An item's forecast, and everything that is due, over HTTP."""

from __future__ import annotations

import csv
from io import StringIO
from uuid import uuid4

import pytest

from domain.records.engine import Store
from tests import makers


@pytest.fixture
def due(store: Store, organisation: int) -> dict[str, str]:
    """Register items at two sites and return their ids by tag."""
    with store.transaction(makers.origin()) as unit:
        lamp = makers.model(unit, life_months=12, life_hours=5000, lead_days=14, supplier="Halden Light")
        here, there = makers.site(unit), makers.site(unit, name="Quillback Rescue", zone="Europe/London")
        place = makers.enclosure(unit, here, walking_order=4)
        daily = [{"hours_per_day": 12}]
        items = [
            makers.equipment(unit, lamp, here, tag="RE-1", enclosure_id=place.id, run_schedule=daily, installed_on="2025-03-01"),
            makers.equipment(unit, lamp, here, tag="RE-2", run_schedule=daily, installed_on="2025-03-10"),
            makers.equipment(unit, lamp, here, tag="RE-3", run_schedule=daily, installed_on=None),
            makers.equipment(unit, lamp, here, tag="RE-4", run_schedule=daily, installed_on="2026-01-01"),
            makers.equipment(unit, lamp, there, tag="=QU-1", run_schedule=daily, installed_on="2025-02-01"),
        ]
        makers.spare(unit, lamp, here, shelf="B4", on_hand=3)
    return {item.tag: str(item.id) for item in items}


def tags(answer) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [item["tag"] for item in answer.json()["items"]]


def test_a_forecast_says_each_rules_own_date_and_why(client, due):
    found = client.get(f"/v1/equipment/{due['RE-2']}/forecast").json()

    assert (found["standing"], found["due_on"], found["binding"], found["order_by"]) == ("due_soon", "2026-03-10", "age", "2026-02-24")
    assert [(rule["kind"], rule["due_on"]) for rule in found["rules"]] == [("age", "2026-03-10"), ("hours", "2026-04-30")]
    assert found["rules"][1] | {"sentence": ""} == {
        "kind": "hours",
        "due_on": "2026-04-30",
        "sentence": "",
        "missing": [],
        "limit_h": 5000.0,
        "counted_from": "2025-03-10",
        "run_h": 4272.0,
        "schedule": "12 h/day",
    }
    assert found["because"].startswith("It reaches its age limit of 12 months on 10 March 2026")


def test_a_forecast_can_be_asked_as_of_a_day(client, due):
    found = client.get(f"/v1/equipment/{due['RE-2']}/forecast", params={"as_of": "2026-03-11"}).json()

    assert (found["as_of"], found["standing"]) == ("2026-03-11", "overdue")


def test_what_is_missing_makes_a_forecast_unknown_and_is_named(client, due):
    found = client.get(f"/v1/equipment/{due['RE-3']}/forecast").json()

    assert (found["standing"], found["due_on"], found["missing"]) == ("unknown", None, ["installed_on"])


def test_the_list_holds_what_is_due_and_what_cannot_be_dated(client, due):
    assert tags(client.get("/v1/replacements")) == ["=QU-1", "RE-1", "RE-2", "RE-3"]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"due_by": "2026-03-01"}, ["=QU-1", "RE-1", "RE-3"]),
        ({"due_by": "2099-01-01"}, ["=QU-1", "RE-1", "RE-2", "RE-4", "RE-3"]),
        ({"standing": "overdue"}, ["=QU-1"]),
        ({"standing": "due"}, ["RE-1"]),
        ({"kind": "uvc-lamp"}, []),
        ({"as_of": "2026-01-01"}, ["RE-3"]),
    ],
)
def test_the_list_is_filtered(client, due, query, expected):
    assert tags(client.get("/v1/replacements", params=query)) == expected


def test_the_list_goes_on_page_by_page(client, due):
    seen, cursor = [], None
    for _ in range(4):
        page = client.get("/v1/replacements", params={"limit": 1, **({"cursor": cursor} if cursor else {})})
        seen += tags(page)
        cursor = page.json()["next"]

    assert (seen, cursor) == (["=QU-1", "RE-1", "RE-2", "RE-3"], None)


def test_one_sites_list_says_where_and_what_is_on_the_shelf(client, due, store):
    site = client.get("/v1/sites", params={"name": "reedmere house"}).json()["items"][0]["id"]
    first = client.get("/v1/replacements", params={"site_id": site}).json()["items"][0]

    assert (first["tag"], first["place"], first["spares_on_hand"], first["shelves"]) == ("RE-1", "Hall A 01", 3, ["B4"])
    assert "uv-eyes" in first["cautions"]


def test_the_list_as_csv_holds_all_of_it_and_runs_no_formula(client, due):
    answer = client.get("/v1/replacements", params={"format": "csv", "limit": 1})

    rows = list(csv.DictReader(StringIO(answer.content.decode("utf-8-sig"))))
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert [row["tag"] for row in rows] == ["'=QU-1", "RE-1", "RE-2", "RE-3"]


@pytest.mark.parametrize("cursor", ["x", "bnVsbA", "WyIyMDI2LTAzLTAxIiwgInp6Il0", "%F0%9F%90%A2"])
def test_a_cursor_that_is_not_ours_is_refused(client, due, cursor):
    answer = client.get(f"/v1/replacements?cursor={cursor}")

    assert (answer.status_code, answer.json()["code"]) == (400, "cursor-malformed")


def test_an_unknown_site_and_another_organisations_are_the_same(client, stranger, due):
    site = client.get("/v1/sites").json()["items"][0]["id"]

    foreign, unknown = (stranger.get("/v1/replacements", params={"site_id": one}) for one in (site, str(uuid4())))

    assert (foreign.status_code, foreign.content) == (404, unknown.content)
    assert tags(stranger.get("/v1/replacements")) == []
    assert stranger.get(f"/v1/equipment/{due['RE-1']}/forecast").status_code == 404


@pytest.mark.usefixtures("due")
def test_a_cursor_of_another_organisation_filter_or_day_is_refused(client, stranger):
    asked = {"limit": 1, "due_by": "2099-01-01"}
    cursor = {"cursor": client.get("/v1/replacements", params=asked).json()["next"]}

    assert client.get("/v1/replacements", params={**asked, **cursor, "limit": 2}).status_code == 200
    for other in (stranger.get("/v1/replacements", params={**asked, **cursor}), client.get("/v1/replacements", params=cursor)):
        assert (other.status_code, other.json()["code"]) == (400, "cursor-foreign")


def test_a_cursor_of_another_list_is_refused(client, due, store):
    with store.transaction(makers.origin()) as unit:
        makers.site(unit, name="Third House")
    cursor = client.get("/v1/sites", params={"limit": 1}).json()["next"]

    assert client.get("/v1/replacements", params={"cursor": cursor}).status_code == 400
