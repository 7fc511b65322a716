"""Alive as long as the loop turns; ready only while the work can be done, and never telling more than that."""

from __future__ import annotations

import asyncio
import time
from contextlib import AsyncExitStack

import pytest

from api.app import build_app
from api.metrics import free_bytes
from api.settings import Settings
from tests import makers
from tests.api.conftest import BusyStore


def readiness(visitor):
    answer = visitor.get("/readyz")
    return answer.status_code, answer.json().get("code")


def test_alive_whatever_becomes_of_the_database(app, caller):
    visitor = caller(None)
    store = app.state.house.store
    store.enter = store.look = store.read = store.connect = None

    assert (visitor.get("/healthz").status_code, visitor.get("/healthz").json()) == (200, {"status": "alive"})
    assert readiness(visitor) == (503, "not-ready")


def test_a_database_that_does_not_answer_within_a_second_is_not_ready_and_holds_nobody_up(app, caller):
    visitor, store = caller(None), app.state.house.store

    def late(*_):
        time.sleep(2)

    async def later(*_):
        await asyncio.sleep(5)

    store.connect, store.look = late, later
    began = time.monotonic()

    assert readiness(visitor) == (503, "not-ready")
    assert 0.9 < time.monotonic() - began < 4


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_driver_that_takes_long_to_leave_a_silent_server_holds_nobody_up(app, caller):
    visitor, leaves = caller(None), []

    async def silent(*_):
        try:
            await asyncio.sleep(60)
        except asyncio.CancelledError:
            leaves.append("begun")
            await asyncio.sleep(10)
            leaves.append("ended")

    app.state.house.store.look = silent

    assert readiness(visitor) == (503, "not-ready")
    assert "ended" not in leaves


def test_a_service_that_is_about_to_stop_is_not_ready(app, caller):
    app.state.house.draining.begun = True

    assert readiness(caller(None)) == (503, "draining")


def test_what_is_wrong_is_logged_once_for_each_change_and_never_answered(app, caller, caplog):
    visitor, house = caller(None), app.state.house
    head = house.schema_head
    bodies = []
    for revision in (head, "9999", "9999", head, "9999"):
        house.schema_head = revision
        bodies.append(visitor.get("/readyz").text)

    said = [(record.message, record.check) for record in caplog.records if "ready" in record.message]
    assert said == [("not ready", "schema"), ("ready again", ""), ("not ready", "schema")]
    assert "schema" not in "".join(bodies)


@pytest.mark.parametrize(("spare_bytes", "status"), [(-50_000_000, 200), (50_000_000_000_000, 503)])
def test_a_disk_without_room_is_not_ready(store, caller, spare_bytes, status):
    if store.dialect != "sqlite":
        pytest.skip("the service does not see the disk of a server")
    least = max(0, free_bytes(store.path) + spare_bytes)
    visitor = caller(None)
    visitor._http._transport.app.state.house.settings = Settings(min_free_disk_bytes=least)

    assert visitor.get("/readyz").status_code == status


def test_a_file_that_does_not_keep_the_contract_is_not_ready(app, store, caller):
    if store.dialect != "sqlite":
        pytest.skip("the contract of a file")
    visitor, house = caller(None), app.state.house

    def forgetful():
        connection = store.connect()
        connection.execute("PRAGMA synchronous=OFF")
        return connection

    house.store.connect = forgetful

    assert readiness(visitor) == (503, "not-ready")


def test_many_who_ask_at_once_cost_the_database_one_look(app, caller):
    visitor, store = caller(None), app.state.house.store
    looks = []
    connect, look = (store.connect, None) if store.dialect == "sqlite" else (None, store.look)

    def counted():
        looks.append(1)
        time.sleep(0.2)
        return connect()

    async def counted_look(*words):
        looks.append(1)
        await asyncio.sleep(0.2)
        return await look(*words)

    store.connect, store.look = counted, counted_look

    async def all_at_once():
        return await asyncio.gather(*(visitor._http.get("/readyz") for _ in range(20)))

    assert {answer.status_code for answer in visitor._portal.call(all_at_once)} == {200}
    assert len(looks) == 1


def test_a_database_that_is_busy_writing_is_still_ready(store, caller, settings):
    visitor = caller(None)
    busy = build_app(BusyStore(store, times=99), settings=settings, clock=lambda: makers.NOON)
    busy.state.house.schema_head = visitor._http._transport.app.state.house.schema_head
    if store.dialect == "postgresql":
        busy.state.house.store.look = store.look
    visitor._http._transport.app = busy

    assert readiness(visitor) == (200, None)


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_a_balancer_may_ask_for_the_head_alone(caller, path):
    answer = caller(None)._http.head

    assert caller(None)._portal.call(answer, path).status_code == 200


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_service_whose_reading_connections_are_all_taken_is_still_ready(store, caller, settings):
    visitor = caller(None)

    async def with_all_taken():
        async with AsyncExitStack() as taken:
            for _ in range(store.pool_figures()["reading"]["pool_max"]):
                await taken.enter_async_context(store._reading.connection())
            return await visitor._http.get("/readyz")

    assert visitor._portal.call(with_all_taken).status_code == 200
