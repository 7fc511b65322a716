"""Threads for what takes long to compute: a few, and no more work for them than leaves room for everybody else."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Self, TypeVar

from api.errors import Busy
from api.settings import Settings

C = TypeVar("C")
A = TypeVar("A")

THREADS = 2
"""So that a long computation does not hold up a short one; more would only take turns, and the event loop with them."""
ANY_NUMBER = sys.maxsize


class Computing:
    """Computes for at most ``most`` callers at a time; those beyond are told to come back. ``name`` is that of its threads."""

    def __init__(self, *, most: int, name: str = "compute") -> None:
        self.most = most
        self.at_work = 0
        self._threads = ThreadPoolExecutor(THREADS, thread_name_prefix=name)

    @classmethod
    def of(cls, settings: Settings, *, name: str = "compute") -> Computing:
        """Return what leaves half of the places for requests to others."""
        return cls(most=max(THREADS, settings.most_at_work // 2) if settings.most_at_work else ANY_NUMBER, name=name)

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(self, kind: type[BaseException] | None, raised: BaseException | None, trace: TracebackType | None) -> None:
        """End the threads, once they have done what they are at."""
        self._threads.shutdown()

    async def compute(self, act: Callable[[C], A], call: C) -> A:
        """Compute what a call asks for.

        Raises:
            Busy: Too many are waiting for their turn already.
        """
        if self.at_work >= self.most:
            raise Busy("Too much is being computed just now. Please try again.")
        self.at_work += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._threads, act, call)
        finally:
            self.at_work -= 1
