"""Readings and checks hang on their item."""

from __future__ import annotations

import pytest

from tests import makers


@pytest.fixture
def items(store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        site = makers.site(unit)
        model = makers.model(unit)
        return [str(makers.equipment(unit, model, site, tag=f"RE-{number}").id) for number in range(2)]


@pytest.mark.parametrize("path", ["hour-readings", "output-readings", "checks"])
def test_an_item_without_readings_has_an_empty_list(client, items, path):
    assert client.get(f"/v1/equipment/{items[0]}/{path}").json() == {"items": [], "next": None}


def test_a_reading_is_found_below_its_item_only(client, items):
    made = client.post(f"/v1/equipment/{items[0]}/hour-readings", {"read_on": "2026-01-01", "counter_h": 100})
    own = made.json()["id"]

    assert client.get(f"/v1/equipment/{items[0]}/hour-readings/{own}").content == made.content
    assert client.get(f"/v1/equipment/{items[1]}/hour-readings/{own}").status_code == 404
    assert client.get(f"/v1/equipment/{items[1]}/hour-readings").json()["items"] == []
    assert client.post(f"/v1/equipment/{items[1]}/hour-readings/{own}/end", {"reason": "x"}).status_code in {404, 409}


def test_a_wrong_reading_is_taken_out_of_account_and_stays_on_record(client, items):
    path = f"/v1/equipment/{items[0]}/hour-readings"
    made = client.post(path, {"read_on": "2026-01-01", "counter_h": 900_000})
    client.post(f"{made.headers['Location']}/end", {"reason": "misread"})

    right = client.post(path, {"read_on": "2026-01-02", "counter_h": 100})

    assert right.status_code == 201
    assert {one["end_reason"] for one in client.get(f"{path}?ended=any").json()["items"]} == {"misread", None}


def test_a_counter_that_ran_backwards_is_named(client, items):
    path = f"/v1/equipment/{items[0]}/hour-readings"
    client.post(path, {"read_on": "2026-01-01", "counter_h": 100})

    answer = client.post(path, {"read_on": "2026-01-02", "counter_h": 99})

    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/counter_h")
