"""A door served by FastAPI's own way gives the same answers as by the short one."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from starlette.middleware import Middleware

from api.app import DOORS
from api.doors import key_of
from api.envelope import Envelope
from tests.api.conftest import Client


def test_no_two_doors_are_mistaken_for_each_other():
    assert len({door.key for door in DOORS}) == len(DOORS)


def test_names_and_ids_take_turns_in_every_path_but_that_of_a_view_which_has_names_alone():
    for door in DOORS:
        parts = door.path.split("/")
        assert door.is_view or all(part.startswith("{") for part in parts[3::2])
        assert not any(part.startswith("{") for part in (parts if door.is_view else parts[2::2]))
        assert door.key == ((door.method, *parts) if door.is_view else key_of(door.method, parts))


def test_the_views_are_those_of_the_census_and_of_compliance():
    assert {door.path for door in DOORS if door.is_view} == {
        "/v1/census/statement",
        "/v1/census/movements",
        "/v1/census/specimens",
        "/v1/compliance/period",
        "/v1/compliance/permits",
    }


def test_a_name_that_is_no_view_leads_nowhere(client):
    assert client.get("/v1/census/nothing").status_code == 404
    assert client.get("/v1/sites/statement").status_code == 404


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/v1/sites"),
        ("GET", "/v1/sites?limit=0"),
        ("GET", "/v1/sites/{}"),
        ("GET", "/v1/sites/x"),
        ("POST", "/v1/sites/{}/end"),
        ("GET", "/v1/census/specimens"),
    ],
)
def test_the_longer_way_leads_to_the_same_answer(app, client, site_id, method, path):
    house = app.state.house
    envelope = Middleware(Envelope, settings=house.settings, metrics=house.metrics, log=None, draining=house.draining)
    longer = FastAPI(routes=[door.route() for door in DOORS], middleware=[envelope])
    longer.state.house = house
    other = Client(longer, client._portal, key=client._http.headers["Authorization"].removeprefix("Bearer "))
    rest = {"json": {"reason": ""}} if method == "POST" else {}

    short, long = (one.request(method, path.format(site_id), **rest) for one in (client, other))

    assert (long.status_code, long.content) == (short.status_code, short.content)
    assert long.headers.get("ETag") == short.headers.get("ETag")
