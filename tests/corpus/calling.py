"""Requests handed to the service byte by byte, as no client would send them, and the verdict on each."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from fastapi import FastAPI


@dataclass(frozen=True)
class Sent:
    """A request: ``headers`` take the place of the usual ones; one that is ``None`` is left out."""

    method: str
    path: str
    query: bytes = b""
    body: bytes = b""
    headers: Mapping[str, bytes | None] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """An answer."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        """The body as JSON, ``None`` where it is none."""
        return json.loads(self.body) if self.headers.get("content-type", "").endswith("json") else None

    @property
    def verdict(self) -> tuple[Any, ...]:
        """What has to be the same on every database: status, code, and what the faults point to."""
        stated = self.json if self.status >= 400 else {}
        faults = tuple((one["pointer"], one["code"]) for one in stated.get("errors", ()))
        return (self.status, stated.get("code", ""), faults)


class Caller:
    """Calls an app that has started."""

    def __init__(self, app: FastAPI, loop: asyncio.AbstractEventLoop, *, key: str) -> None:
        self.app = app
        self.loop = loop
        self.usual = {"authorization": f"Bearer {key}".encode(), "content-type": b"application/json", "host": b"reedbed.test"}

    def send(self, sent: Sent) -> Answer:
        """Return the answer to a request."""
        return self.loop.run_until_complete(self._answer(sent))

    async def _answer(self, sent: Sent) -> Answer:
        headers = {**self.usual, "content-length": b"%d" % len(sent.body), **sent.headers}
        arriving = [{"type": "http.request", "body": sent.body, "more_body": False}]
        left: list[Any] = []

        async def receive() -> Any:
            return arriving.pop() if arriving else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            left.append(message)

        await self.app(self._scope(sent, headers), receive, send)
        shown = {name.decode().lower(): value.decode("latin-1") for name, value in left[0]["headers"]}
        return Answer(left[0]["status"], shown, b"".join(one.get("body", b"") for one in left[1:]))

    def _scope(self, sent: Sent, headers: Mapping[str, bytes | None]) -> dict[str, Any]:
        return {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": sent.method,
            "scheme": "http",
            "path": sent.path,
            "raw_path": sent.path.encode(errors="surrogateescape"),
            "root_path": "",
            "query_string": sent.query,
            "headers": [(name.encode(), value) for name, value in headers.items() if value is not None],
            "client": ("127.0.0.1", 1),
            "server": ("reedbed.test", 80),
            "state": {},
        }


@contextmanager
def started(apps: Iterable[tuple[FastAPI, str]]) -> Iterator[list[Caller]]:
    """Start apps, each with a key for its caller, and yield a caller of each."""
    loop = asyncio.new_event_loop()
    apps = list(apps)
    running = [app.router.lifespan_context(app) for app, _ in apps]
    try:
        for one in running:
            loop.run_until_complete(one.__aenter__())
        yield [Caller(app, loop, key=key) for app, key in apps]
    finally:
        for one in running:
            loop.run_until_complete(one.__aexit__(None, None, None))
        loop.run_until_complete(loop.shutdown_default_executor())
        loop.close()
