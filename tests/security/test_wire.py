"""What comes off the wire and could be read in two ways is refused; nobody says of themselves where they come from."""

from __future__ import annotations

import asyncio
import json
import re
import socket
import threading
import time
from contextlib import contextmanager

import pytest

from api.app import build_app
from api.settings import Settings
from api.wire import Server
from tests import makers

HOST = b"Host: reedbed.test\r\n"
TWO_READINGS = {
    "a length and pieces": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Content-Length: 6\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nG",
    "pieces and a length": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked\r\nContent-Length: 6\r\n\r\n0\r\n\r\nG",
    "two lengths": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Content-Length: 1\r\nContent-Length: 2\r\n\r\nab",
    "a length with a sign": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Content-Length: +1\r\n\r\na",
    "a coding nobody knows": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: xchunked\r\n\r\n0\r\n\r\n",
    "pieces that are not the last coding": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked, identity\r\n\r\n0\r\n\r\n",
    "a blank before the colon": b"POST /healthz HTTP/1.1\r\n" + HOST + b"Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n",
    "a piece of no length": b"POST /v1/sessions HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n",
    "a name with a line end in it": b"GET /healthz HTTP/1.1\r\n" + HOST + b"X-A\nX-B: 1\r\n\r\n",
}
PLAIN = b"GET /healthz HTTP/1.1\r\n" + HOST + b"\r\n"
MARKED = HOST + b"X-Mark: canary\r\nConnection: close\r\n\r\n"
LAST = b"GET /healthz HTTP/1.1\r\n" + HOST + b"Connection: close\r\n\r\n"


@contextmanager
def serving(store, **stated):
    """Yield the port at which the service answers in a thread of this process."""
    server = Server(build_app(store, settings=Settings(**stated), clock=lambda: makers.NOON))
    listener = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=asyncio.run, args=(server.serve(sockets=[listener]),))
    thread.start()
    try:
        while not server.started and thread.is_alive():
            time.sleep(0.01)
        yield listener.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()
        listener.close()


def answers_to(port, request, *, within_s=3.0):
    """Return everything that is answered to some bytes until the connection is closed."""
    heard = b""
    with socket.create_connection(("127.0.0.1", port), timeout=within_s) as connection:
        connection.sendall(request)
        while piece := connection.recv(65_536):
            heard += piece
    return heard


def statuses_in(heard):
    return [int(status) for status in re.findall(rb"HTTP/1\.1 (\d{3}) ", heard)]


def test_what_has_two_readings_is_refused_and_nothing_after_it_is_read(store, organisation):
    with serving(store) as port:
        heard = {name: statuses_in(answers_to(port, request + LAST)) for name, request in TWO_READINGS.items()}
        plain = statuses_in(answers_to(port, PLAIN + LAST))

    assert heard == {name: [400] for name in TWO_READINGS}
    assert plain == [200, 200]


def test_no_request_is_traced_and_no_unknown_method_served(store, organisation):
    with serving(store) as port:
        heard = {
            (method, path): answers_to(
                port, f"{method} {path} HTTP/1.1\r\nX-Mark: canary\r\nConnection: close\r\n".encode() + HOST + b"\r\n"
            )
            for method in ("TRACE", "CONNECT", "PUT", "PROPFIND", "NONSENSE")
            for path in ("/healthz", "/v1/sites", "/docs")
        }

    assert {one: status for one, answer in heard.items() for status in statuses_in(answer) if status not in {400, 404, 405}} == {}
    assert {statuses_in(answer)[0] for (method, _), answer in heard.items() if method == "TRACE"} == {405}
    assert all(b"canary" not in answer for answer in heard.values())


@pytest.mark.parametrize(("trusted", "statuses"), [((), [401, 401, 429]), (("127.0.0.1",), [401, 401, 401])])
def test_only_a_trusted_proxy_says_where_a_request_comes_from(store, organisation, trusted, statuses):
    body = json.dumps({"organisation_id": organisation, "sign_in_name": "nobody", "password": "x" * 12}).encode()
    said = (
        b"POST /v1/sessions HTTP/1.1\r\n"
        + HOST
        + b"Connection: close\r\nContent-Type: application/json\r\nContent-Length: %d\r\n" % len(body)
    )

    with serving(store, trusted_proxies=trusted, address_sign_ins_per_minute=2, sign_ins_per_minute=0) as port:
        heard = [answers_to(port, said + b"X-Forwarded-For: 203.0.113.%d\r\n\r\n" % one + body) for one in range(3)]

    assert [status for answer in heard for status in statuses_in(answer)] == statuses
