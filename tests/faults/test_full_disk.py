"""A disk that is full or read-only refuses clearly, and the service goes on by itself once there is room."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import migrations
from domain.records.engine import SqliteStore
from domain.records.tables import make_ready
from tests import makers
from tests.faults.in_process import running
from tests.faults.records import sites_in

pytestmark = [pytest.mark.fault, pytest.mark.timeout(300)]

NOTE = "reed " * 400
RESERVE_BYTES = 600_000
MOST = 5000


@contextmanager
def service_on(disk: Path) -> Iterator[tuple[Any, Path]]:
    make_ready()
    database = disk / "reedbed.sqlite3"
    migrations.upgrade(f"sqlite:///{database}")
    store = SqliteStore(database)
    makers.organisation(store)
    with running(store) as client:
        yield client, database
    store.close()


def register(client: Any, number: int) -> Any:
    stated = {"name": f"Site {number}", "zone": "Europe/Lisbon", "note": NOTE}
    return client.post("/v1/sites", stated, Idempotency_Key=f"key-{number}")


def register_until_refused(client: Any, *, begin: int = 0) -> tuple[list[str], Any]:
    """Register sites until one is refused; return the names of those that were confirmed, and the refusal."""
    confirmed = []
    for number in range(begin, begin + MOST):
        answer = register(client, number)
        if answer.status_code != 201:
            return confirmed, answer
        confirmed.append(answer.json()["name"])
    raise AssertionError("it was never refused")


def assert_problem(answer: Any, code: str) -> None:
    assert (answer.status_code, answer.json()["code"]) == (503, code)
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert int(answer.headers["Retry-After"]) >= 1


def test_a_full_disk_refuses_writes_and_takes_them_again_once_there_is_room(small_disk):
    reserve = small_disk / "reserve"
    with service_on(small_disk) as (client, database):
        reserve.write_bytes(os.urandom(RESERVE_BYTES))
        confirmed, refused = register_until_refused(client)
        read = client.get("/v1/sites?limit=1")
        again = register(client, len(confirmed))
        reserve.unlink()
        after = register(client, len(confirmed))

    assert_problem(refused, "storage-full")
    assert_problem(again, "storage-full")
    assert read.status_code == 200
    assert after.status_code == 201
    assert sorted(sites_in(database).values()) == sorted([*confirmed, after.json()["name"]])


def test_a_disk_that_turns_read_only_refuses_writes_and_keeps_what_was_confirmed(failing_disk, remounted):
    with service_on(failing_disk) as (client, database):
        confirmed = [register(client, number).json()["name"] for number in range(20)]
        read_before = client.get("/v1/sites?limit=1")
        subprocess.run(["mount", "-o", "remount,abort", failing_disk], check=True)
        refused = register(client, 20)
        read = client.get("/v1/sites?limit=1")

    assert_problem(refused, "storage-read-only")
    assert (read_before.status_code, read.status_code) == (200, 200)
    remounted(failing_disk)
    assert set(confirmed) <= set(sites_in(database).values())


@pytest.fixture
def remounted(tmp_path: Path) -> Callable[[Path], None]:
    """Return a function that mounts the image of the failing disk anew, as after it was mended."""

    def mend(place: Path) -> None:
        subprocess.run(["umount", place], check=True)
        subprocess.run(["e2fsck", "-fy", tmp_path / "image"], check=False, capture_output=True)
        subprocess.run(["mount", "-o", "loop", tmp_path / "image", place], check=True)

    return mend
