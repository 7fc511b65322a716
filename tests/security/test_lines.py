"""What is refused leaves a line that says who was refused, where and why."""

from __future__ import annotations

import io
import json

import pytest

from api.app import build_app
from api.limits import Kind, Limits
from api.logs import request_log
from domain.records.organisations import Access
from tests import makers
from tests.api.conftest import make_key


@pytest.fixture
def lines():
    return io.StringIO()


@pytest.fixture
def app(store, settings, lines):
    return build_app(store, settings=settings, clock=lambda: makers.NOON, log=request_log(lines))


def test_a_refusal_leaves_a_line_with_its_code_and_who_was_refused(app, store, organisation, caller, lines):
    reader = caller(make_key(store, organisation_id=organisation, access=Access.READ))
    writer = caller(make_key(store, organisation_id=organisation))
    site = {"name": "Reedmere House", "zone": "Europe/Lisbon", "jurisdiction": "XR-LOW"}

    reader.post("/v1/sites", site)
    writer.post("/v1/sites", {**site, "zone": "nowhere at all"})
    writer.post_raw("/v1/sites", b"{")
    caller("rbk_none_none").get("/v1/sites")
    app.state.house.limits = Limits({Kind.CREDENTIAL: (1, 60)})
    reader.get("/v1/sites")
    reader.get("/v1/sites")

    said = [json.loads(line) for line in lines.getvalue().splitlines()]
    refused = [(line["status"], line.get("code", ""), line.get("actor", "").partition(":")[0]) for line in said if line["status"] >= 400]
    assert [(status, who) for status, _, who in refused] == [(403, "key"), (422, "key"), (400, "key"), (401, ""), (429, "key")]
    assert all(code for _, code, _ in refused)
    assert app.state.house.metrics.counted("authz_denials") == 1
