"""How requests come off the wire and how the service stops: uvicorn, with bounds of our own."""

from __future__ import annotations

import asyncio
import errno
import socket
import sys
import time
from types import FrameType
from typing import Any

import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from api.context import House
from api.envelope import EVERYWHERE, NO_FRAMES
from api.errors import log, problem

MOST_HEAD_BYTES = 65_536
"""Of a request's line and headers."""
KEEP_ALIVE_S = 5
"""How long a connection may rest between two requests [s]."""
HEAD_WITHIN_S = 15.0
"""How long a connection may be open without a request that is being answered, whatever trickles in meanwhile [s]."""
TAKEN_WITHIN_S = 30.0
"""How long a caller may take nothing of its answer before the connection is given up [s]; only Linux can do so."""
LOOK_EVERY = 10
"""Ticks of the server, ten a second, between two looks at the connections."""
ROOM_TO_REFUSE = 4
"""The server's own wall, which refuses without a problem's form, stands at so many times ``max_connections``."""
MOST_ACCEPTED = 128
"""Connections taken in one turn of the loop."""
EXHAUSTED = frozenset({errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM})
"""What the system says when it has nothing left for another connection; whoever wants one stays in line."""
REST_S = 1.0
"""How long no connection is taken after that [s]: the line would wake the loop again at once, for nothing."""
SWITCH_S = 0.001
"""How long a thread that computes may keep the event loop waiting [s]; without it each wait could be five times as long."""
INTERRUPTED = 2
"""The signal of an interrupt from the keyboard."""
_UNTAKEN = getattr(socket, "TCP_USER_TIMEOUT", None)


class Bounds(uvicorn.Config):
    """The server's settings, and the number of connections whose requests are served."""

    most_connections: int = 0


