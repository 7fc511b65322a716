"""A connection that asks nothing is not kept for ever, and a service whose storage has failed ends by itself."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from api.app import build_app
from api.settings import Settings
from api.wire import HEAD_WITHIN_S, Server
from domain.errors import StorageFailed
from tests import makers

HEALTH = b"GET /healthz HTTP/1.1\r\nHost: reedbed.test\r\n\r\n"
UNREAD = b"POST /v1/sites HTTP/1.1\r\nHost: reedbed.test\r\nContent-Length: 1000\r\n\r\n{"
BODY_TO_COME = b"POST /v1/sessions HTTP/1.1\r\nHost: reedbed.test\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"
WITHIN_S = 10


class Here:
    """A service that answers in a thread of this process."""

    def __init__(self, store, listener):
        self.server = Server(build_app(store, settings=Settings(), clock=lambda: makers.NOON))
        self.port = listener.getsockname()[1]
        self.thread = threading.Thread(target=asyncio.run, args=(self._serve(listener),))
        self.loop = None

    async def _serve(self, listener):
        self.loop = asyncio.get_running_loop()
        await self.server.serve(sockets=[listener])

    def look(self, *, in_s):
        """Have each connection looked at as it will be some time from now."""

        async def all_of_them():
            for connection in [*self.server.server_state.connections]:
                connection.end_if_idle(now_s=time.monotonic() + in_s)

        asyncio.run_coroutine_threadsafe(all_of_them(), self.loop).result(WITHIN_S)

    def said(self, request):
        """Return a connection on which something was sent, once it has arrived and what can be answered is answered."""
        connection = socket.create_connection(("127.0.0.1", self.port), timeout=WITHIN_S)
        connection.sendall(request)
        wait_until(lambda: self.server.server_state.connections)
        (wire,) = self.server.server_state.connections
        wait_until(lambda: b"\r\n\r\n" not in request or wire.cycle is not None)
        wait_until(lambda: request not in {HEALTH, UNREAD} or wire.cycle.response_complete)
        return connection


@pytest.fixture
def here(store, organisation) -> Iterator[Here]:
    with serving(store) as found:
        yield found


@contextmanager
def serving(store):
    with socket.create_server(("127.0.0.1", 0)) as listener:
        found = Here(store, listener)
        found.thread.start()
        while not found.server.started and found.thread.is_alive():
            time.sleep(0.01)
        yield found
        found.server.should_exit = True
        found.thread.join()


def wait_until(arrived):
    last_at = time.monotonic() + WITHIN_S
    while not arrived():
        assert time.monotonic() < last_at
        time.sleep(0.005)


def is_ended(connection):
    """Return whether the connection was ended, after what is left of an answer; one that stays open says nothing for a moment."""
    connection.settimeout(0.5)
    try:
        while connection.recv(65_536):
            pass
    except TimeoutError:
        return False
    return True


@pytest.mark.parametrize(
    ("sent", "in_s", "ended"),
    [
        (b"", HEAD_WITHIN_S + 1, True),
        (b"", HEAD_WITHIN_S - 5, False),
        (b"GET /healthz HT", HEAD_WITHIN_S + 1, True),
        (HEALTH, HEAD_WITHIN_S + 1, True),
        (HEALTH, HEAD_WITHIN_S - 5, False),
        (UNREAD, HEAD_WITHIN_S + 1, True),
        (BODY_TO_COME, HEAD_WITHIN_S + 1, False),
    ],
    ids=["silent", "silent, in time", "half a head", "answered", "answered, in time", "a body that nobody reads", "a request at work"],
)
def test_a_connection_without_a_request_at_work_is_ended_in_time(here, sent, in_s, ended):
    with here.said(sent) as connection:
        here.look(in_s=in_s)

        assert is_ended(connection) is ended


def test_the_server_looks_at_its_connections_by_itself(here):
    with here.said(b"") as connection:
        (wire,) = here.server.server_state.connections
        wire.idle_since -= HEAD_WITHIN_S

        connection.settimeout(WITHIN_S)
        assert connection.recv(1) == b""


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_service_whose_storage_has_failed_ends_by_itself(here, store, caplog):
    store._errors.given_up = True

    here.thread.join(WITHIN_S)

    assert not here.thread.is_alive()
    assert [record.message for record in caplog.records if "storage failed" in record.message] == [
        "the storage failed; the service ends, so that it can be started again"
    ]
    with pytest.raises(StorageFailed):
        store.connect()
