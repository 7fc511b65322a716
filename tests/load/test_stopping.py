"""A service that is told to stop under load finishes what it has taken, loses nothing that it has confirmed, and starts again at once."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from uuid import uuid4

import httpx
import pytest
import sqlalchemy as sa

import migrations
from domain.actions.verify import prove
from domain.records.base import table_of
from domain.records.engine import open_store
from domain.records.sites import Site
from domain.records.statements import Statement
from tests import makers
from tests.load.served import Furnished, Served, furnish, served

CALLERS = 6
BEFORE_S, GRACE_S = 0.7, 1.2
READY_S = 5.0
"""Within which a service is ready [s]; times what a busy machine needs."""
BUSY_MACHINE = 4
QUICK = {"requests_per_minute": 0, "organisation_requests_per_minute": 0, "stop_grace_s": GRACE_S}
_site = table_of(Site)
NAMES = Statement(sa.select(_site.c.name).where(_site.c.organisation_id == sa.bindparam("organisation_id")))


@dataclass
class Writer(threading.Thread):
    """A caller that registers one site after the other until nobody answers any more."""

    here: Served
    place: Furnished
    confirmed: dict[str, str] = field(default_factory=dict)
    refused: list[int] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    __hash__ = threading.Thread.__hash__

    def run(self) -> None:
        with httpx.Client(base_url=self.here.address, headers={"Authorization": f"Bearer {self.place.key}"}, timeout=30) as client:
            while len(self.broken) < 3:
                self.register(client)

    def register(self, client: httpx.Client) -> None:
        request_id = uuid4().hex
        site = {"name": f"Pond {request_id}", "zone": "Europe/Lisbon"}
        try:
            answer = client.post("/v1/sites", json=site, headers={"X-Request-Id": request_id})
        except httpx.TransportError:
            self.broken.append(request_id)
            time.sleep(0.05)
            return
        if answer.status_code == 201:
            self.confirmed[request_id] = site["name"]
        else:
            self.refused.append(answer.status_code)


@dataclass(frozen=True)
class Stopped:
    """A service that has stopped: its callers, what it said of its readiness before and after the signal, and the slow request's answer."""

    url: str
    here: Served
    writers: list[Writer]
    readiness: list[int]
    slow_answers: list[httpx.Response]


def names_on_record(url: str) -> set[str]:
    with closing(open_store(url, pool_size=1)) as store, store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []
        return {name for (name,) in unit.rows(NAMES)}


@pytest.fixture
def stopped(database_url: str, tmp_path: Path) -> Iterator[Stopped]:
    """Yield a service that has stopped under load while one request was still arriving."""
    place = furnish(database_url, sites=1)
    slow_answers: list[httpx.Response] = []
    with served(database_url, tmp_path, QUICK) as here:
        writers = [Writer(here, place) for _ in range(CALLERS)]
        slow = threading.Thread(target=lambda: slow_answers.append(slowly_posted(here, place)))
        for thread in (*writers, slow):
            thread.start()
        time.sleep(BEFORE_S)
        readiness = [httpx.get(f"{here.address}/readyz", timeout=30).status_code]
        here.terminate()
        while readiness[-1] == 200:
            readiness[1:] = [httpx.get(f"{here.address}/readyz", timeout=30).status_code]
        here.wait()
        for thread in (*writers, slow):
            thread.join()
        yield Stopped(database_url, here, writers, readiness, slow_answers)


@pytest.mark.timeout(240)
def test_a_service_that_stops_under_load_loses_nothing_and_breaks_nothing_off(stopped):
    confirmed = {request_id: name for writer in stopped.writers for request_id, name in writer.confirmed.items()}
    answered = {line["request_id"] for line in stopped.here.lines() if line["event"] == "request"}
    broken = {request_id for writer in stopped.writers for request_id in writer.broken}
    on_record = names_on_record(stopped.url)

    assert (stopped.here.status, stopped.readiness) == (0, [200, 503])
    assert len(confirmed) > CALLERS
    assert [answer.status_code for answer in stopped.slow_answers] == [201]
    assert on_record == {"House 000", "Slow Pond", *confirmed.values()}
    assert broken & answered == set()
    assert {status for writer in stopped.writers for status in writer.refused} <= {503}
    assert stopped.here.ready_s < READY_S * BUSY_MACHINE
    assert not Path(f"{stopped.url.removeprefix('sqlite:///')}-wal").exists()


def slowly_posted(here: Served, place: Furnished) -> httpx.Response:
    """Register a site by a body that takes more than a second to arrive."""

    def body() -> Iterator[bytes]:
        yield b'{"name": "Slow Pond",'
        time.sleep(1.5)
        yield b'"zone": "Europe/Lisbon"}'

    headers = {"Authorization": f"Bearer {place.key}", "Content-Type": "application/json"}
    return httpx.post(f"{here.address}/v1/sites", content=body(), headers=headers, timeout=30)


def test_a_service_without_its_end_in_order_would_break_requests_off(tmp_path):
    """The negative control: killed at once, it leaves callers without an answer to what it had taken."""
    database_url = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    migrations.upgrade(database_url)
    place = furnish(database_url, sites=1)
    answers: list[object] = []

    def post() -> None:
        try:
            answers.append(slowly_posted(here, place))
        except httpx.TransportError as broken:
            answers.append(broken)

    with served(database_url, tmp_path, QUICK) as here:
        slow = threading.Thread(target=post)
        slow.start()
        time.sleep(0.3)
        here.process.kill()
        slow.join()

    assert isinstance(answers[0], httpx.TransportError)
    assert "Slow Pond" not in names_on_record(database_url)
