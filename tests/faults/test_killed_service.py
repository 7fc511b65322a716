"""A service that is killed while it writes has kept all that it confirmed, and nothing by halves."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from domain.records.engine import open_store
from tests import makers
from tests.api.conftest import make_key
from tests.faults.acknowledged import Keeper, all_work, crew, faults_found
from tests.faults.forked import HOUSE
from tests.faults.serving import STARTED_WITHIN_S, Service, environment_of, free_port

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]

KEEPERS = 3
READY_WITHIN_S = 5


@dataclass
class Scene:
    """A service, what is on record, and who writes."""

    service: Service
    store: Any
    key: str
    keepers: list[Keeper]

    def round(self, seed: int) -> list[str]:
        """Work, kill, start again, compare."""
        threads = all_work(self.keepers, self.service.port, until=threading.Event())
        time.sleep(random.Random(seed).uniform(0.05, 0.5))  # noqa: S311 - repeatable, not secret
        self.service.kill()
        for thread in threads:
            thread.join()
        self.service.start()
        return faults_found(self.service, self.store, self.keepers, key=self.key)


@pytest.fixture
def scene(forker: Any, database_url: str) -> Iterator[Scene]:
    """Yield a scene on an empty database."""
    yield from _scene(forker, database_url, flaw=None)


def _scene(forker: Any, url: str, *, flaw: str | None) -> Iterator[Scene]:
    store = open_store(url, pool_size=2)
    makers.organisation(store)
    key = make_key(store, organisation_id=makers.ORGANISATION)
    service = Service(forker, url, flaw)
    service.start()
    try:
        yield Scene(service, store, key, crew(store, key, keepers=KEEPERS))
    finally:
        service.kill()
        store.close()


def test_what_was_confirmed_outlives_the_service(scene, rounds):
    for seed in range(rounds(25, full=200)):
        assert scene.round(seed) == []

    assert sum(len(one.known) for one in scene.keepers) > 0


@pytest.mark.parametrize("flaw", ["answers before it commits", "keeps the key afterwards"])
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_service_with_a_flaw_is_found_out(forker, database_url, flaw):
    scenes = _scene(forker, database_url, flaw=flaw)
    scene = next(scenes)

    found = []
    for seed in range(60):
        found += scene.round(seed)
        if found:
            break

    scenes.close()
    assert found


@pytest.mark.parametrize("database_url", ["sqlite", "postgresql"], indirect=True)
def test_a_new_process_is_ready_soon_after_another_was_killed(scene, database_url):
    scene.service.kill()
    port = free_port()
    environment = {**os.environ, **environment_of(database_url), "REEDBED_PORT": str(port)}
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "api", "serve"], cwd=HOUSE, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    scene.service.port = port
    while not scene.service.is_ready():
        assert time.monotonic() - began < STARTED_WITHIN_S
        time.sleep(0.02)

    process.kill()
    _, _, used = os.wait4(process.pid, 0)
    process.returncode = -9
    # Processor time, which on a machine of its own is what passes: others may be at work on this one.
    assert used.ru_utime + used.ru_stime < READY_WITHIN_S
