"""A connection that asks nothing, or never ends asking, is not kept; a service whose storage has failed ends by itself."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from api.app import build_app
from api.settings import Settings
from api.wire import HEAD_WITHIN_S, MOST_HEAD_BYTES, Server
from domain.errors import StorageFailed
from tests import makers
from tests.api.conftest import make_key

HEALTH = b"GET /healthz HTTP/1.1\r\nHost: reedbed.test\r\n\r\n"
UNREAD = b"POST /v1/sites HTTP/1.1\r\nHost: reedbed.test\r\nContent-Length: 1000\r\n\r\n{"
BODY_TO_COME = b"POST /v1/sessions HTTP/1.1\r\nHost: reedbed.test\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"
CHUNKED = b"%s /v1/sites HTTP/1.1\r\nHost: reedbed.test\r\nTransfer-Encoding: chunked\r\n%s\r\n"
LONG_LINE = b"X-Note: %s\r\n" % (b"n" * 1000)
ROOM = 8_000_000
"""What the sockets' own buffers may hold [bytes], and more."""
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
    """Return whether the connection was ended, after what is left of an answer; one that stays open says nothing for a moment.

    What was sent and is not read when the other end closes makes a reset of that.
    """
    connection.settimeout(0.5)
    try:
        with suppress(ConnectionResetError):
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


def answer_of(connection):
    """Return what comes on a connection until its other end has nothing more to say."""
    said = b""
    connection.settimeout(WITHIN_S)
    with suppress(ConnectionError):
        while part := connection.recv(65_536):
            said += part
    return said


@pytest.mark.parametrize(
    "begun",
    [b"GET /v1/sites HTTP/1.1\r\n", CHUNKED % (b"GET", b"") + b"0\r\n", CHUNKED % (b"POST", b"") + b"2\r\n{}\r\n0\r\n"],
    ids=["a head", "after a chunk that nobody reads", "after the last chunk"],
)
@pytest.mark.parametrize("line", [LONG_LINE, LONG_LINE.rstrip()], ids=["lines", "one line"])
def test_lines_without_end_are_not_taken(here, begun, line):
    with socket.create_connection(("127.0.0.1", here.port), timeout=WITHIN_S) as connection:
        connection.sendall(begun)
        with pytest.raises(ConnectionError):
            connection.sendall(line * (ROOM // len(line)))


def test_a_head_that_is_too_large_is_refused_with_a_problem(here):
    with socket.create_connection(("127.0.0.1", here.port), timeout=WITHIN_S) as connection:
        connection.sendall(b"GET /v1/sites HTTP/1.1\r\n")
        wait_until(lambda: any(wire.reading_head for wire in here.server.server_state.connections))
        connection.sendall(b"X-Note: %s" % (b"n" * MOST_HEAD_BYTES))

        answer = answer_of(connection)

    assert answer.startswith(b"HTTP/1.1 431 ")
    assert b"urn:reedbed:problem:headers-too-large" in answer


def test_what_follows_the_last_chunk_is_none_of_the_heads(here, store):
    key = make_key(store, organisation_id=makers.ORGANISATION)
    trailing = b"0\r\nAuthorization: Bearer %s\r\n\r\n" % key.encode()
    with socket.create_connection(("127.0.0.1", here.port), timeout=WITHIN_S) as connection:
        connection.sendall(CHUNKED % (b"GET", b"Connection: close\r\n") + trailing)

        assert answer_of(connection).startswith(b"HTTP/1.1 401 ")


def test_a_long_body_in_chunks_is_taken_wherever_it_is_cut(here, store):
    key = make_key(store, organisation_id=makers.ORGANISATION)
    head = CHUNKED % (b"POST", b"Content-Type: application/json\r\nConnection: close\r\nAuthorization: Bearer %s\r\n" % key.encode())
    body = b'{"name": "Reedmere", "zone": "Europe/Lisbon", "note": "%s"' % (b" " * 2000)
    chunks = [body, *[b" " * 3000] * 200, b"}"]
    sent = head + b"".join(b"%x\r\n%s\r\n" % (len(chunk), chunk) for chunk in chunks) + b"0\r\n"
    with socket.create_connection(("127.0.0.1", here.port), timeout=WITHIN_S) as connection:
        for at in range(0, len(sent), 70_001):
            connection.sendall(sent[at : at + 70_001])
        time.sleep(0.05)
        connection.sendall(b"\r\n")

        assert answer_of(connection).startswith(b"HTTP/1.1 201 ")


@contextmanager
def no_more_files():
    """Let this process open nothing more until the block ends."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    with Path(os.devnull).open() as lowest:
        number = lowest.fileno()
    resource.setrlimit(resource.RLIMIT_NOFILE, (number, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def test_a_process_that_may_open_nothing_more_rests_and_takes_the_connection_later(here, caplog):
    def said():
        return [record for record in caplog.records if "could not be taken" in record.message]

    with socket.socket() as connection:
        connection.settimeout(WITHIN_S)
        with no_more_files():
            connection.connect(("127.0.0.1", here.port))
            connection.sendall(HEALTH)
            wait_until(said)
            time.sleep(0.3)
            warnings = len(said())

        assert connection.recv(65_536).startswith(b"HTTP/1.1 200 ")
    assert warnings < 10


def test_a_service_that_rests_from_taking_connections_can_be_stopped(here, caplog):
    with socket.socket() as connection:
        with no_more_files():
            connection.connect(("127.0.0.1", here.port))
            wait_until(lambda: here.server.resting)
        here.server.should_exit = True
        here.thread.join(WITHIN_S)

    assert not here.thread.is_alive()
    assert all(rest.cancelled() for rest in here.server.resting)