class Wire(HttpToolsProtocol):
    """A connection. It stamps each request with its arrival, marks those that are too many, and refuses endless heads."""

    reading_head = False
    head_bytes = 0
    coming_bytes = 0
    is_late_comer = False
    idle_since = 0.0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, and remember whether there were enough already."""
        super().connection_made(transport)
        self.is_late_comer = self._is_crowded()
        self.idle_since = time.monotonic()

    def end_if_idle(self, *, now_s: float) -> None:
        """End a connection on which no request has been at work for ``HEAD_WITHIN_S``; ``now_s`` is of the monotonic clock [s]."""
        is_at_work = self.cycle is not None and not self.cycle.response_complete
        if not is_at_work and now_s - self.idle_since > HEAD_WITHIN_S and not self.transport.is_closing():
            self.transport.close()

    def on_response_complete(self) -> None:
        """Note when the answer was given, and go on to the next request."""
        self.idle_since = time.monotonic()
        super().on_response_complete()

    def data_received(self, data: bytes) -> None:
        """Take what has come, unless the head of the request, or what follows its last chunk, has grown too large."""
        self.coming_bytes = len(data)
        super().data_received(data)
        if not self.reading_head:
            return
        self.head_bytes += len(data)
        if self.head_bytes > MOST_HEAD_BYTES:
            self._refuse(431, "headers-too-large", f"A request's line and headers may have at most {MOST_HEAD_BYTES} bytes.")

    def on_message_begin(self) -> None:
        """Begin a request."""
        self.reading_head, self.head_bytes = True, 0
        super().on_message_begin()

    def on_headers_complete(self) -> None:
        """Hand the request on."""
        self.reading_head = False
        state: dict[str, Any] = self.scope["state"]
        state["arrived"] = time.monotonic()
        if self.is_late_comer and self._is_crowded():
            state["crowded"] = True
        super().on_headers_complete()
        # Lines that follow the last chunk are not the head's, though they are parsed as such.
        self.headers = []

    def on_chunk_header(self) -> None:
        """Count what comes until the chunk does; of the last one there is none, but lines without end may follow."""
        self.reading_head, self.head_bytes = True, -self.coming_bytes

    def on_body(self, body: bytes) -> None:
        """Take a part of the body."""
        self.reading_head = False
        super().on_body(body)

    def on_message_complete(self) -> None:
        """End a request."""
        self.reading_head = False
        super().on_message_complete()

    def send_400_response(self, msg: str) -> None:  # noqa: ARG002 - said in our own words
        """Answer what is no HTTP request."""
        self._refuse(400, "malformed", "This is no HTTP request.")

    def _is_crowded(self) -> bool:
        return isinstance(self.config, Bounds) and len(self.connections) > self.config.most_connections

    def _refuse(self, status: int, code: str, detail: str) -> None:
        if self.transport.is_closing():
            return
        answer = problem(status, code, detail, path="")
        headers = [*self.server_state.default_headers, *answer.raw_headers, *EVERYWHERE, NO_FRAMES, (b"connection", b"close")]
        lines = [b"HTTP/1.1 %d Refused" % status, *(b"%s: %s" % header for header in headers), b"", b""]
        self.transport.write(b"\r\n".join(lines) + bytes(answer.body))
        self.transport.close()


class Server(uvicorn.Server):
    """Serves until a signal comes, then goes on for ``stop_grace_s`` while it says that it is not ready, and ends in order.

    An interrupt from the keyboard, or a second signal, ends it without the grace; so does a database that can be used again only after a
    start.
    """

    def __init__(self, app: FastAPI) -> None:
        house: House = app.state.house
        settings = house.settings
        config = Bounds(
            app,
            http=Wire,
            ws="none",
            lifespan="on",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=bool(settings.trusted_proxies),
            forwarded_allow_ips=list(settings.trusted_proxies),
            timeout_keep_alive=KEEP_ALIVE_S,
            limit_concurrency=ROOM_TO_REFUSE * settings.max_connections,
            h11_max_incomplete_event_size=MOST_HEAD_BYTES,
            timeout_graceful_shutdown=int(settings.stop_within_s),
        )
        config.most_connections = settings.max_connections
        super().__init__(config)
        self.store = house.store
        self.draining = house.draining
        self.grace_s = settings.stop_grace_s
        self.stop_at: float | None = None
        self.coming: set[asyncio.Task[None]] = set()
        self.resting: set[asyncio.TimerHandle] = set()

    def run(self, sockets: list[socket.socket] | None = None) -> None:
        """Serve until stopped."""
        sys.setswitchinterval(SWITCH_S)
        super().run(sockets)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start the application, and take connections from the listening sockets.

        libuv takes one connection in a turn of the loop: when turns are long, callers would wait where nobody counts them.
        """
        await super().startup(sockets=[])
        loop = asyncio.get_running_loop()
        for listener in sockets or ():
            listener.settimeout(0)
            loop.add_reader(listener.fileno(), self._accept, listener)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Take no more connections, and end those that there are once their requests are answered."""
        loop = asyncio.get_running_loop()
        for listener in sockets or ():
            loop.remove_reader(listener.fileno())
        for rest in self.resting:
            rest.cancel()
        await asyncio.gather(*self.coming)
        await super().shutdown(sockets)

    def _accept(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        for _ in range(MOST_ACCEPTED):
            try:
                connection, _address = listener.accept()
            except BlockingIOError:
                return
            except OSError as refused:
                log.warning("a connection could not be taken: %s", refused)
                if refused.errno in EXHAUSTED:
                    self._rest(listener)
                return
            task = loop.create_task(self._connect(connection))
            self.coming.add(task)
            task.add_done_callback(self.coming.discard)

    def _rest(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()

        def go_on() -> None:
            self.resting.discard(timer)
            loop.add_reader(listener.fileno(), self._accept, listener)

        loop.remove_reader(listener.fileno())
        timer = loop.call_later(REST_S, go_on)
        self.resting.add(timer)

    async def _connect(self, connection: socket.socket) -> None:
        config, state = self.config, self.server_state
        connection.settimeout(0)
        try:
            if _UNTAKEN is not None:
                connection.setsockopt(socket.IPPROTO_TCP, _UNTAKEN, int(1000 * TAKEN_WITHIN_S))
            await asyncio.get_running_loop().connect_accepted_socket(
                lambda: Wire(config=config, server_state=state, app_state=self.lifespan.state), connection
            )
        except OSError:
            connection.close()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:  # noqa: ARG002 - as signals are handled
        """Begin to stop."""
        has_begun, self.draining.begun = self.draining.begun, True
        if has_begun or sig == INTERRUPTED:
            self.should_exit = True
            self.force_exit = has_begun and sig == INTERRUPTED
        else:
            self.stop_at = time.monotonic() + self.grace_s

    async def on_tick(self, counter: int) -> bool:
        """Return whether it is time to stop taking connections."""
        if counter % LOOK_EVERY == 0:
            self._end_idle_connections()
        if self.store.needs_restart and not self.should_exit:
            log.error("the storage failed; the service ends, so that it can be started again")
            self.draining.begun = self.should_exit = True
        if self.stop_at is not None and time.monotonic() >= self.stop_at:
            self.should_exit = True
        return await super().on_tick(counter)

    def _end_idle_connections(self) -> None:
        now_s = time.monotonic()
        for connection in [*self.server_state.connections]:
            if isinstance(connection, Wire):
                connection.end_if_idle(now_s=now_s)
