"""The two databases behind one interface: how connections are opened, transactions are run, and driver errors become refusals.

The connection contract. SQLite: a library free of the WAL-reset race (3.51.3, or 3.50.7 or 3.44.6), write-ahead log with full
synchronisation, foreign keys and recursive triggers on, one writer at a time; an older library gets a rollback journal with extra
synchronisation instead, and reads leave the event loop. PostgreSQL: psycopg 3, UTC, read pool in autocommit.
"""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol, cast

from sqlalchemy.engine import URL, make_url

from domain.errors import Conflict, StorageBusy
from domain.records.journal import Origin
from domain.records.statements import DialectName, Row, Statement
from domain.records.tables import make_ready
from domain.records.unit import Overtaken, Unit, sealed

BUSY_TIMEOUT_MS = 5000
CACHE_KIB = 65536
SAFE_SQLITE = ((3, 44, 6), (3, 50, 7), (3, 51, 3))
TRIES = 4
"""How often a unit is run before a conflict between transactions is given back to the caller."""


class Store(Protocol):
    """A database of Reedbed's."""

    dialect: DialectName

    def transaction(self, origin: Origin) -> AbstractContextManager[Unit]:
        """Open a writing transaction; its journal entries are sealed and it is committed when the block ends without an error."""

    def snapshot(self, origin: Origin) -> AbstractContextManager[Unit]:
        """Open a reading transaction: one state of the records, whatever others write meanwhile. It cannot change anything."""

    async def read(self, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Return the rows of one reading statement as the driver gives them. ``organisation_id`` has to be among the parameters."""

    async def open(self) -> None:
        """Make the store ready for ``read`` on the running event loop."""

    async def close_reads(self) -> None:
        """Give back what ``open`` took."""

    def close(self) -> None:
        """Give back all connections."""


def open_store(url: str, *, pool_size: int = 8) -> Store:
    """Return the store at a database URL: ``sqlite:///path/to/file`` or ``postgresql://user@host/name``."""
    make_ready()
    target = make_url(url)
    if target.get_backend_name() == "sqlite":
        return SqliteStore(Path(target.database or "reedbed.sqlite3"))
    return PostgresStore(target, pool_size=pool_size)


def run_unit(store: Store, work: Callable[[Unit], Any], *, origin: Origin) -> Any:  # noqa: ANN401 - whatever the work returns
    """Run ``work`` in a transaction, and the whole of it again where another transaction came between.

    Raises:
        StorageBusy: The database could not be asked in time, or the transactions kept coming between.
    """
    for _ in range(TRIES):
        try:
            with store.transaction(origin) as unit:
                return work(unit)
        except Overtaken:
            continue
    raise StorageBusy("The record is being changed by others just now; nothing was changed. Please try again.")


def sqlite_driver() -> ModuleType:
    """Return the SQLite driver with a safe library where one is installed, else the one of the standard library."""
    if safe_sqlite(sqlite3.sqlite_version_info):
        return sqlite3
    try:
        from pysqlite3 import dbapi2  # noqa: PLC0415 - only where the standard library's is not safe
    except ImportError:
        return sqlite3
    return cast("ModuleType", dbapi2)


def safe_sqlite(version: tuple[int, ...]) -> bool:
    """Return whether a SQLite version is free of the WAL-reset race.

    Source:
        sqlite.org, "Write-Ahead Logging", section on the WAL-reset bug.
    """
    same_branch = [fixed for fixed in SAFE_SQLITE if fixed[:2] == version[:2]]
    return version >= min(same_branch, default=SAFE_SQLITE[-1])


class SqliteStore:
    """One SQLite file: one writing connection behind a lock, one reading connection that cannot write."""

    dialect: DialectName = "sqlite"

    def __init__(self, path: Path) -> None:
        self.path = path
        self.driver = sqlite_driver()
        self.write_ahead = safe_sqlite(self.driver.sqlite_version_info)
        self._writing = threading.Lock()
        self._reading = threading.Lock()
        self._writer = self.connect()
        self._reader: Any = None

    def connect(self) -> Any:  # noqa: ANN401 - a DB-API connection of either driver
        """Return a connection that keeps the contract of this module."""
        connection = self.driver.connect(str(self.path), isolation_level=None, check_same_thread=False)
        journal_mode, synchronous = ("WAL", "FULL") if self.write_ahead else ("DELETE", "EXTRA")
        for pragma in (
            f"busy_timeout={BUSY_TIMEOUT_MS}",
            f"journal_mode={journal_mode}",
            f"synchronous={synchronous}",
            "foreign_keys=ON",
            "recursive_triggers=ON",
            "trusted_schema=OFF",
            f"cache_size=-{CACHE_KIB}",
        ):
            connection.execute(f"PRAGMA {pragma}").fetchall()
        return connection

    @contextmanager
    def transaction(self, origin: Origin) -> Iterator[Unit]:
        """Open a writing transaction; see ``Store``."""
        with self._writing, self._refusals():
            cursor = self._writer.cursor()
            cursor.execute("BEGIN IMMEDIATE")
            try:
                with sealed(Unit(cursor, dialect=self.dialect, origin=origin)) as unit:
                    yield unit
                cursor.execute("COMMIT")
            except BaseException:
                if self._writer.in_transaction:
                    cursor.execute("ROLLBACK")
                raise
            finally:
                cursor.close()

    @contextmanager
    def snapshot(self, origin: Origin) -> Iterator[Unit]:
        """Open a reading transaction on a connection of its own; see ``Store``."""
        with self._refusals():
            connection = self.connect()
            try:
                connection.execute("PRAGMA query_only=ON").fetchall()
                cursor = connection.cursor()
                cursor.execute("BEGIN")
                yield Unit(cursor, dialect=self.dialect, origin=origin)
            finally:
                connection.close()

    async def read(self, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Read on the event loop where readers never wait for a writer, else in a thread; see ``Store``."""
        if self.write_ahead:
            return self._read(statement, parameters)
        return await asyncio.to_thread(self._read, statement, parameters)

    def _read(self, statement: Statement, parameters: dict[str, Any]) -> list[Row]:
        compiled = statement.on(self.dialect)
        with self._reading, self._refusals():
            if self._reader is None:
                self._reader = self.connect()
                self._reader.execute("PRAGMA query_only=ON").fetchall()
            rows: list[Row] = self._reader.execute(compiled.sql, compiled.bound(parameters)).fetchall()
            return rows

    async def open(self) -> None:
        """Nothing is to be opened."""

    async def close_reads(self) -> None:
        """Nothing was opened."""

    def close(self) -> None:
        """Close both connections."""
        with self._writing, self._reading:
            self._writer.close()
            if self._reader is not None:
                self._reader.close()
                self._reader = None

    @contextmanager
    def _refusals(self) -> Iterator[None]:
        try:
            yield
        except self.driver.IntegrityError as broken:
            conflict = _conflict_of(str(broken))
            if conflict is None:
                raise
            raise conflict from broken
        except self.driver.OperationalError as busy:
            if "locked" in str(busy) or "busy" in str(busy):
                raise StorageBusy("The database is busy; nothing was changed. Please try again.") from busy
            raise


class PostgresStore:
    """A PostgreSQL database: a pool for writing transactions, and an autocommitting pool for reads on the event loop."""

    dialect: DialectName = "postgresql"

    def __init__(self, url: URL, *, pool_size: int) -> None:
        import psycopg  # noqa: PLC0415 - an extra; absent where only SQLite is used
        import psycopg_pool  # noqa: PLC0415

        self.url = url
        self._psycopg, self._pools = psycopg, psycopg_pool
        self._conninfo = url.set(drivername="postgresql").render_as_string(hide_password=False)
        self._pool_size = pool_size
        self._options = {"options": "-c timezone=UTC", "connect_timeout": 3}
        self._writing = psycopg_pool.ConnectionPool(
            self._conninfo, kwargs=self._options, min_size=1, max_size=pool_size, timeout=5, open=True
        )
        self._reading: Any = None

    @contextmanager
    def transaction(self, origin: Origin) -> Iterator[Unit]:
        """Open a writing transaction; see ``Store``."""
        with (
            self._refusals(),
            self._writing.connection() as connection,
            connection.cursor() as cursor,
            sealed(Unit(cast("Any", cursor), dialect=self.dialect, origin=origin)) as unit,
        ):
            yield unit

    @contextmanager
    def snapshot(self, origin: Origin) -> Iterator[Unit]:
        """Open a reading transaction; see ``Store``."""
        with self._refusals(), self._writing.connection() as connection, connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield Unit(cast("Any", cursor), dialect=self.dialect, origin=origin)
            connection.rollback()

    async def open(self) -> None:
        """Open the pool of reading connections on the running event loop."""
        self._reading = self._pools.AsyncConnectionPool(
            self._conninfo,
            kwargs={**self._options, "autocommit": True},
            min_size=1,
            max_size=self._pool_size,
            timeout=5,
            open=False,
        )
        await self._reading.open()

    async def close_reads(self) -> None:
        """Close the pool of reading connections."""
        if self._reading is not None:
            await self._reading.close()
            self._reading = None

    async def read(self, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Read on the event loop; see ``Store``."""
        compiled = statement.on(self.dialect)
        with self._refusals():
            async with self._reading.connection() as connection:
                cursor = await connection.execute(compiled.sql, compiled.bound(parameters))
                rows: list[Row] = await cursor.fetchall()
                return rows

    def close(self) -> None:
        """Close the pool of writing connections."""
        self._writing.close()

    @contextmanager
    def _refusals(self) -> Iterator[None]:
        try:
            yield
        except self._psycopg.errors.IntegrityError as broken:
            conflict = _conflict_of(broken.diag.constraint_name or "")
            if conflict is None:
                raise
            raise conflict from broken
        except (self._psycopg.errors.SerializationFailure, self._psycopg.errors.DeadlockDetected) as between:
            raise Overtaken from between
        except (self._pools.PoolTimeout, self._psycopg.OperationalError) as away:
            raise StorageBusy("The database cannot be reached in time. Please try again.") from away


def _conflict_of(constraint: str) -> Conflict | None:
    """Return the refusal behind a broken constraint, ``None`` for one that no request can break."""
    if "FOREIGN KEY" in constraint or constraint.startswith("fk_"):
        return Conflict("It refers to a record that is not there.", code="reference-missing")
    if "UNIQUE" in constraint or constraint.startswith(("uq_", "pk_")):
        field = _unique_field(constraint)
        what = f"this {field.replace('_', ' ')}" if field else "the same name, tag or id"
        return Conflict(f"There is already a record with {what}.", code="already-there", field=field)
    return None


_UNIQUE_FIELDS = {"taxon_name_key": "scientific_name", "name_key": "name", "tag_key": "tag", "shelf_key": "shelf"}


def _unique_field(constraint: str) -> str:
    """Return the field that has to be unique: of ``uq_site_name_key`` on PostgreSQL, ``..., site.name_key`` on SQLite."""
    column = constraint.rpartition(" ")[2]
    if column.startswith("pk_") or column.endswith(".id"):
        return "id"
    name = column.replace(".", "_")
    return next((field for ending, field in _UNIQUE_FIELDS.items() if name.endswith(ending)), "")
