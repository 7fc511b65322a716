"""Lists, page by page."""

from __future__ import annotations

import base64
import json
from datetime import timedelta

import pytest

from domain.actions.recording import Ending
from domain.actions.sites import end_site
from tests import makers

NOON = makers.NOON


@pytest.fixture
def five_sites(store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        return [str(makers.site(unit, name=f"House {number}").id) for number in range(5)]


def ids(answer):
    return [item["id"] for item in answer.json()["items"]]


def test_an_empty_list_is_a_list(client):
    assert client.get("/v1/sites").content == b'{"items":[],"next":null}'


@pytest.mark.parametrize(("limit", "pages"), [(1, 5), (2, 3), (4, 2), (5, 1), (200, 1)])
def test_the_pages_together_are_the_whole_in_order(client, five_sites, limit, pages):
    found, path, count = [], f"/v1/sites?limit={limit}", 0
    while path:
        answer = client.get(path)
        found += ids(answer)
        count += 1
        link = answer.headers.get("Link")
        assert (link is None) == (answer.json()["next"] is None)
        path = link and link.removeprefix("<").split(">")[0]

    assert (found, count) == (five_sites, pages)


def test_a_record_ended_between_two_pages_hides_none(client, five_sites):
    first = client.get("/v1/sites?limit=2").json()
    client.post(f"/v1/sites/{five_sites[0]}/end", {"reason": "sold"})

    second = client.get("/v1/sites", params={"limit": 2, "cursor": first["next"]})

    assert ids(second) == five_sites[2:4]


def test_the_limit_may_change_between_pages(client, five_sites):
    cursor = client.get("/v1/sites?limit=1").json()["next"]

    assert ids(client.get("/v1/sites", params={"cursor": cursor})) == five_sites[1:]


def encoded(text):
    return base64.urlsafe_b64encode(text.encode()).rstrip(b"=").decode()


ID = "019ca945-0a00-7303-9a41-d18b21ab2c01"


@pytest.mark.parametrize(
    "cursor",
    [
        "",
        "x",
        "!!!!",
        "ż",
        "A" * 5000,
        encoded("{}"),
        encoded("[]"),
        encoded('{"of":1,"rank":0,"id":"x"}'),
        encoded(json.dumps({"of": "a", "rank": 0, "id": "x"})),
        encoded(json.dumps({"of": "a", "rank": -1, "id": ID})),
        encoded(json.dumps({"of": "a", "rank": 2**40, "id": ID})),
        encoded(json.dumps({"of": "a", "rank": 0, "id": ID})),
    ],
)
def test_a_cursor_that_is_not_ours_is_refused(client, cursor):
    answer = client.get("/v1/sites", params={"cursor": cursor})

    assert answer.status_code == 400
    assert answer.json()["code"].startswith("cursor-")


@pytest.mark.usefixtures("five_sites")
def test_a_cursor_of_another_organisation_list_or_filter_is_refused(client, stranger):
    cursor = client.get("/v1/sites?limit=1&ended=any").json()["next"]

    assert client.get("/v1/sites", params={"cursor": cursor, "ended": "any"}).status_code == 200
    assert stranger.get("/v1/sites", params={"cursor": cursor, "ended": "any"}).status_code == 400
    assert client.get("/v1/sites", params={"cursor": cursor}).status_code == 400
    assert client.get("/v1/taxa", params={"cursor": cursor, "ended": "any"}).status_code == 400


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("limit=9999", "/query/limit"),
        ("limit=1&limit=2", "/query/limit"),
        ("colour=green", "/query/colour"),
        ("site_id=5", "/query/site_id"),
        ("kind=castle", "/query/kind"),
        ("ended=yes", "/query/ended"),
        ("as_of=tomorrow", "/query/as_of"),
        ("sort=name", "/query/sort"),
        ("name=", "/query/name"),
        ("name=%00", "/query/name"),
        ("as_of=2026-01-01&ended=any", "/query/ended"),
        ("organisation_id=1", "/query/organisation_id"),
    ],
)
def test_a_parameter_that_cannot_be_taken_is_named(client, query, pointer):
    answer = client.get(f"/v1/enclosures?{query}")

    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_one_record_takes_no_parameter(client, site_id):
    assert client.get(f"/v1/sites/{site_id}?limit=1").status_code == 422


def test_a_list_of_the_ended_and_of_all(client, five_sites):
    client.post(f"/v1/sites/{five_sites[1]}/end", {"reason": "sold"})

    assert ids(client.get("/v1/sites")) == [five_sites[0], *five_sites[2:]]
    assert ids(client.get("/v1/sites?ended=true")) == [five_sites[1]]
    assert ids(client.get("/v1/sites?ended=any")) == five_sites


@pytest.mark.parametrize(
    ("as_of", "names"),
    [
        ("2026-02-28", []),
        ("2026-03-01", ["kept", "ended later"]),
        ("2026-03-03", ["kept", "ended later"]),
        ("2026-03-04", ["kept"]),
        ("2026-03-05", ["kept", "later"]),
    ],
)
def test_as_of_a_day_the_list_is_what_existed_then(store, client, as_of, names):
    with store.transaction(makers.origin()) as unit:
        makers.site(unit, name="kept")
        gone = makers.site(unit, name="ended later")
    with store.transaction(makers.origin(at=NOON + timedelta(days=3, hours=12))) as unit:
        makers.site(unit, name="later")
    with store.transaction(makers.origin(at=NOON + timedelta(days=3))) as unit:
        end_site(unit, gone.id, Ending(reason="sold", on=NOON.date() + timedelta(days=3)))

    found = client.get(f"/v1/sites?as_of={as_of}").json()["items"]

    assert [item["name"] for item in found] == names


def test_a_name_is_found_in_another_spelling(client, five_sites):
    assert ids(client.get("/v1/sites", params={"name": " HOUSE  3 "})) == [five_sites[3]]


def test_filters_add_up(store, client, site_id):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit, name="Other")
        made = [makers.enclosure(unit, site, name=f"E{number}", kind=kind) for number, kind in enumerate(["pond", "tub", "pond"])]

    assert ids(client.get(f"/v1/enclosures?site_id={site.id}&kind=pond")) == [str(made[0].id), str(made[2].id)]
    assert ids(client.get(f"/v1/enclosures?site_id={site_id}&kind=pond")) == []


def test_enclosures_come_in_walking_order(store, client):
    places = [3, None, 1, 2, 1, None]
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        for number, place in enumerate(places):
            makers.enclosure(unit, site, name=f"E{number}", walking_order=place)

    found, cursor = [], {}
    while cursor is not None:
        page = client.get("/v1/enclosures", params={"sort": "walking_order", "limit": 2, **cursor}).json()
        found += [item["name"] for item in page["items"]]
        cursor = {"cursor": page["next"]} if page["next"] else None

    assert found == ["E2", "E4", "E3", "E0", "E1", "E5"]


def test_equipment_is_found_by_its_models_kind(store, client):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        lamp, pump = makers.model(unit), makers.model(unit, name="Pump", kind="circulation-pump")
        makers.equipment(unit, lamp, site, tag="L-1")
        wanted = makers.equipment(unit, pump, site, tag="P-1")

    assert ids(client.get("/v1/equipment?kind=circulation-pump")) == [str(wanted.id)]
    assert ids(client.get("/v1/equipment?tag=p-1")) == [str(wanted.id)]
