"""What SQLite has confirmed is there after the power went, whatever part of the rest was kept."""

from __future__ import annotations

import random
import shutil
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest

import migrations
from domain.records.engine import SqliteStore
from tests import makers
from tests.faults.forked import wait_for_first
from tests.faults.records import sites_in

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1200)]


@dataclass
class Toll:
    """What the rounds have cost."""

    confirmed: int = 0
    lost: int = 0
    broken: int = 0


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a migrated database with an organisation, to copy."""
    path = tmp_path_factory.mktemp("prepared") / "reedbed.sqlite3"
    migrations.upgrade(f"sqlite:///{path}")
    store = SqliteStore(path)
    makers.organisation(store)
    store.close()
    return path


def rounds_without_power(number: int, *, disk: Any, forker: Any, prepared: Path, synchronous: str | None) -> Toll:
    """Write and lose power a number of times; after each, count what is missing in what a machine would find."""
    toll = Toll()
    for seed in range(number):
        chance = random.Random(seed)  # noqa: S311 - repeatable, not secret
        name = f"{seed}.sqlite3"
        shutil.copy(prepared, disk.behind / name)
        confirmed = disk.behind.parent / f"{seed}.confirmed"
        confirmed.touch()
        child = forker.fork("tests.faults.writing:write_sites", str(disk.place / name), str(confirmed), synchronous)
        wait_for_first(confirmed, child)
        time.sleep(chance.uniform(0.05, 0.4))
        child.kill()
        disk.lose_power(seed)
        count_toll(toll, disk.behind / name, confirmed)
    return toll


def count_toll(toll: Toll, database: Path, confirmed: Path) -> None:
    promised = dict(line.split() for line in confirmed.read_text(encoding="ascii").splitlines())
    toll.confirmed += len(promised)
    database.with_name(f"{database.name}-shm").unlink(missing_ok=True)
    try:
        kept = sites_in(database)
    except Exception:  # noqa: BLE001 - whatever is wrong with the file, it is broken
        toll.broken += 1
        return
    toll.lost += sum(kept.get(UUID(number)) != name for number, name in promised.items())


def test_nothing_confirmed_is_lost_with_the_power(lazy_disk, forker, prepared, rounds):
    toll = rounds_without_power(rounds(40, full=200), disk=lazy_disk, forker=forker, prepared=prepared, synchronous=None)

    assert toll.confirmed > 0
    assert (toll.lost, toll.broken) == (0, 0)


@pytest.mark.parametrize("synchronous", ["NORMAL", "OFF"])
def test_a_store_that_synchronises_less_is_found_out(lazy_disk, forker, prepared, synchronous):
    toll = rounds_without_power(6, disk=lazy_disk, forker=forker, prepared=prepared, synchronous=synchronous)

    assert toll.lost + toll.broken > 0
