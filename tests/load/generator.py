"""An open-loop generator: requests leave on a fixed schedule whatever becomes of earlier ones, and latency counts from the schedule.

A closed loop, in which the next request waits for the last answer, asks less of a slow service and so hides how slow it is. Only this
machine is ever asked; the number of requests and the time are bounded.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

HOST = "127.0.0.1"
MOST_SHOTS = 400_000
DRAIN_S = 30.0
"""How long answers are waited for after the last request has left [s]."""
BROKEN = 0
"""The status of a request whose connection was broken, or that was not answered in time."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A request that is to leave at an instant after the start [s], on behalf of a group."""

    at_s: float
    request: bytes
    group: str = ""


@dataclass(slots=True)
class Shot:
    """What became of a planned request: how late the generator was, and when the answer was in, both from the schedule [s]."""

    planned: Planned
    lag_s: float = 0.0
    latency_s: float = 0.0
    status: int = BROKEN
    retry_after: bool = False


@dataclass(frozen=True, slots=True)
class Volley:
    """All shots of a plan, and how long they took [s]."""

    shots: Sequence[Shot]
    took_s: float

    def of(self, group: str) -> Volley:
        return Volley([shot for shot in self.shots if shot.planned.group == group], self.took_s)

    def accepted(self) -> list[Shot]:
        return [shot for shot in self.shots if 200 <= shot.status < 300]

    def statuses(self) -> Counter[int]:
        return Counter(shot.status for shot in self.shots)

    def latency_s(self, share: float) -> float:
        """Return the latency within which a share of the accepted requests was answered [s from the schedule]."""
        return quantile([shot.latency_s for shot in self.accepted()], share)

    def lag_s(self, share: float) -> float:
        """Return how late the generator itself was at most for a share of the requests [s]."""
        return quantile([shot.lag_s for shot in self.shots], share)


def quantile(values: Sequence[float], share: float) -> float:
    """Return the value that a share of the values does not exceed; 0 of none."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0.0


def schedule(requests: Iterable[bytes], *, per_s: float, for_s: float, group: str = "") -> list[Planned]:
    """Return a plan of evenly spaced requests, taken in turn from ``requests``, which must not end."""
    count, turn = int(per_s * for_s), iter(requests)
    return [Planned(number / per_s, next(turn), group) for number in range(count)]


def fire(port: int, plan: Sequence[Planned], *, most_open: int = 700) -> Volley:
    """Send a plan and return what became of it.

    ``most_open`` connections are kept at most; a request that finds none free waits, and its latency counts that.
    """
    if len(plan) > MOST_SHOTS:
        raise ValueError(f"a plan has at most {MOST_SHOTS} requests")
    return asyncio.run(_Gun(port, most_open=most_open).fire(sorted(plan, key=lambda one: one.at_s)))


class _Gun:
    def __init__(self, port: int, *, most_open: int) -> None:
        self.port = port
        self.most_open = most_open
        self.open = 0
        self.free: list[_Line] = []
        self.lines: set[_Line] = set()
        self.unsent: deque[Shot] = deque()
        self.left = 0
        self.opening: set[asyncio.Task[None]] = set()
        self.done = asyncio.Event()
        self.start = 0.0

    async def fire(self, plan: Sequence[Planned]) -> Volley:
        shots = [Shot(planned) for planned in plan]
        self.left, self.start = len(shots), time.perf_counter()
        for shot in shots:
            wait_s = shot.planned.at_s - self.now()
            if wait_s > 0:
                await asyncio.sleep(wait_s)
            elif len(self.unsent) % 32 == 0:
                await asyncio.sleep(0)
            shot.lag_s = self.now() - shot.planned.at_s
            self.unsent.append(shot)
            self.send_next()
        try:
            async with asyncio.timeout(DRAIN_S):
                await self.done.wait()
        except TimeoutError:
            pass
        took_s = self.now()
        await self.close()
        return Volley(shots, took_s)

    async def close(self) -> None:
        self.unsent.clear()
        await asyncio.gather(*self.opening)
        while self.lines:
            for line in self.lines:
                line.transport.abort()
            await asyncio.sleep(0.01)

    def now(self) -> float:
        return time.perf_counter() - self.start

    def send_next(self) -> None:
        while self.unsent and self.free:
            self.free.pop().send(self.unsent.popleft())
        if self.unsent and self.open < self.most_open:
            self.open += 1
            task = asyncio.get_running_loop().create_task(self.connect(self.unsent.popleft()))
            self.opening.add(task)
            task.add_done_callback(self.opening.discard)

    async def connect(self, shot: Shot) -> None:
        try:
            _, line = await asyncio.get_running_loop().create_connection(lambda: _Line(self), HOST, self.port)
        except OSError:
            self.open -= 1
            self.finish(shot, BROKEN)
        else:
            line.send(shot)

    def finish(self, shot: Shot, status: int, *, retry_after: bool = False) -> None:
        shot.latency_s, shot.status, shot.retry_after = self.now() - shot.planned.at_s, status, retry_after
        self.left -= 1
        if self.left == 0:
            self.done.set()


class _Line(asyncio.Protocol):
    """A connection that carries one request at a time."""

    def __init__(self, gun: _Gun) -> None:
        self.gun = gun
        self.shot: Shot | None = None
        self.data = b""
        self.transport: asyncio.Transport

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self.gun.lines.add(self)

    def send(self, shot: Shot) -> None:
        self.shot, self.data = shot, b""
        if self.transport.is_closing():
            # It closed while it rested: nothing was sent, so the request may go another way.
            self.gun.unsent.appendleft(shot)
            self.shot = None
            self.gun.send_next()
            return
        self.transport.write(shot.planned.request)

    def data_received(self, data: bytes) -> None:
        self.data += data
        head, found, body = self.data.partition(b"\r\n\r\n")
        if not found or self.shot is None:
            return
        head = head.lower()
        length = int(head.partition(b"content-length:")[2].partition(b"\r\n")[0])
        if len(body) < length:
            return
        shot, self.shot = self.shot, None
        self.gun.finish(shot, int(head[9:12]), retry_after=b"\r\nretry-after:" in head)
        if b"\r\nconnection: close" in head:
            self.transport.close()
        else:
            self.gun.free.append(self)
            self.gun.send_next()

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002 - a connection ends so
        self.gun.open -= 1
        self.gun.lines.discard(self)
        if self in self.gun.free:
            self.gun.free.remove(self)
        if self.shot is not None:
            shot, self.shot = self.shot, None
            self.gun.finish(shot, BROKEN)
        self.gun.send_next()
