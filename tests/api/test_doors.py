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


def test_names_and_ids_take_turns_in_every_path():
    for door in DOORS:
        parts = door.path.split("/")
        assert all(part.startswith("{") for part in parts[3::2])
        assert not any(part.startswith("{") for part in parts[2::2])
        assert door.key == key_of(door.method, parts)


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/v1/sites"), ("GET", "/v1/sites?limit=0"), ("GET", "/v1/sites/{}"), ("GET", "/v1/sites/x"), ("POST", "/v1/sites/{}/end")],
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
