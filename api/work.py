"""Background work of one process: a few threads and a short queue. What must survive a restart is on record and is taken up again."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable

from domain.errors import StorageBusy

log = logging.getLogger("reedbed")

Task = Callable[[], object]


class Work:
    """A pool that runs tasks one after the other in ``threads`` threads, while at most ``waiting`` more wait."""

    def __init__(self, *, threads: int, waiting: int) -> None:
        self._count = threads
        self._waiting: queue.Queue[Task | None] = queue.Queue(maxsize=waiting)
        self._threads: list[threading.Thread] = []
        self._stopping = threading.Event()

    def start(self) -> None:
        """Start the threads."""
        self._stopping.clear()
        self._threads = [threading.Thread(target=self._run, name=f"work-{number}", daemon=True) for number in range(self._count)]
        for thread in self._threads:
            thread.start()

    def stop(self, *, within_s: float = 20.0) -> None:
        """Let the running tasks finish, at most ``within_s`` [s] for each thread; what still waits is left for the next start."""
        self._stopping.set()
        for _ in self._threads:
            self._offer(None)
        for thread in self._threads:
            thread.join(within_s)
        self._threads = []
        self._empty()

    def submit(self, task: Task) -> None:
        """Have a task run soon. A task that fails is logged; what it leaves on record is its own affair.

        Raises:
            StorageBusy: As many tasks wait as may.
        """
        if not self._offer(task):
            raise StorageBusy("There is more work waiting than can be taken; please try again shortly.", code="work-waiting")

    def _offer(self, task: Task | None) -> bool:
        try:
            self._waiting.put_nowait(task)
        except queue.Full:
            return False
        return True

    def _empty(self) -> None:
        while not self._waiting.empty():
            self._waiting.get_nowait()

    def _run(self) -> None:
        while not self._stopping.is_set():
            task = self._waiting.get()
            if task is None or self._stopping.is_set():
                return
            try:
                task()
            except Exception:
                log.exception("background work failed")
