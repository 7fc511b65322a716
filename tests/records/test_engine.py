"""How connections are kept, transactions run again, and what the databases themselves refuse."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import psycopg
import pytest
import sqlalchemy as sa

from domain.actions.taxa import register_taxon
from domain.errors import Conflict, StorageBusy
from domain.records.base import Record, all_records, row_of, table_of
from domain.records.enclosures import Enclosure
from domain.records.engine import TRIES, SqliteStore, Store, open_store, run_unit, safe_sqlite
from domain.records.equipment import EquipmentModel
from domain.records.journal import JournalEntry, JournalHead
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.tables import metadata
from domain.records.taxa import TaxonRank, TaxonStated
from domain.records.unit import Overtaken, Unit
from tests import makers
from tests.postgres_server import dsn, url_for


@pytest.fixture
def service(migrated_template: str, postgres_database: Callable[..., str], postgres_url: str) -> Any:
    """Yield the PostgreSQL connection of the service's role to a migrated database."""
    url = url_for(postgres_url, database=postgres_database(migrated_template), role="reedbed_service")
    with psycopg.connect(dsn(url), autocommit=True) as connection:
        yield connection


@pytest.mark.parametrize(
    ("version", "safe"),
    [
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 44, 9), True),
        ((3, 45, 0), False),
        ((3, 49, 2), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), True),
        ((4, 0, 0), True),
    ],
)
def test_a_sqlite_version_is_safe_from_the_release_that_fixed_its_branch(version, safe):
    assert safe_sqlite(version) is safe


def pragmas_of(connection: Any) -> dict[str, Any]:
    names = (
        *("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "secure_delete", "trusted_schema", "busy_timeout"),
        "cache_size",
    )
    return {name: connection.execute(f"PRAGMA {name}").fetchone()[0] for name in names}


@pytest.mark.parametrize("write_ahead", [True, False])
def test_a_sqlite_connection_keeps_the_contract(tmp_path, write_ahead):
    store = open_store(f"sqlite:///{tmp_path / 'reedbed.sqlite3'}")
    store.close()
    store.write_ahead = write_ahead
    connection = store.connect()

    found = pragmas_of(connection)

    connection.close()
    full, extra = 2, 3
    assert found == {
        "journal_mode": "wal" if write_ahead else "delete",
        "synchronous": full if write_ahead else extra,
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "secure_delete": 1,
        "trusted_schema": 0,
        "busy_timeout": 5000,
        "cache_size": -65536,
    }


def test_the_reading_connection_of_sqlite_cannot_write(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'reedbed.sqlite3'}")
    store._read(Statement(_nothing()), {"organisation_id": makers.ORGANISATION})

    with pytest.raises(store.driver.OperationalError, match="readonly"):
        store._reader.execute("CREATE TABLE pond (depth)")
    store.close()


def _nothing() -> Any:
    return table_of(Site).select().where(False).with_only_columns(1)  # noqa: FBT003 - SQL's own false


def test_a_second_writer_of_sqlite_is_told_that_the_database_is_busy(tmp_path):
    url = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    holder, other = open_store(url), open_store(url)
    other._writer.execute("PRAGMA busy_timeout=1").fetchall()

    with holder.transaction(makers.origin()), pytest.raises(StorageBusy), other.transaction(makers.origin()):
        pass

    with other.transaction(makers.origin()):
        pass
    holder.close()
    other.close()


@pytest.mark.usefixtures("organisation")
def test_a_snapshot_sees_one_state_and_changes_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)

    with store.snapshot(makers.origin()) as reading:
        before = reading.fetch(Site, made.id)
        with store.transaction(makers.origin()) as unit:
            unit.change(made, {"note": "roof leaks"}, action="change_site")
        after = reading.fetch(Site, made.id)
    with pytest.raises(Exception, match=r"read-?only"), store.snapshot(makers.origin()) as reading:
        makers.site(reading, name="Elsewhere")

    assert (before.note, after.note) == ("", "")


class Work:
    """Work that is overtaken a number of times before it succeeds, and leaves a site each time."""

    def __init__(self, *, overtaken: int) -> None:
        self.overtaken = overtaken
        self.runs = 0

    def __call__(self, unit: Unit) -> Site:
        self.runs += 1
        made = makers.site(unit, name=f"Run {self.runs}")
        if self.runs <= self.overtaken:
            raise Overtaken
        return made


def sites(store: Store) -> list[str]:
    table = table_of(Site)
    with store.transaction(makers.origin()) as unit:
        return [name for (name,) in unit.rows(Statement(table.select().with_only_columns(table.c.name)))]


