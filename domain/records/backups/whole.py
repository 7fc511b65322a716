"""Transactions over every organisation at once: for taking a backup and for restoring one, and for nothing else.

On PostgreSQL such a transaction goes from one organisation to the next, as row-level security demands. On SQLite its connection is not
furnished with the guards that a connection of the service has.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from domain.records.driver_errors import SqliteErrors
from domain.records.engine import SqliteStore, Store
from domain.records.entrance import DIRECTORY
from domain.records.journal import Origin
from domain.records.tenancy import TELL_POSTGRES
from domain.records.unit import Unit


@contextmanager
def whole_snapshot(store: Store, origin: Origin) -> Iterator[Unit]:
    """Open a reading transaction over all organisations: one state, whatever others write meanwhile.

    Where SQLite keeps a rollback journal, because its library has the WAL-reset race, others cannot write until it ends.
    """
    if isinstance(store, SqliteStore):
        with _sqlite(store, origin, pragma="query_only=ON", begin="BEGIN") as unit:
            yield unit
        return
    with store.snapshot(origin) as unit:
        _take_all_time(unit)
        yield unit


@contextmanager
def whole_transaction(store: Store, origin: Origin) -> Iterator[Unit]:
    """Open a writing transaction over all organisations during which nobody else makes one."""
    if isinstance(store, SqliteStore):
        # References are looked at when the transaction ends: a parent may follow its child.
        with _sqlite(store, origin, pragma="defer_foreign_keys=ON", begin="BEGIN IMMEDIATE") as unit:
            yield unit
            unit.cursor.execute("COMMIT", [])
        return
    with store.transaction(origin) as unit:
        _take_all_time(unit)
        unit.cursor.execute("LOCK TABLE organisation IN EXCLUSIVE MODE", {})
        yield unit


def within(unit: Unit, organisation_id: int) -> Unit:
    """Return the same transaction for the rows of one organisation."""
    if unit.dialect == "postgresql":
        unit.cursor.execute(TELL_POSTGRES.format(local="LOCAL", organisation_id=organisation_id), {})
    return Unit(unit.cursor, dialect=unit.dialect, origin=replace(unit.origin, organisation_id=organisation_id))


def directory(unit: Unit) -> list[tuple[int, str]]:
    """Return every organisation's number and name, in order."""
    return [(number, name) for number, name, *_ in unit.rows(DIRECTORY[unit.dialect])]


def _take_all_time(unit: Unit) -> None:
    unit.take_time()
    unit.cursor.execute("SET LOCAL statement_timeout = 0", {})
    # While files are copied the transaction stands idle.
    unit.cursor.execute("SET LOCAL idle_in_transaction_session_timeout = 0", {})


@contextmanager
def _sqlite(store: SqliteStore, origin: Origin, *, pragma: str, begin: str) -> Iterator[Unit]:
    with SqliteErrors(store.driver, store.path).as_refusals():
        connection = store.connect()
        try:
            cursor = connection.cursor()
            cursor.execute(begin)
            cursor.execute(f"PRAGMA {pragma}").fetchall()
            yield Unit(cursor, dialect=store.dialect, origin=origin)
        finally:
            # What was not committed is undone with the connection.
            connection.close()
