"""Background work of one process: a few threads and a short queue. What it works on is on record, and is taken up again from there.

It is taken up when the service starts, and while it runs: once a piece of work did not fit into the queue, or found the database busy.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from uuid import UUID

from domain.errors import StorageBusy

log = logging.getLogger("reedbed")

Task = Callable[[], object]

LONGEST_PAUSE_S = 60.0
"""How long the record is left alone at most while the database stays busy [s]."""


class Work:
    """A pool that runs tasks one after the other in ``threads`` threads, while at most ``waiting`` more wait.

    ``resumes`` are the tasks that take up what is on record. They are run when no other task has come for ``pause_s`` [s], which is
    doubled each time that the database is still busy.
    """

    def __init__(self, *, threads: int, waiting: int, pause_s: float = 1.0) -> None:
        self.resumes: Sequence[Task] = ()
        self._count = threads
        self._waiting: queue.Queue[Task | None] = queue.Queue(maxsize=waiting)
        self._threads: list[threading.Thread] = []
        self._stopping = threading.Event()
        self._left_over = threading.Event()
        self._first_pause_s = self._pause_s = pause_s
        self._at_work: set[UUID] = set()
        self._lock = threading.Lock()

    def start(self) -> None:
        """Start the threads."""
        self._stopping.clear()
        self._threads = [threading.Thread(target=self._run, name=f"work-{number}", daemon=True) for number in range(self._count)]
        for thread in self._threads:
            thread.start()

    def stop(self, *, within_s: float = 20.0) -> None:
        """Let the running tasks finish, for at most ``within_s`` [s] in all; what still waits is left for the next start.

        A task that takes longer is left behind: the process ends, its transaction is undone, and the record says that it is unfinished.
        """
        self._stopping.set()
        for _ in self._threads:
            self._offer(None)
        until = time.monotonic() + within_s
        for thread in self._threads:
            thread.join(max(0.0, until - time.monotonic()))
        self._threads = []
        self._empty()

    def submit(self, task: Task) -> None:
        """Have a task run soon, or what it works on taken up from the record later where as many tasks wait as may.

        A task that fails is logged; what it leaves on record is its own affair.
        """
        if not self._offer(task):
            self._left_over.set()
            # The threads may have emptied the queue meanwhile and sleep.
            self._offer(task)

    @contextmanager
    def alone_at(self, key: UUID) -> Iterator[bool]:
        """Yield whether nobody else in this process is at the piece of work with this id, and let nobody else be until the block ends."""
        with self._lock:
            alone = key not in self._at_work
            self._at_work.add(key)
        try:
            yield alone
        finally:
            if alone:
                with self._lock:
                    self._at_work.discard(key)

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
            tasks = self._next()
            if tasks is None:
                return
            for task in tasks:
                self._do(task)

    def _next(self) -> Sequence[Task] | None:
        """Return what is to be done next; ``None`` where nothing is, since the service stops."""
        try:
            task = self._waiting.get(timeout=self._pause_s if self._left_over.is_set() else None)
        except queue.Empty:
            self._left_over.clear()
            return self.resumes
        return None if task is None or self._stopping.is_set() else [task]

    def _do(self, task: Task) -> None:
        try:
            task()
        except StorageBusy:
            log.warning("background work found the database busy; it is taken up again from the record")
            self._pause_s = min(2 * self._pause_s, LONGEST_PAUSE_S)
            self._left_over.set()
        except Exception:
            log.exception("background work failed")
        else:
            self._pause_s = self._first_pause_s