@pytest.mark.usefixtures("organisation")
@pytest.mark.parametrize("overtaken", [0, 1, TRIES - 1])
def test_work_that_is_overtaken_is_run_again_as_a_whole(store: Store, overtaken: int) -> None:
    work = Work(overtaken=overtaken)

    made = run_unit(store, work, origin=makers.origin())

    assert work.runs == overtaken + 1
    assert sites(store) == [made.name] == [f"Run {overtaken + 1}"]


@pytest.mark.usefixtures("organisation")
def test_work_that_is_overtaken_every_time_is_given_back(store: Store) -> None:
    work = Work(overtaken=TRIES)

    with pytest.raises(StorageBusy):
        run_unit(store, work, origin=makers.origin())

    assert work.runs == TRIES
    assert sites(store) == []


@pytest.mark.usefixtures("organisation")
def test_two_writers_of_one_record_both_have_their_change(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
    both_have_begun = threading.Barrier(2, timeout=10)
    runs: list[str] = []

    def write(word: str) -> None:
        def work(unit: Unit) -> None:
            found = unit.fetch(Site, made.id)
            if store.dialect == "postgresql" and runs.count(word) == 0:
                both_have_begun.wait()
            runs.append(word)
            unit.change(found, {"note": f"{found.note} {word}"}, action="change_site")

        run_unit(store, work, origin=makers.origin())

    writers = [threading.Thread(target=write, args=(word,)) for word in ("reed", "sedge")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()

    with store.transaction(makers.origin()) as unit:
        kept = unit.fetch(Site, made.id)
    assert sorted(kept.note.split()) == ["reed", "sedge"]
    assert kept.version == 3
    assert len(runs) == (3 if store.dialect == "postgresql" else 2)


@pytest.mark.usefixtures("organisation")
def test_a_row_cannot_point_at_a_row_of_another_organisation(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        foreign = makers.site(unit)
    own = row_of(
        Enclosure(organisation_id=makers.ORGANISATION, id=uuid4(), created_at=makers.NOON, name="A", name_key="a", site_id=foreign.id)
    )

    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        unit.run(Statement(table_of(Enclosure).insert()), **own)

    assert refused.value.code == "reference-missing"


def test_nothing_can_be_registered_for_an_organisation_that_is_not_there(store: Store) -> None:
    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        makers.site(unit)

    assert refused.value.code == "reference-missing"


@pytest.mark.parametrize("record", sorted(all_records(), key=lambda one: one.noun), ids=lambda one: one.noun)
def test_the_organisation_stands_first_in_every_key(record: type[Record]) -> None:
    table = table_of(record)

    assert next(iter(table.primary_key.columns)).name == "organisation_id"
    for key in table.foreign_key_constraints:
        assert key.column_keys[0] == "organisation_id"
    for index in table.indexes:
        assert next(iter(index.columns)).name == "organisation_id"


@pytest.mark.usefixtures("organisation")
@pytest.mark.parametrize("act", ["UPDATE {journal} SET content = '{{}}'", "DELETE FROM {journal}"])
def test_the_journal_can_be_neither_changed_nor_emptied(store: Store, act: str) -> None:
    behind_the_view = act.format(journal="main.journal" if store.dialect == "sqlite" else "journal")

    with pytest.raises(Exception, match=r"permission denied|append-only"), store.transaction(makers.origin()) as unit:
        unit.cursor.execute(behind_the_view, {})

    with store.transaction(makers.origin()) as unit:
        assert unit.row(Statement(table_of(JournalEntry).select())) is not None


def test_the_services_role_owns_nothing(service):
    owned = service.execute("SELECT relname FROM pg_class WHERE pg_get_userbyid(relowner) = current_user").fetchall()

    assert owned == []


def test_the_services_role_may_delete_only_what_can_be_made_again(service):
    may = {
        act: {
            table.name
            for table in metadata.sorted_tables
            if service.execute("SELECT has_table_privilege(%s, %s)", [table.name, act]).fetchone() == (True,)
        }
        for act in ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE", "REFERENCES", "TRIGGER")
    }

    everything = {table.name for table in metadata.sorted_tables}
    assert may["SELECT"] == may["INSERT"] == everything
    assert may["UPDATE"] == everything - {"journal", "journal_checkpoint", "reading_log"}
    assert may["DELETE"] == {"forecast", "idempotency", "import_file"}
    assert may["TRUNCATE"] == may["REFERENCES"] == may["TRIGGER"] == set()


@pytest.mark.parametrize(
    "act",
    [
        "UPDATE journal SET hash = ''",
        "DELETE FROM journal",
        "TRUNCATE journal CASCADE",
        "DELETE FROM site",
        "DELETE FROM equipment_model",
        "ALTER TABLE journal DISABLE TRIGGER ALL",
        "DROP TABLE journal",
        "CREATE TABLE pond (depth integer)",
    ],
)
def test_the_services_role_is_refused(service, act):
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        service.execute(act)


@pytest.mark.parametrize("act", ["UPDATE journal SET hash = ''", "DELETE FROM journal", "TRUNCATE journal CASCADE"])
def test_the_guard_of_the_journal_holds_for_the_owner_too(migrated_template, postgres_database, postgres_url, act):
    url = url_for(postgres_url, database=postgres_database(migrated_template), role="reedbed_owner")

    with psycopg.connect(dsn(url)) as owner, pytest.raises(psycopg.errors.RaiseException, match="append-only"):
        owner.execute(act)


@pytest.mark.usefixtures("organisation")
def test_a_second_record_of_one_id_is_a_conflict(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.model(unit)

    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        unit.add(EquipmentModel(**{**row_of(made), "name_key": "other"}), action="register_equipment_model")

    assert (refused.value.code, refused.value.faults[0].pointer) == ("already-there", "/id")
    with store.transaction(makers.origin()) as unit:
        assert unit.row(Statement(table_of(JournalHead).select()))[1] == 2


def twice(unit: Unit, name: str) -> None:
    at = makers.site(unit)
    of = makers.model(unit)
    register_taxon(unit, TaxonStated(scientific_name="Anura", rank=TaxonRank.ORDER))
    makers.enclosure(unit, at)
    makers.equipment(unit, of, at)
    makers.spare(unit, of, at)
    again = {
        "site": lambda: makers.site(unit),
        "enclosure": lambda: makers.enclosure(unit, at, name="HALL a  01"),
        "model": lambda: makers.model(unit),
        "taxon": lambda: register_taxon(unit, TaxonStated(scientific_name="ANURA", rank=TaxonRank.ORDER)),
        "equipment": lambda: makers.equipment(unit, of, at),
        "spare": lambda: makers.spare(unit, of, at),
    }
    again[name]()


@pytest.mark.usefixtures("organisation")
@pytest.mark.parametrize(
    ("name", "field"),
    [
        ("site", "name"),
        ("enclosure", "name"),
        ("model", "name"),
        ("taxon", "scientific_name"),
        ("equipment", "tag"),
        ("spare", "shelf"),
    ],
)
def test_what_is_there_already_is_refused_by_its_field(store: Store, name: str, field: str) -> None:
    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        twice(unit, name)

    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(f"/{field}", "already-there")]
    assert field.replace("_", " ") in refused.value.detail


class HalfFurnished(SqliteStore):
    """A store that fails to put the guards on a connection for as long as ``fails``."""

    fails = False

    def furnish(self, connection):
        if self.fails:
            raise self.driver.OperationalError("unable to open database file")
        return super().furnish(connection)


def test_a_connection_without_its_guards_is_never_read_from(tmp_path, migrated_file):
    store = HalfFurnished(Path(shutil.copy(migrated_file, tmp_path)))
    store.fails = True
    for _ in range(2):
        with pytest.raises(store.driver.OperationalError):
            store._read(Statement(_nothing()), {"organisation_id": makers.ORGANISATION})
        with pytest.raises(store.driver.OperationalError), store.snapshot(makers.origin()):
            pass
    store.fails = False
    store._read(Statement(_nothing()), {"organisation_id": makers.ORGANISATION})

    guards = store._reader.execute("SELECT count(*) FROM temp.sqlite_master WHERE type = 'view'").fetchone()
    assert guards == (len(metadata.sorted_tables),)
    assert store._reader.execute("PRAGMA query_only").fetchone() == (1,)
    store.close()


@contextmanager
def writing_elsewhere(store: Store) -> Iterator[None]:
    """Have a transaction go on in another thread until the block ends."""
    has_begun, may_end = threading.Event(), threading.Event()

    def write() -> None:
        with store.transaction(makers.origin()):
            has_begun.set()
            may_end.wait(10)

    thread = threading.Thread(target=write)
    thread.start()
    has_begun.wait(10)
    try:
        yield
    finally:
        may_end.set()
        thread.join()


def test_a_writer_of_sqlite_does_not_wait_for_ever_for_another_of_its_process(tmp_path):
    store = SqliteStore(tmp_path / "reedbed.sqlite3")
    store.writer_wait_s = 0.01

    with writing_elsewhere(store), pytest.raises(StorageBusy) as refused, store.transaction(makers.origin()):
        pass

    assert refused.value.code == "storage-busy"
    with store.transaction(makers.origin()):
        pass
    store.close()


def test_a_store_can_be_closed_though_a_transaction_goes_on_and_leaves_that_one_alone(tmp_path):
    store = SqliteStore(tmp_path / "reedbed.sqlite3")
    store._read(Statement(sa.select(sa.bindparam("organisation_id", type_=sa.Integer))), {"organisation_id": makers.ORGANISATION})
    store.writer_wait_s = 0.01

    with writing_elsewhere(store):
        store.close()

        assert store._writer.in_transaction
        assert store._reader is None
    store._writer.close()
