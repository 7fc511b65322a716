"""What the benchmarks found, and the table that shows it with the machine and the versions it was found on."""

from __future__ import annotations

import os
import platform
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from time import perf_counter

from domain.records.engine import sqlite_driver

PACKAGES = ("fastapi", "starlette", "uvicorn", "pydantic", "msgspec", "sqlalchemy", "psycopg", "numpy", "reportlab", "python-calamine")
SAMPLED_EVERY_S = 0.005
_TITLES = ("benchmark", "database", "limit", "ours", "ratio", "target", "note")


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the table: a quantity with its unit, for the limit and for us, or for us alone.

    ``ratio`` is such that more is better, unless ``at_most`` says that the target is an upper bound. Missing a target fails nothing.
    """

    name: str
    database: str
    ours: str
    limit: str = ""
    ratio: float | None = None
    target: float | None = None
    at_most: bool = False
    note: str = ""

    @property
    def cells(self) -> tuple[str, ...]:
        """The line as the table shows it."""
        ratio = "" if self.ratio is None else f"{self.ratio:.2f}"
        return (self.name, self.database, self.limit, self.ours, ratio, self._target(), self.note)

    def _target(self) -> str:
        if self.target is None or self.ratio is None:
            return ""
        bound = f"{'<=' if self.at_most else '>='} {self.target:.2f}"
        met = self.ratio <= self.target if self.at_most else self.ratio >= self.target
        return bound if met else f"{bound} missed"


@dataclass(slots=True)
class Spent:
    """Wall time [s] and the most resident memory above the start [MB]; memory is 0 where the system does not tell it."""

    wall_s: float = 0.0
    peak_mb: float = 0.0


class Figures:
    """The figures of one run. Each is printed when it is found, and all of them as a table at the end."""

    def __init__(self) -> None:
        self.found: list[Figure] = []
        self.remarks: dict[str, str] = {}

    def add(self, figure: Figure) -> None:
        """Keep a figure and print it."""
        self.found.append(figure)
        print(f"\n  {' | '.join(cell for cell in figure.cells if cell)}", end="", flush=True)  # noqa: T201 - asked for with -s

    def table(self) -> list[str]:
        """Return the lines of the table, machine and versions first."""
        rows = [_TITLES, *(figure.cells for figure in self.found)]
        widths = [max(len(row[place]) for row in rows) for place in range(len(_TITLES))]
        lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
        about = [f"{name}: {remark}" for name, remark in {**machine(), **self.remarks}.items()]
        return [*about, "", lines[0], "-" * len(lines[0]), *lines[1:]]


def machine() -> dict[str, str]:
    """Return what the figures depend on."""
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return {
        "machine": f"{os.cpu_count()} x {_processor()}, {platform.platform()}",
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "sqlite": f"library {sqlite_driver().sqlite_version}, as the service opens it",
        "packages": packages,
    }


@contextmanager
def measured() -> Iterator[Spent]:
    """Yield what the block will have spent once it is left; memory is sampled in a thread."""
    spent, done = Spent(), threading.Event()
    start = most = resident_mb()

    def sample() -> None:
        nonlocal most
        while not done.wait(SAMPLED_EVERY_S):
            most = max(most, resident_mb())

    sampler = threading.Thread(target=sample, daemon=True)
    sampler.start()
    began = perf_counter()
    try:
        yield spent
    finally:
        spent.wall_s = perf_counter() - began
        most = max(most, resident_mb())
        done.set()
        sampler.join()
        spent.peak_mb = most - start


def resident_mb() -> float:
    """Return this process's resident memory [MB], 0 where the system does not tell it."""
    statm = Path("/proc/self/statm")
    return int(statm.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6 if statm.exists() else 0.0


def median(values: Sequence[float]) -> float:
    """Return the middle of the values, the mean of the two middle ones where their number is even."""
    ordered = sorted(values)
    return (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2


def _processor() -> str:
    cpuinfo = Path("/proc/cpuinfo")
    lines = cpuinfo.read_text().splitlines() if cpuinfo.exists() else []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()
