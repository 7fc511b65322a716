"""How many requests are worked on at a time, how long others wait for their turn, and when a request is given up.

What cannot be taken is refused at once and cheaply: whoever waits for an answer that comes too late only takes the place of others.
"""

from __future__ import annotations

import asyncio
import random
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Protocol, TypeVar

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import Overloaded, TooLate, problem_of
from api.metrics import Metrics
from api.settings import Settings

C = TypeVar("C", bound="Timed")
A = TypeVar("A")

HEALTH = frozenset({"/healthz", "/readyz"})
"""Paths that are never refused."""
LOOK_S = 0.25
"""How often it is looked whether a read is overdue [s]."""
CROWDED = "connections"
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
        self.overdue = Overdue()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or scope["path"] in HEALTH:
            await self.app(scope, receive, send)
            return
        late_s = _late_s(scope)
        reason = "" if not self.most else await self._reason_to_refuse(scope, late_s)
        if reason:
            self.metrics.count("admission_rejected", reason)
            scope["state"]["last"] = reason == CROWDED
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
            return CROWDED
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
            with suppress(ValueError):  # whoever was given a place is out of the line already
                self.waiting.remove(place)

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
        task = self.overdue.watch(left_s)
        try:
            await self.app(scope, receive, send)
        except asyncio.CancelledError:
            if not self.overdue.has_ended(task):
                raise
            task.uncancel()
            if scope["state"].get("status"):
                raise TimeoutError from None
            await _refuse(TooLate("The answer could not be found in time. Please try again."), scope, receive, send)
        finally:
            self.overdue.forget(task)


class Overdue:
    """Ends tasks whose time is up. It looks after all of them every ``LOOK_S``: a timer for each would cost more than most answers."""

    def __init__(self) -> None:
        self._until: dict[asyncio.Task[Any], float] = {}
        self._ended: set[asyncio.Task[Any]] = set()
        self._timer: asyncio.TimerHandle | None = None

    def watch(self, seconds: float) -> asyncio.Task[Any]:
        """Have the running task ended after some time, and return it."""
        task = asyncio.current_task()
        assert task is not None  # noqa: S101 - requests are served in tasks
        self._until[task] = time.monotonic() + seconds
        if self._timer is None:
            self._timer = task.get_loop().call_later(LOOK_S, self._look)
        return task

    def has_ended(self, task: asyncio.Task[Any]) -> bool:
        """Return whether a task was ended here."""
        return task in self._ended

    def forget(self, task: asyncio.Task[Any]) -> None:
        """Let a task be; it has come to its end."""
        self._until.pop(task, None)
        self._ended.discard(task)

    def _look(self) -> None:
        now = time.monotonic()
        for task in [task for task, until in self._until.items() if now > until]:
            del self._until[task]
            self._ended.add(task)
            task.cancel()
        self._timer = asyncio.get_running_loop().call_later(LOOK_S, self._look) if self._until else None


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
