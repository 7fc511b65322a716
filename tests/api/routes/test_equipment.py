"""Equipment through the door: the refusals a person must be able to mend, and the replacement."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from tests import makers

# 12:00 UTC on 1 March is already 2 March at a site thirteen hours ahead.
AHEAD, AHEAD_TODAY = "Pacific/Auckland", "2026-03-02"


@pytest.fixture
def placed(store, organisation):
    """Return what an item's statement refers to, at a site ahead of UTC, with two spares on a shelf."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        site = makers.site(unit, zone=AHEAD)
        model = makers.model(unit)
        spare = makers.spare(unit, model, site)
        item = makers.equipment(unit, model, site)
    return {"site_id": str(site.id), "model_id": str(model.id), "spare_id": str(spare.id), "item_id": str(item.id)}


def stated(placed, **rest):
    return {"tag": "RE-9", "model_id": placed["model_id"], "site_id": placed["site_id"], **rest}


@pytest.mark.parametrize(("installed_on", "status"), [("2026-03-01", 201), (AHEAD_TODAY, 201), ("2026-03-03", 422)])
def test_tomorrow_at_the_site_is_refused(client, placed, installed_on, status):
    answer = client.post("/v1/equipment", stated(placed, installed_on=installed_on))

    assert answer.status_code == status
    if status == 422:
        assert answer.json()["errors"][0]["pointer"] == "/installed_on"


@pytest.mark.parametrize(
    ("facts", "pointer"),
    [
        ({"run_schedule": [{"hours_per_day": 24.5}]}, "/run_schedule/0/hours_per_day"),
        ({"run_schedule": [{"hours_per_day": -1}]}, "/run_schedule/0/hours_per_day"),
        ({"run_schedule": [{"hours_per_day": 12}, {"starts_on": "2025-01-01", "hours_per_day": "5"}]}, "/run_schedule/1/hours_per_day"),
        ({"run_schedule": [{"hours_per_day": True}]}, "/run_schedule/0/hours_per_day"),
        ({"run_schedule": [{"hours_per_day": 5, "colour": 1}]}, "/run_schedule/0/colour"),
        ({"override_life_months": -6, "override_reason": "x"}, "/override_life_months"),
        ({"override_life_months": 6.5, "override_reason": "x"}, "/override_life_months"),
        ({"counter_at_installation_h": "5"}, "/counter_at_installation_h"),
        ({"installed_on": "2026-03-01T10:00:00"}, "/installed_on"),
        ({"installed_on": "2026-02-29"}, "/installed_on"),
        ({"installed_on": 20260301}, "/installed_on"),
        ({"installed_on": "0026-03-01"}, "/installed_on"),
        ({"enclosure_id": "5"}, "/enclosure_id"),
        ({"enclosure_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, "/enclosure_id"),
        ({"replaces_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, "/replaces_id"),
        ({"hours_per_day": 5}, "/hours_per_day"),
    ],
)
def test_a_fact_that_cannot_be_is_named(client, placed, facts, pointer):
    answer = client.post("/v1/equipment", stated(placed, **facts))

    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


@pytest.mark.parametrize(
    "field", ["life_months", "life_weeks", "life_days", "life_hours", "lead_days", "unit_cost_minor", "output_minimum"]
)
def test_a_negative_limit_of_a_model_is_named(client, field):
    answer = client.post("/v1/equipment-models", {"name": "M", "kind": "uvb-tube", field: -1})

    assert [error["pointer"] for error in answer.json()["errors"]] == [f"/{field}"]


def replace(client, placed, **rest):
    body = {"installed_on": "2026-03-01", "reason": "output fell", **rest}
    return client.post(f"/v1/equipment/{placed['item_id']}/replacement", body)


def on_hand(client, placed):
    return client.get(f"/v1/spares/{placed['spare_id']}").json()["on_hand"]


def test_a_replacement_retires_installs_and_takes_the_spare(client, placed):
    answer = replace(client, placed, serial="S-2")

    old = client.get(f"/v1/equipment/{placed['item_id']}").json()
    new = client.get(answer.headers["Location"])
    assert answer.status_code == 201
    assert new.content == answer.content
    assert (new.json()["replaces_id"], new.json()["tag"], new.json()["serial"]) == (placed["item_id"], "RE-1", "S-2")
    assert (old["ended_on"], old["end_reason"]) == ("2026-03-01", "output fell")
    assert on_hand(client, placed) == 1


def test_a_replaced_item_is_not_replaced_again(client, placed):
    replace(client, placed)

    again = replace(client, placed)

    assert (again.status_code, again.json()["code"]) == (409, "ended")
    assert on_hand(client, placed) == 1


def test_of_replacements_at_the_same_time_one_is_made(client, placed):
    with ThreadPoolExecutor(6) as pool:
        statuses = sorted(pool.map(lambda _: replace(client, placed).status_code, range(6)))

    assert statuses == [201] + [409] * 5
    assert on_hand(client, placed) == 1


def test_a_repeated_replacement_is_given_again(client, placed):
    path, body = f"/v1/equipment/{placed['item_id']}/replacement", {"installed_on": "2026-03-01", "reason": "x"}
    first, again = (client.post(path, body, Idempotency_Key="r-1") for _ in range(2))

    assert again.content == first.content
    assert on_hand(client, placed) == 1


@pytest.mark.parametrize(("tag", "status"), [('"1"', 201), ('"2"', 412), ("1", 400)])
def test_a_replacement_may_say_which_version_it_means(client, placed, tag, status):
    body = {"installed_on": "2026-03-01", "reason": "x"}

    assert client.post(f"/v1/equipment/{placed['item_id']}/replacement", body, If_Match=tag).status_code == status


def test_a_refused_replacement_leaves_everything_as_it_was(client, placed):
    answer = replace(client, placed, installed_on="2026-03-03")

    assert answer.json()["errors"][0]["pointer"] == "/installed_on"
    assert client.get(f"/v1/equipment/{placed['item_id']}").json()["ended_on"] is None
    assert on_hand(client, placed) == 2


@pytest.mark.parametrize("own", ["6ba7b810-9dad-11d1-80b4-00c04fd430c8", "5"])
def test_a_replacements_own_id_is_of_version_7(client, placed, own):
    assert replace(client, placed, id=own).json()["errors"][0]["pointer"] == "/id"


def test_a_replacement_may_bring_its_id(client, placed):
    own = "01890a5d-ac96-774b-bcce-b302099a8057"

    assert replace(client, placed, id=own).json()["id"] == own
