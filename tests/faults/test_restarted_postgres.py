"""PostgreSQL that is killed under load comes back without the service being started again, and nothing confirmed is gone."""

from __future__ import annotations

import random
import signal
import threading
import time
from uuid import uuid4

import pytest

from domain.records.engine import open_store
from tests import makers
from tests.api.conftest import make_key
from tests.faults.acknowledged import all_work, crew, faults_found
from tests.faults.serving import Line, Service

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]

RECOVERED_WITHIN_S = 5
SITE = {"zone": "Europe/Lisbon"}


def test_the_service_outlives_its_database_and_loses_nothing(forker, restartable_postgres, rounds):
    url = restartable_postgres.migrated(f"reedbed_{uuid4().hex}")
    store = open_store(url, pool_size=2)
    makers.organisation(store)
    key = make_key(store, organisation_id=makers.ORGANISATION)
    keepers = crew(store, key, keepers=3)
    service = Service(forker, url)
    service.start()
    process = service.child.pid
    for seed in range(rounds(6, full=50)):
        chance = random.Random(seed)  # noqa: S311 - repeatable, not secret
        enough = threading.Event()
        threads = all_work(keepers, service.port, until=enough)
        time.sleep(chance.uniform(0.1, 0.5))
        restartable_postgres.kill(chance.choice((signal.SIGQUIT, signal.SIGKILL)))
        time.sleep(chance.uniform(0, 2))
        restartable_postgres.start()
        recovered_s = time_until_written(service, key)
        enough.set()
        for thread in threads:
            thread.join()

        assert recovered_s < RECOVERED_WITHIN_S
        assert_store_is_back(store)
        assert faults_found(service, store, keepers, key=key) == []

    assert (service.child.pid, service.child.lives) == (process, True)
    assert sum(one.refused for one in keepers) > 0
    service.kill()
    store.close()


def time_until_written(service: Service, key: str) -> float:
    """Return how long [s] it takes until something is written again; until then every answer is 503."""
    line, began = Line(service.port, key), time.monotonic()
    while True:
        answer = line.send("POST", "/v1/sites", body={**SITE, "name": f"Back {uuid4().hex}"})
        took = time.monotonic() - began
        if answer.status == 201 or took > 3 * RECOVERED_WITHIN_S:
            line.close()
            return took
        assert answer.status == 503, answer
        time.sleep(0.05)


def assert_store_is_back(store) -> None:
    last_at = time.monotonic() + 3 * RECOVERED_WITHIN_S
    while True:
        try:
            with store.snapshot(makers.origin()):
                return
        except Exception:
            if time.monotonic() > last_at:
                raise
            time.sleep(0.05)
