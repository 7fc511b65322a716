"""With every connection to PostgreSQL taken, a request is told so soon, and the service is well as soon as one is given back."""

from __future__ import annotations

import time
from contextlib import ExitStack

import pytest

from domain.records.engine import POOL_WAIT_S, open_store
from tests import makers
from tests.faults.in_process import running

pytestmark = [pytest.mark.fault, pytest.mark.timeout(120)]

CONNECTIONS = 2
SITE = {"name": "Reedmere House", "zone": "Europe/Lisbon"}


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_with_all_connections_taken_writes_are_refused_soon_and_the_rest_goes_on(database_url):
    store = open_store(database_url, pool_size=CONNECTIONS)
    makers.organisation(store)
    with running(store, pool_size=CONNECTIONS) as client:
        first = client.post("/v1/sites", SITE)
        with ExitStack() as taken:
            for _ in range(CONNECTIONS):
                taken.enter_context(store.snapshot(makers.origin()))
            began = time.monotonic()
            refused = client.post("/v1/sites", {**SITE, "name": "Reedmere Annexe"})
            took = time.monotonic() - began
            others = [client.get(path).status_code for path in ("/healthz", "/readyz", "/v1/sites")]
        began = time.monotonic()
        after = client.post("/v1/sites", {**SITE, "name": "Reedmere Annexe"})
        recovered = time.monotonic() - began
    store.close()

    assert first.status_code == 201
    assert (refused.status_code, refused.json()["code"]) == (503, "storage-busy")
    assert "Retry-After" in refused.headers
    assert took < POOL_WAIT_S + 2
    assert others == [200, 200, 200]
    assert after.status_code == 201
    assert recovered < 2
