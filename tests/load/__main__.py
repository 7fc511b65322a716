"""The load report: ``python -m tests.load REPORT.md [sqlite|postgresql] [SECONDS]`` measures a serving process and writes what it found.

Four rounds: half of the measured ceiling, three times the ceiling with and without admission, and a noisy organisation beside a quiet one.
The generator shares the machine with the service; figures are for comparing, not for promising.
"""

from __future__ import annotations

import platform
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from itertools import count
from pathlib import Path

import migrations
from domain.records.engine import sqlite_driver
from tests import makers
from tests.benchmarks.databases import PostgresHouse, durable_server
from tests.load.generator import Volley, fire, schedule
from tests.load.profile import SHARES, ceiling, mixed
from tests.load.served import Furnished, Served, furnish, served

UNLIMITED: Mapping[str, object] = {
    "requests_per_minute": 0,
    "organisation_requests_per_minute": 0,
    "stop_grace_s": 0,
    "max_connections": 2000,
}
NO_ADMISSION: Mapping[str, object] = {**UNLIMITED, "requests_at_work": 0, "request_deadline_s": 0, "max_connections": 100_000}
QUIET_SHARE, NOISY_TIMES = 0.05, 10
NOISY_PER_MINUTE = 600
"""Granted to each organisation in the last round."""
HEADER = """| round | offered [1/s] | served [1/s] | p50 [ms] | p95 [ms] | p99 [ms] | max [ms] | statuses | lag [ms] | RSS [MiB] |
|---|---|---|---|---|---|---|---|---|---|"""
seeds = count()


def main(report: str, database: str = "sqlite", seconds: str = "10") -> None:
    """Measure and write the report."""
    for_s = min(60.0, float(seconds))
    with databases(database) as new:
        lines = [*common(new, for_s=for_s), *noisy(new, for_s=for_s)]
    shares = ", ".join(f"{name} {share} %" for name, share in SHARES.items())
    text = "\n".join(
        [
            f"# Load on {database}",
            "",
            f"{for_s:.0f} s a round, open loop, latency from the schedule; {shares}.",
            "Lag: how late the generator was, for 99 %; it shares the machine with the service.",
            f"Python {platform.python_version()}, SQLite {sqlite_driver().sqlite_version}, {platform.system()} {platform.machine()}.",
            "",
            *lines,
            "",
        ]
    )
    Path(report).write_text(text, encoding="utf-8")
    sys.stdout.write(text)


def common(new: Callable[[], str], *, for_s: float) -> Iterator[str]:
    """Yield the lines about the ceiling, half of it, three times as much, and three times as much without admission."""
    url = new()
    place = furnish(url)
    with folder() as room, served(url, room, UNLIMITED) as here:
        most = ceiling(here.port, mixed(place, seed=next(seeds)), for_s=for_s / 2)
        yield f"Ceiling, 16 connections kept busy: {most:.0f} requests/s. Ready {here.ready_s:.1f} s after the start."
        yield ""
        yield HEADER
        for name, times in (("half", 0.5), ("three times", 3.0), ("half, right afterwards", 0.5)):
            yield line(name, volley(here, place, per_s=times * most, for_s=for_s), per_s=times * most, here=here)
    with folder() as room, served(url, room, NO_ADMISSION) as here:
        yield line(
            "three times, without admission",
            volley(here, place, per_s=3 * most, for_s=min(for_s, 5)),
            per_s=3 * most,
            here=here,
        )


def noisy(new: Callable[[], str], *, for_s: float) -> Iterator[str]:
    """Yield the lines about a quiet organisation alone, beside a noisy one, and beside a noisy one that has a limit."""
    url = new()
    quiet = furnish(url)
    loud = furnish(url, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    with folder() as room, served(url, room, UNLIMITED) as here:
        most = ceiling(here.port, mixed(quiet, seed=next(seeds)), for_s=2)
        per_s = QUIET_SHARE * most
        yield line("quiet, alone", volley(here, quiet, per_s=per_s, for_s=for_s), per_s=per_s, here=here)
        yield from beside(here, quiet, loud, per_s=per_s, for_s=for_s, remark="no limits")
    limited = {**UNLIMITED, "organisation_requests_per_minute": max(NOISY_PER_MINUTE, int(per_s * 60 * 1.5))}
    with folder() as room, served(url, room, limited) as here:
        yield from beside(here, quiet, loud, per_s=per_s, for_s=for_s, remark=f"{limited['organisation_requests_per_minute']}/min each")


def beside(here: Served, quiet: Furnished, loud: Furnished, *, per_s: float, for_s: float, remark: str) -> Iterator[str]:
    """Yield the lines about both when the loud one asks ten times as often."""
    plan = [
        *schedule(mixed(quiet, seed=next(seeds)), per_s=per_s, for_s=for_s, group="quiet"),
        *schedule(mixed(loud, seed=next(seeds)), per_s=NOISY_TIMES * per_s, for_s=for_s, group="loud"),
    ]
    both = fire(here.port, plan)
    yield line(f"quiet, beside ten times as much; {remark}", both.of("quiet"), per_s=per_s, here=here)
    yield line(f"the noisy one; {remark}", both.of("loud"), per_s=NOISY_TIMES * per_s, here=here)


def volley(here: Served, place: Furnished, *, per_s: float, for_s: float) -> Volley:
    """Return what became of a mixture that was offered for some time."""
    return fire(here.port, schedule(mixed(place, seed=next(seeds)), per_s=per_s, for_s=for_s))


def line(name: str, found: Volley, *, per_s: float, here: Served) -> str:
    """Return a row of the table."""
    latencies = " | ".join(f"{found.latency_s(share) * 1000:.0f}" for share in (0.5, 0.95, 0.99, 1.0))
    statuses = ", ".join(f"{status}: {times}" for status, times in sorted(found.statuses().items()))
    rate = len(found.accepted()) / found.took_s
    return (
        f"| {name} | {per_s:.0f} | {rate:.0f} | {latencies} | {statuses} | {found.lag_s(0.99) * 1000:.1f} | {here.rss_kib() / 1024:.0f} |"
    )


@contextmanager
def databases(kind: str) -> Iterator[Callable[[], str]]:
    """Yield a function that makes a migrated, empty database and returns its URL."""
    with ExitStack() as exits:
        if kind == "postgresql":
            house = PostgresHouse(exits.enter_context(durable_server()))
            exits.callback(house.close)
            yield house.new
            return
        room, number = Path(exits.enter_context(tempfile.TemporaryDirectory())), count()

        def new() -> str:
            url = f"sqlite:///{room / f'reedbed-{next(number)}.sqlite3'}"
            migrations.upgrade(url)
            return url

        yield new


@contextmanager
def folder() -> Iterator[Path]:
    """Yield a folder for what a process says."""
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


if __name__ == "__main__":
    main(*sys.argv[1:])
