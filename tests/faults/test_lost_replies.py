"""A request whose answer was lost is sent again with its key, and has been done exactly once."""

from __future__ import annotations

import random
import time
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from domain.records.base import table_of
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.tables import make_ready
from tests import makers
from tests.faults.broken_service import KEY_LATE_S, KeyApartStore
from tests.faults.in_process import running

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]

LOST_SHARE = 0.2
MOST_TRIES = 40
LOST = 599
_site = table_of(Site)
NAMES = Statement(_site.select().with_only_columns(_site.c.name))


class LossyWay:
    """What lies between caller and service: it loses some requests on their way there, and some answers on their way back."""

    def __init__(self, app: Any) -> None:
        self._app = app
        self._chance = random.Random(8)  # noqa: S311 - repeatable, not secret
        self.lost_before = self.lost_after = 0
        self.told: dict[bytes, bytes] = {}

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        fate = self._chance.random()
        if fate < LOST_SHARE / 2:
            self.lost_before += 1
            return await _nothing(send)
        said: list[Any] = []
        await self._app(scope, receive, _collector(said))
        self._remember(dict(scope["headers"]).get(b"idempotency-key", b""), said)
        if fate < LOST_SHARE:
            self.lost_after += 1
            return await _nothing(send)
        for message in said:
            await send(message)
        return None

    def _remember(self, key: bytes, said: list[Any]) -> None:
        body = b"".join(message.get("body", b"") for message in said)
        assert self.told.setdefault(key, body) == body


async def _nothing(send: Any) -> None:
    """Tell the caller, by a status that the service never has, that no answer comes."""
    await send({"type": "http.response.start", "status": LOST, "headers": []})
    await send({"type": "http.response.body"})


def _collector(said: list[Any]) -> Any:
    async def collect(message: Any) -> None:
        said.append(message)

    return collect


def test_a_request_sent_until_it_is_answered_is_done_once_and_answered_alike(store, organisation, rounds):
    number = rounds(1000, full=10_000)
    ways: list[LossyWay] = []

    def way(app: Any) -> LossyWay:
        ways.append(LossyWay(app))
        return ways[0]

    with running(store, wrap=way) as client:
        answers = [_answer(client, at) for at in range(number)]

    assert {answer.status_code for answer in answers} == {201}
    with store.snapshot(makers.origin()) as unit:
        names = sorted(name for (name,) in unit.rows(NAMES))
    assert names == sorted(f"Site {at}" for at in range(number))
    assert min(ways[0].lost_before, ways[0].lost_after) > number * LOST_SHARE / 4


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_store_that_keeps_the_key_afterwards_is_found_out(database_url):
    make_ready()
    store = KeyApartStore(Path(database_url.removeprefix("sqlite:///")))
    makers.organisation(store)

    with running(store, wrap=LossyWay) as client:
        statuses = {_answer(client, at).status_code for at in range(60)}
    time.sleep(3 * KEY_LATE_S)
    store.close()

    assert statuses != {201}


def _answer(client: Any, at: int) -> Any:
    for _ in range(MOST_TRIES):
        stated = {"name": f"Site {at}", "zone": "Europe/Lisbon"}
        # Not by the client's own way, which expects of each answer what only the service's have.
        ask = partial(client._http.post, "/v1/sites", json=stated, headers={"Idempotency-Key": f"key-{at}"})
        answer = client._portal.call(ask)
        if answer.status_code != LOST:
            return answer
    raise AssertionError("no answer ever came through")
