"""PostgreSQL that is killed under load comes back without the service being started again, and nothing confirmed is gone."""

from __future__ import annotations

import random
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from uuid import uuid4

import psycopg
import pytest
from psycopg_pool import ConnectionPool
from sqlalchemy.engine import make_url

from domain.records.engine import open_store
from tests import makers
from tests.api.conftest import make_key
from tests.faults.acknowledged import all_work, crew, faults_found
from tests.faults.in_process import running
from tests.faults.serving import Line, Service

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]

RECOVERED_WITHIN_S = 5
RESTING = 4
"""Connections of each pool that lie there unused."""
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


@pytest.mark.parametrize("how", [signal.SIGQUIT, signal.SIGKILL, signal.SIGINT], ids=["together", "without a word", "in order"])
def test_a_restart_while_nobody_asks_is_not_noticed(restartable_postgres, how):
    store = open_store(restartable_postgres.migrated(f"reedbed_{uuid4().hex}"), pool_size=RESTING)
    makers.organisation(store)
    with running(store, pool_size=RESTING) as client:
        with ThreadPoolExecutor(RESTING) as pool, ExitStack() as taken:
            for _ in range(RESTING):
                taken.enter_context(store.snapshot(makers.origin()))
            pool.map(client.get, ["/v1/sites"] * 4 * RESTING)
        rested = {name: figures["pool_size"] for name, figures in store.pool_figures().items()}
        restartable_postgres.kill(how)
        restartable_postgres.start()
        statuses = [client.get(path).status_code for _ in range(RESTING) for path in ("/readyz", "/v1/sites")]
        statuses += [client.post("/v1/sites", {**SITE, "name": f"Site {at}"}).status_code for at in range(RESTING)]
    store.close()

    assert rested["writing"] == RESTING
    assert rested["reading"] > 1
    assert set(statuses) == {200, 201}


def test_a_plain_pool_would_have_handed_out_what_has_ended(restartable_postgres):
    url = make_url(restartable_postgres.migrated(f"reedbed_{uuid4().hex}")).set(drivername="postgresql")
    with ConnectionPool(url.render_as_string(hide_password=False), min_size=1, max_size=1) as pool:
        pool.wait()
        restartable_postgres.kill(signal.SIGQUIT)
        restartable_postgres.start()

        with pytest.raises(psycopg.OperationalError), pool.connection() as connection:
            connection.execute("SELECT 1")
