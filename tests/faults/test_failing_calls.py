"""Whichever call to the system fails while SQLite writes: nothing that failed is confirmed, and what was confirmed is there."""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

import pytest

import migrations
from domain.records.engine import SqliteStore
from tests import makers
from tests.api.conftest import make_key
from tests.faults.forked import wait_for_first
from tests.faults.records import sites_in

pytestmark = [pytest.mark.fault, pytest.mark.system("strace"), pytest.mark.timeout(1800)]

SITES = 8
ENDED_WITHIN_S = 60


@dataclass
class Prepared:
    """A database to copy, and a key to it."""

    path: Path
    key: str


@dataclass
class Run:
    """What came of a run: whether a call failed, the answers' statuses and codes in order, readiness at the end, the database."""

    failed: bool
    answers: list[tuple[int, str]]
    ready: int
    database: Path

    @property
    def confirmed(self) -> set[str]:
        return {f"Site {at}" for at, (status, _) in enumerate(self.answers) if status < 300}


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Prepared:
    """Return a migrated database with an organisation and a key."""
    path = tmp_path_factory.mktemp("prepared") / "reedbed.sqlite3"
    migrations.upgrade(f"sqlite:///{path}")
    store = SqliteStore(path)
    makers.organisation(store)
    key = make_key(store, organisation_id=makers.ORGANISATION)
    store.close()
    return Prepared(path, key)


@pytest.fixture
def run(forker: Any, prepared: Prepared, tmp_path: Path) -> Any:
    """Return a function that writes while the n-th of some calls fails, in each thread."""

    def once(calls: str, *, error: str, number: int, store: str = "shipped") -> Run:
        name = f"{calls[:5]}-{number}"
        database, answers, gate, trace = (tmp_path / f"{name}.{what}" for what in ("sqlite3", "answers", "gate", "trace"))
        shutil.copy(prepared.path, database)
        answers.touch()
        os.mkfifo(gate)
        child = forker.fork("tests.faults.writing:ask_for_sites", str(database), prepared.key, str(answers), str(gate), store, SITES)
        wait_for_first(answers, child)
        command = ["strace", "-f", "-p", str(child.pid), "-o", trace, "-e", f"trace={calls}"]
        tracer = subprocess.Popen([*command, "-e", f"inject={calls}:error={error}:when={number}"], stderr=subprocess.PIPE)
        assert b"attached" in tracer.stderr.readline()
        with gate.open("wb"):
            pass
        child.wait(ENDED_WITHIN_S)
        tracer.communicate(timeout=ENDED_WITHIN_S)
        _, *lines, last = (line.split() for line in answers.read_text(encoding="ascii").splitlines())
        assert len(lines) == SITES, child.log.read_text(encoding="utf-8")
        failed = "(INJECTED)" in trace.read_text(encoding="utf-8", errors="replace")
        return Run(failed, [(int(status), code) for status, code, _ in lines], int(last[0]), database)

    return once


def faults_of(found: Run) -> list[str]:
    """Return what must not be, whatever failed."""
    faults = [f"{status} {code}" for status, code in found.answers if status not in {201, 503}]
    missing = found.confirmed - set(sites_in(found.database).values())
    return faults + [f"{name} was confirmed and is lost" for name in sorted(missing)]


def numbers(wanted: int) -> Any:
    """Return which calls fail, one a run: all of them one by one, or so many at growing distances."""
    return count(1) if wanted == 0 else (1 + at * (at + 1) // 2 for at in range(wanted))


def test_after_a_synchronisation_that_failed_nothing_more_is_written(run, every_call):
    refusals = 0
    for number in numbers(0 if every_call else 6):
        found = run("fsync,fdatasync", error="EIO", number=number)
        if not found.failed:
            assert {status for status, _ in found.answers} == {201}
            break

        assert faults_of(found) == []
        first_refused = next((at for at, (status, _) in enumerate(found.answers) if status == 503), SITES)
        if first_refused < SITES:
            refusals += 1
            assert set(found.answers[first_refused:]) == {(503, "storage-failed")}
            assert found.ready == 503

    assert refusals > 0


def test_a_write_that_finds_no_room_changes_nothing_and_the_next_one_works(run, every_call):
    refusals = 0
    for number in numbers(0 if every_call else 8):
        found = run("pwrite64", error="ENOSPC", number=number)
        if not found.failed:
            break

        assert faults_of(found) == []
        refused = [code for status, code in found.answers if status == 503]
        refusals += len(refused)
        assert refused in ([], ["storage-full"])
        assert found.ready == 200

    assert refusals > 0


def test_a_store_that_is_deaf_to_a_failed_commit_is_found_out(run):
    found = [fault for number in (2, 3) for fault in faults_of(run("fsync,fdatasync", error="EIO", number=number, store="deaf"))]

    assert found
