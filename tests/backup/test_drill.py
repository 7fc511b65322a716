"""The drill: a backup is taken while others write, restored, and everything that was confirmed before it began is there."""

from __future__ import annotations

import io
import shutil
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa

from domain.actions.backups import Differs, differences, take_backup
from domain.actions.verify import prove
from domain.records import journal
from domain.records.backups import manifest
from domain.records.backups.whole import whole_snapshot, within
from domain.records.base import table_of
from domain.records.engine import open_store
from domain.records.sites import Site
from domain.records.statements import Statement
from tests import makers
from tests.backup.conftest import NOWHERE, TAKER, records_of, restored, taken, untold

SITE_IDS = Statement(sa.select(table_of(Site).c.id).where(table_of(Site).c.organisation_id == sa.bindparam("organisation_id")))
PATIENCE_S = 30


class Load:
    """Somebody who registers one site after the other, and what was confirmed to them so far."""

    def __init__(self, store):
        self.store = store
        self.confirmed = []
        self._over = threading.Event()
        self._progress = threading.Condition()

    def write(self):
        while not self._over.is_set():
            with self.store.transaction(makers.origin()) as unit:
                made = makers.site(unit, name=f"Site {len(self.confirmed)}")
            with self._progress:
                self.confirmed.append(made.id)
                self._progress.notify_all()

    def wait_for(self, count):
        with self._progress:
            assert self._progress.wait_for(lambda: len(self.confirmed) >= count, PATIENCE_S)

    def __enter__(self):
        self._pool = ThreadPoolExecutor(1)
        self._written = self._pool.submit(self.write)
        return self

    def __exit__(self, *_):
        self._over.set()
        self._pool.shutdown()
        self._written.result()


def missing_from(store, confirmed):
    """Return what was confirmed and is not in a database."""
    with whole_snapshot(store, makers.origin()) as unit:
        there = {row[0] for row in within(unit, makers.ORGANISATION).rows(SITE_IDS)}
    return [one for one in confirmed if one not in there]


def test_a_backup_under_load_holds_whatever_was_confirmed_before_it_and_one_state(demo_backup, target, empty_store):
    restored(target, io.BytesIO(demo_backup))
    file = io.BytesIO()
    with Load(target) as load:
        load.wait_for(20)
        before = [*load.confirmed]
        said = taken(target, file)
        after = [*load.confirmed]
        load.wait_for(len(after) + 5)

    copy = empty_store(target.dialect)
    restored(copy, file)

    assert len(after) > len(before), "nobody wrote while the backup was taken"
    assert missing_from(copy, before) == []
    assert missing_from(copy, load.confirmed) != []
    with whole_snapshot(copy, makers.origin()) as unit:
        assert differences(unit, said, tell=untold) == []
    with copy.snapshot(makers.origin()) as unit, target.snapshot(makers.origin()) as standing:
        assert prove(unit).flaws == []
        assert unit.fetch(Site, before[-1]) == standing.fetch(Site, before[-1])
        assert unit.row(journal.HEAD) == (said.organisations[0].journal_position, said.organisations[0].journal_hash)
        chain = unit.rows(journal.ENTRIES_AFTER, after=0, limit=10_000)
        assert chain == standing.rows(journal.ENTRIES_AFTER, after=0, limit=10_000)[: len(chain)]


def test_a_copy_of_the_file_alone_loses_what_was_confirmed_and_the_drill_sees_it(empty_store, tmp_path):
    # The control on SQLite: what a copying program would take.
    store = empty_store("sqlite")
    makers.organisation(store)
    with Load(store) as load:
        load.wait_for(20)
        before = [*load.confirmed]
        shutil.copyfile(store.path, tmp_path / "copied.sqlite3")

    copy = open_store(f"sqlite:///{tmp_path / 'copied.sqlite3'}")
    assert len(missing_from(copy, before)) > 0
    copy.close()


def test_a_backup_that_does_not_show_one_state_is_refused_by_the_drill(demo_backup, empty_store):
    # The control on PostgreSQL: each table as it is when it is its turn.
    store = empty_store("postgresql")
    restored(store, io.BytesIO(demo_backup))
    file = io.BytesIO()
    with Load(store) as load:
        load.wait_for(5)
        before = len(load.confirmed)
        with store.transaction(makers.origin()) as unit:
            take_backup(unit, file, files=NOWHERE, taker=TAKER, tell=lambda _doing: load.wait_for(before + 3))

    assert manifest.check(file, tell=untold).manifest.organisations
    with pytest.raises(Differs):
        restored(empty_store("postgresql"), file)


def test_what_is_read_for_a_backup_cannot_be_written(target):
    makers.organisation(target)
    before = records_of(target)

    with whole_snapshot(target, makers.origin()) as unit, pytest.raises(unit.cursor.connection.Error):
        within(unit, makers.ORGANISATION).cursor.execute("UPDATE organisation SET name = 'x'")
    assert records_of(target) == before
