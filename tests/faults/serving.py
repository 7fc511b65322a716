"""A real ``reedbed serve`` in a process of its own, and how to speak with it."""

from __future__ import annotations

import http.client
import json
import socket
import time
from dataclasses import dataclass, field
from typing import Any

from tests.faults.forked import Child, Forker

STARTED_WITHIN_S = 60
ANSWER_WITHIN_S = 30
UNLIMITED = {"requests_per_minute": 0, "organisation_requests_per_minute": 0}
"""A few callers here ask more than a site's programs do; limits have tests of their own."""


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


@dataclass
class Answer:
    """What came back; ``body`` is read as JSON."""

    status: int
    headers: dict[str, str]
    body: Any


class Line:
    """A connection to a service, made anew where it broke."""

    def __init__(self, port: int, key: str) -> None:
        self._http = http.client.HTTPConnection("127.0.0.1", port, timeout=ANSWER_WITHIN_S)
        self._key = key

    def send(self, method: str, path: str, *, body: Any = None, headers: dict[str, str] | None = None) -> Answer:
        """Send a request and return the answer.

        Raises:
            OSError: None came; nobody knows what became of the request.
        """
        said = {"Authorization": f"Bearer {self._key}", "Content-Type": "application/json", **(headers or {})}
        try:
            self._http.request(method, path, body=None if body is None else json.dumps(body), headers=said)
            answer = self._http.getresponse()
            raw = answer.read()
        except (OSError, http.client.HTTPException) as broken:
            self._http.close()
            raise ConnectionError(str(broken)) from broken
        return Answer(answer.status, {name.lower(): value for name, value in answer.getheaders()}, json.loads(raw or b"null"))

    def close(self) -> None:
        """Hang up."""
        self._http.close()


def environment_of(url: str) -> dict[str, str]:
    """Return the settings of a service over a database; a server for tests may be volatile where it is not the one that breaks."""
    limits = {f"REEDBED_{name.upper()}": str(value) for name, value in UNLIMITED.items()}
    return {"REEDBED_DATABASE_URL": url, "REEDBED_POOL_SIZE": "4", "REEDBED_ACCEPT_VOLATILE_DATABASE": "true", **limits}


@dataclass
class Service:
    """A serving process that can be ended and started again."""

    forker: Forker
    url: str
    flaw: str | None = None
    port: int = field(default_factory=free_port)
    child: Child | None = None

    def start(self) -> float:
        """Start serving and return how long [s] it took to be ready."""
        began = time.monotonic()
        if self.flaw is None:
            self.child = self.forker.fork("api.__main__:main", ["serve", "--port", str(self.port)], environment=environment_of(self.url))
        else:
            self.child = self.forker.fork("tests.faults.broken_service:serve", self.flaw, self.url.removeprefix("sqlite:///"), self.port)
        while not self.is_ready():
            assert self.child.lives, self.log
            assert time.monotonic() - began < STARTED_WITHIN_S, self.log
            time.sleep(0.01)
        return time.monotonic() - began

    def is_ready(self) -> bool:
        """Whether it says that it can work."""
        line = Line(self.port, "")
        try:
            return line.send("GET", "/readyz").status == 200
        except ConnectionError:
            return False
        finally:
            line.close()

    def kill(self) -> None:
        """End it at once."""
        if self.child is not None:
            self.child.kill()

    @property
    def log(self) -> str:
        """What it has said."""
        return self.child.log.read_text(encoding="utf-8") if self.child else ""
