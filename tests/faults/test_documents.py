"""Whenever a service is killed or the power goes, no document is on record whose file is not there whole."""

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
from domain.actions.documents import files_on_record, flaws_of_files
from domain.actions.verify import prove
from domain.records.engine import open_store
from domain.records.files.folder import FolderFiles
from tests import makers
from tests.api.conftest import make_key
from tests.faults.forked import wait_for_first

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]


@dataclass
class Toll:
    """What the rounds have cost: documents that were confirmed and are not on record, and those whose file is not there whole."""

    confirmed: int = 0
    lost: int = 0
    without_file: int = 0


def count_toll(toll: Toll, url: str, folder: Path, confirmed: Path) -> None:
    promised = dict(line.split() for line in confirmed.read_text(encoding="ascii").splitlines())
    store = open_store(url, pool_size=1)
    try:
        with store.snapshot(makers.origin()) as unit:
            assert prove(unit).flaws == []
            on_record = files_on_record(unit)
    finally:
        store.close()
    there = {one: digest for digest, documents in on_record.items() for one in documents}
    toll.confirmed += len(promised)
    toll.lost += sum(there.get(UUID(number)) != digest for number, digest in promised.items())
    toll.without_file += len(flaws_of_files(FolderFiles(folder), makers.ORGANISATION, on_record))


def killed_rounds(number: int, *, forker: Any, url: str, key: str, folder: Path, place: str) -> Toll:
    """Kill a service at random a number of times while it puts documents on record; after each count what is missing."""
    toll = Toll()
    for seed in range(number):
        confirmed = folder.with_name(f"{seed}.confirmed")
        confirmed.touch()
        child = forker.fork("tests.faults.filing:write_documents", url, key, str(folder), str(confirmed), place)
        wait_for_first(confirmed, child)
        time.sleep(random.Random(seed).uniform(0.02, 0.3))  # noqa: S311 - repeatable, not secret
        child.kill()
        count_toll(toll, url, folder, confirmed)
    return toll


@pytest.fixture
def key(store, organisation):
    return make_key(store, organisation_id=organisation)


def test_a_killed_service_leaves_no_document_without_its_file(forker, database_url, key, rounds, tmp_path):
    toll = killed_rounds(rounds(4, full=100), forker=forker, url=database_url, key=key, folder=tmp_path / "documents", place="shipped")

    assert toll.confirmed > 0
    assert (toll.lost, toll.without_file) == (0, 0)


def test_a_place_that_keeps_files_late_is_found_out(forker, database_url, key, tmp_path):
    toll = killed_rounds(3, forker=forker, url=database_url, key=key, folder=tmp_path / "documents", place="late")

    assert toll.without_file > 0


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Return a migrated SQLite file with an organisation, to copy, and a key to it."""
    path = tmp_path_factory.mktemp("prepared") / "reedbed.sqlite3"
    migrations.upgrade(f"sqlite:///{path}")
    store = open_store(f"sqlite:///{path}")
    makers.organisation(store)
    key = make_key(store, organisation_id=makers.ORGANISATION)
    store.close()
    return path, key


def powerless_rounds(number: int, *, disk: Any, forker: Any, prepared: tuple[Path, str], place: str) -> Toll:
    """Lose power a number of times while documents are put on record: the database lies on another disk, which loses nothing."""
    toll = Toll()
    path, key = prepared
    for seed in range(number):
        chance = random.Random(seed)  # noqa: S311 - repeatable, not secret
        database = disk.behind.parent / f"{seed}.sqlite3"
        shutil.copy(path, database)
        confirmed = database.with_suffix(".confirmed")
        confirmed.touch()
        url, folder = f"sqlite:///{database}", f"documents-{seed}"
        child = forker.fork("tests.faults.filing:write_documents", url, key, str(disk.place / folder), str(confirmed), place)
        wait_for_first(confirmed, child)
        time.sleep(chance.uniform(0.05, 0.3))
        child.kill()
        disk.lose_power(seed)
        count_toll(toll, url, disk.behind / folder, confirmed)
    return toll


def test_no_file_of_a_document_is_lost_with_the_power(lazy_folders, forker, prepared, rounds):
    toll = powerless_rounds(rounds(8, full=100), disk=lazy_folders, forker=forker, prepared=prepared, place="shipped")

    assert toll.confirmed > 0
    assert (toll.lost, toll.without_file) == (0, 0)


@pytest.mark.parametrize("place", ["content unsaid", "name unsaid"])
def test_a_place_that_synchronises_less_is_found_out(lazy_folders, forker, prepared, place):
    toll = powerless_rounds(3, disk=lazy_folders, forker=forker, prepared=prepared, place=place)

    assert toll.without_file > 0
