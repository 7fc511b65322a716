"""How many requests are worked on at a time, how long others wait for their turn, and when a request is given up.

What cannot be taken is refused at once and cheaply: whoever waits for an answer that comes too late only takes the place of others.
"""

from __future__ import annotations

import asyncio
import random
import time
from collections import deque
from collections.abc import Callable
from typing import Protocol, TypeVar

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import Overloaded, TooLate, problem_of
from api.metrics import Metrics
from api.settings import Settings

C = TypeVar("C", bound="Timed")
A = TypeVar("A")

HEALTH = frozenset({"/healthz", "/readyz"})
"""Paths that are never refused."""
READS = frozenset({"GET", "HEAD", "OPTIONS"})
RETRY_AFTER_S = (1, 3)
"""Between these, at random, so that those who were refused do not all come again at once [s]."""


class Admission:
    """Lets at most ``most_at_work`` requests work and as many more wait, for ``request_wait_s``; sees to the deadline of each."""

    def __init__(self, app: ASGIApp, *, settings: Settings, metrics: Metrics) -> None:
        self.app = app
        self.most = settings.most_at_work
        self.wait_s = settings.request_wait_s
        self.deadline_s = settings.request_deadline_s
        self.metrics = metrics
        self.at_work = 0
        self.waiting: deque[asyncio.Future[bool]] = deque()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or scope["path"] in HEALTH:
            await self.app(scope, receive, send)
            return
        late_s = _late_s(scope)
        reason = "" if not self.most else await self._reason_to_refuse(scope, late_s)
        if reason:
            self.metrics.count("admission_rejected", reason)
            await _refuse(Overloaded("There is too much to do just now; nothing was done.", retry_after_s=_soon_s()), scope, receive, send)
            return
        try:
            await self._in_time(scope, receive, send, left_s=self.deadline_s - late_s)
        finally:
            if self.most:
                self._leave()

    async def _reason_to_refuse(self, scope: Scope, late_s: float) -> str:
        """Return why a request is not let in; nothing, once it has a place."""
        if scope["state"].get("crowded"):
            return "connections"
        if late_s > self.wait_s:
            return "late"
        if self.at_work < self.most:
            self.at_work += 1
            return ""
        if len(self.waiting) >= self.most:
            return "queue"
        return "" if await self._place_within(self.wait_s - late_s) else "wait"

    async def _place_within(self, seconds: float) -> bool:
        loop = asyncio.get_running_loop()
        place: asyncio.Future[bool] = loop.create_future()
        self.waiting.append(place)
        timer = loop.call_later(seconds, _settle, place)
        try:
            return await place
        except asyncio.CancelledError:
            if place.done() and not place.cancelled() and place.result():
                self._leave()
            raise
        finally:
            timer.cancel()

    def _leave(self) -> None:
        while self.waiting:
            place = self.waiting.popleft()
            if not place.done():
                place.set_result(True)
                return
        self.at_work -= 1

    async def _in_time(self, scope: Scope, receive: Receive, send: Send, *, left_s: float) -> None:
        if not self.deadline_s:
            await self.app(scope, receive, send)
            return
        if scope["method"] not in READS:
            until = scope["state"]["until"] = time.monotonic() + left_s
            await self.app(scope, _received_until(receive, until), send)
            return
        try:
            async with asyncio.timeout(left_s) as limit:
                await self.app(scope, receive, send)
        except TimeoutError:
            if not limit.expired() or scope["state"].get("status"):
                raise
            await _refuse(TooLate("The answer could not be found in time. Please try again."), scope, receive, send)


class Timed(Protocol):
    """What a request asks for, and until which instant of the monotonic clock it may be begun [s]."""

    until: float | None


def in_time(act: Callable[[C], A], call: C) -> A:
    """Do what a request asks for, unless its deadline has passed while it waited; once begun it is finished.

    Raises:
        TooLate: The deadline has passed; nothing was done.
    """
    if call.until is not None and time.monotonic() > call.until:
        raise TooLate("It was not begun in time; nothing was changed. Please try again.")
    return act(call)


def _received_until(receive: Receive, until: float) -> Receive:
    async def receive_in_time() -> Message:
        try:
            async with asyncio.timeout(until - time.monotonic()):
                return await receive()
        except TimeoutError:
            raise TooLate("The request's body did not arrive in time; nothing was changed.") from None

    return receive_in_time


def _late_s(scope: Scope) -> float:
    """Return how long a request has waited since it arrived [s], by the server's stamp."""
    arrived = scope["state"].get("arrived")
    return 0.0 if arrived is None else time.monotonic() - arrived


def _settle(place: asyncio.Future[bool]) -> None:
    if not place.done():
        place.set_result(False)


def _soon_s() -> int:
    return random.randint(*RETRY_AFTER_S)  # noqa: S311 - spreads load, guards nothing


async def _refuse(refusal: Overloaded | TooLate, scope: Scope, receive: Receive, send: Send) -> None:
    scope["state"]["refused"] = refusal
    await problem_of(refusal, path=scope["path"])(scope, receive, send)
