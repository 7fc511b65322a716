"""Processes that are quick to make: one process imports everything once and forks a child for each that is asked for.

A child is a process of its own in a process group of its own; it opens its own connections and files after the fork, so killing it takes
from the database exactly what killing a newly started one would. ``python -m tests.faults.forked`` reads one order a line.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import Any

from domain.records.tables import make_ready

HOUSE = Path(__file__).parents[2]
NEEDED = (
    "api.command_line",
    "httptools",
    "psycopg_pool",
    "tests.faults.broken_service",
    "tests.faults.filing",
    "tests.faults.moving",
    "tests.faults.writing",
    "uvicorn.lifespan.on",
    "uvicorn.loops.auto",
    "uvicorn.protocols.http.httptools_impl",
    "uvloop",
)
GONE_WITHIN_S = 10
FIRST_WITHIN_S = 60


class Forker:
    """The parent of the children."""

    def __init__(self, process: subprocess.Popen[str], folder: Path) -> None:
        self._process = process
        self._folder = folder
        self._made = 0

    def fork(self, call: str, *arguments: Any, environment: Mapping[str, str] | None = None) -> Child:
        """Start a child that calls a function, ``module:function``, and return it."""
        self._made += 1
        log = self._folder / f"{self._made}.log"
        order = {"call": call, "arguments": arguments, "environment": dict(environment or {}), "log": str(log)}
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        return Child(int(self._process.stdout.readline()), log)


class Child:
    """A process and whatever it started."""

    def __init__(self, pid: int, log: Path) -> None:
        self.pid = pid
        self.log = log

    def kill(self) -> None:
        """End the whole process group at once, with no chance to do anything more, and wait until it is gone."""
        try:
            os.killpg(self.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
        self.wait(GONE_WITHIN_S)

    def wait(self, seconds: float) -> None:
        """Wait until the process has ended."""
        last_at = time.monotonic() + seconds
        while self.lives:
            if time.monotonic() > last_at:
                raise TimeoutError(f"process {self.pid} still runs: {self.log.read_text(encoding='utf-8')}")
            time.sleep(0.002)

    @property
    def lives(self) -> bool:
        """Whether the process has not ended."""
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return False
        return True


def wait_for_first(lines: Path, child: Child) -> None:
    """Wait until a child has written something into a file."""
    last_at = time.monotonic() + FIRST_WITHIN_S
    while not lines.stat().st_size:
        assert child.lives, child.log.read_text(encoding="utf-8")
        assert time.monotonic() < last_at
        time.sleep(0.005)


@contextmanager
def forking(folder: Path) -> Iterator[Forker]:
    """Yield a parent of children; what is left of them is ended with it."""
    command = [sys.executable, "-m", "tests.faults.forked"]
    alone = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen(command, cwd=HOUSE, env=alone, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout.readline() == "ready\n"
        yield Forker(process, folder)
    finally:
        process.stdin.close()
        process.wait(GONE_WITHIN_S)
        process.stdout.close()


def main() -> None:
    """Fork a child for each line, until there are no more; then end the children."""
    for name in NEEDED:
        import_module(name)
    make_ready()
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    # Whoever ends is gone at once; nobody here asks how it ended.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    children = []
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(order)
        os.setpgid(child, child)
        children.append(child)
        sys.stdout.write(f"{child}\n")
        sys.stdout.flush()
    for child in children:
        _end(child)


def _become(order: dict[str, Any]) -> None:
    os.setpgid(0, 0)
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.environ.update(order["environment"])
    log = os.open(order["log"], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for mine, theirs in ((0, nothing), (1, log), (2, log)):
        os.dup2(theirs, mine)
    module, _, name = order["call"].partition(":")
    status = 1
    try:
        status = getattr(import_module(module), name)(*order["arguments"]) or 0
    except BaseException:  # noqa: BLE001 - a child never goes on as its parent
        sys.excepthook(*sys.exc_info())
    finally:
        sys.stderr.flush()
        sys.stdout.flush()
        os._exit(status)


def _end(child: int) -> None:
    try:
        os.killpg(child, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        return


if __name__ == "__main__":
    main()
