"""The two databases behind one interface: how connections are opened and transactions are run.

The connection contract. SQLite: a library free of the WAL-reset race (3.51.3, or 3.50.7 or 3.44.6), write-ahead log with full
synchronisation, foreign keys and recursive triggers on, what is deleted overwritten, one writer at a time; an older library gets a rollback
journal with extra synchronisation instead, and reads leave the event loop. PostgreSQL: psycopg 3, UTC, read pool in autocommit.

Whose rows a statement may touch is told to the database before the statement, on every connection of either kind; see
``domain.records.tenancy``.
"""

from __future__ import annotations

import asyncio
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol, cast
from weakref import WeakKeyDictionary

from sqlalchemy.engine import URL, make_url

from domain.errors import StorageBusy
from domain.records.driver_errors import PostgresErrors, SqliteErrors, busy_writing, pause_s, refusal_of
from domain.records.entrance import DIRECTORY, Entrance
from domain.records.journal import Origin
from domain.records.statements import Compiled, DialectName, Row, Statement
from domain.records.tables import make_ready
from domain.records.tenancy import TELL_POSTGRES, Whose, furnish
from domain.records.unit import Overtaken, Unit, sealed

BUSY_TIMEOUT_MS = 5000
CACHE_KIB = 65536
SAFE_SQLITE = ((3, 44, 6), (3, 50, 7), (3, 51, 3))
TRIES = 4
"""How often a unit is run before a conflict between transactions is given back to the caller."""
PATIENCE_S = 6.0
"""How long after its first run a unit is run again at most [s]."""
POOL_WAIT_S = 1.0
"""How long a request waits for a connection to PostgreSQL [s]; whoever would wait longer is better told to come back."""
RECONNECT_S = 2.0
"""How long the pool tries by itself to reach PostgreSQL again [s]; afterwards each request makes it try."""
NETWORK: Mapping[str, int] = {
    "connect_timeout": 3,
    "tcp_user_timeout": 10_000,
    "keepalives_idle": 5,
    "keepalives_interval": 2,
    "keepalives_count": 3,
}
"""When the way to PostgreSQL counts as broken: libpq's parameters [s, the second in ms]; the systems' own patience is hours."""
SESSION: Mapping[str, str] = {
    "timezone": "UTC",
    "statement_timeout": "5s",
    "lock_timeout": "2s",
    "idle_in_transaction_session_timeout": "10s",
}
"""What holds on the service's connections to PostgreSQL; ``Unit.take_time`` gives one transaction more."""


class Store(Protocol):
    """A database of Reedbed's."""

    dialect: DialectName

    @property
    def needs_restart(self) -> bool:
        """Whether the storage has failed so that the database can be used again only by a process that is started anew."""

    def transaction(self, origin: Origin) -> AbstractContextManager[Unit]:
        """Open a writing transaction; its journal entries are sealed and it is committed when the block ends without an error."""

    def snapshot(self, origin: Origin) -> AbstractContextManager[Unit]:
        """Open a reading transaction: one state of the records, whatever others write meanwhile. It cannot change anything."""

    async def read(self, statement: Statement, *, organisation_id: int, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Return the rows of one reading statement about an organisation as the driver gives them."""

    async def enter(self, entrance: Entrance, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Return the rows of a statement that runs before it is known whose request it is, as the driver gives them."""

    def organisations(self) -> list[Row]:
        """Return every organisation of the installation: number, name, currency, instant of creation."""

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
        TookTooLong: The database ended the transaction because it took longer than it may.
        StorageFailed: The storage does not work, and another try will not help.
    """
    last_at = time.monotonic() + PATIENCE_S
    tried = 0
    while True:
        tried += 1
        try:
            with store.transaction(origin) as unit:
                return work(unit)
        except Overtaken as overtaken:
            if tried == TRIES or time.monotonic() > last_at:
                raise refusal_of(overtaken) from overtaken
        time.sleep(pause_s(tried))


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
        self._errors = SqliteErrors(self.driver, path)
        self._refusals = self._errors.as_refusals
        self.writer_wait_s = BUSY_TIMEOUT_MS / 1000
        self._writing = threading.Lock()
        self._reading = threading.Lock()
        self._writer = self.connect()
        self._written = self.furnish(self._writer)
        self._reader: Any = None
        self._read_of = Whose()
        self._door: Any = None
        self._spare: list[tuple[Any, Whose]] = []

    @property
    def needs_restart(self) -> bool:
        """Whether the file was given up; see ``SqliteErrors``."""
        return self._errors.given_up

    def connect(self) -> Any:  # noqa: ANN401 - a DB-API connection of either driver
        """Return a connection that keeps the contract of this module."""
        with self._refusals():
            return self._connected()

    def _connected(self) -> Any:  # noqa: ANN401 - a DB-API connection of either driver
        connection = self.driver.connect(str(self.path), isolation_level=None, check_same_thread=False)
        journal_mode, synchronous = ("WAL", "FULL") if self.write_ahead else ("DELETE", "EXTRA")
        for pragma in (
            f"busy_timeout={BUSY_TIMEOUT_MS}",
            f"journal_mode={journal_mode}",
            f"synchronous={synchronous}",
            "foreign_keys=ON",
            "recursive_triggers=ON",
            "secure_delete=ON",
            "trusted_schema=OFF",
            f"cache_size=-{CACHE_KIB}",
        ):
            connection.execute(f"PRAGMA {pragma}").fetchall()
        return connection

    def furnish(self, connection: Any) -> Whose:  # noqa: ANN401 - a DB-API connection of either driver
        """Put the guards of the tenant on a connection."""
        return furnish(connection)

    def compiled(self, statement: Statement) -> Compiled:
        """Return a statement as it is run here."""
        return statement.on(self.dialect)

    @contextmanager
    def transaction(self, origin: Origin) -> Iterator[Unit]:
        """Open a writing transaction; see ``Store``.

        Raises:
            StorageBusy: Another one of this process went on for longer than one of another process would be waited for.
        """
        with self._alone(), self._refusals():
            cursor = self._writer.cursor()
            cursor.execute("BEGIN IMMEDIATE")
            self._written.organisation_id = origin.organisation_id
            try:
                with sealed(Unit(cursor, dialect=self.dialect, origin=origin, compiled=self.compiled)) as unit:
                    yield unit
                with self._errors.at_commit():
                    cursor.execute("COMMIT")
            except BaseException:
                if self._writer.in_transaction:
                    cursor.execute("ROLLBACK")
                raise
            finally:
                cursor.close()

    @contextmanager
    def _alone(self) -> Iterator[None]:
        if not self._writing.acquire(timeout=self.writer_wait_s):
            raise busy_writing()
        try:
            yield
        finally:
            self._writing.release()

    @contextmanager
    def snapshot(self, origin: Origin) -> Iterator[Unit]:
        """Open a reading transaction on a connection of its own; see ``Store``."""
        with self._refusals():
            connection, whose = self._spare_reader()
            try:
                whose.organisation_id = origin.organisation_id
                cursor = connection.cursor()
                cursor.execute("BEGIN")
                yield Unit(cursor, dialect=self.dialect, origin=origin, compiled=self.compiled)
                cursor.execute("ROLLBACK")
                cursor.close()
            except BaseException:
                connection.close()
                raise
            self._spare.append((connection, whose))

    async def read(self, statement: Statement, *, organisation_id: int, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Read on the event loop where readers never wait for a writer, else in a thread; see ``Store``."""
        parameters["organisation_id"] = organisation_id
        if self.write_ahead:
            return self._read(statement, parameters)
        return await asyncio.to_thread(self._read, statement, parameters)

    async def enter(self, entrance: Entrance, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Read at the door; see ``Store``."""
        if self.write_ahead:
            return self._enter(entrance, parameters)
        return await asyncio.to_thread(self._enter, entrance, parameters)

    def organisations(self) -> list[Row]:
        """Return every organisation; see ``Store``."""
        compiled = DIRECTORY[self.dialect].on(self.dialect)
        return [compiled.python_row(row) for row in self._enter(DIRECTORY, {})]

    def _read(self, statement: Statement, parameters: dict[str, Any]) -> list[Row]:
        compiled = self.compiled(statement)
        with self._reading, self._refusals():
            if self._reader is None:
                self._reader, self._read_of = self._furnished_reader()
            self._read_of.organisation_id = parameters["organisation_id"]
            rows: list[Row] = self._reader.execute(compiled.sql, compiled.bound(parameters)).fetchall()
        return compiled.own(rows, parameters["organisation_id"])

    def _enter(self, entrance: Entrance, parameters: dict[str, Any]) -> list[Row]:
        compiled = entrance[self.dialect].on(self.dialect)
        with self._reading, self._refusals():
            if self._door is None:
                door = self.connect()
                door.execute("PRAGMA query_only=ON").fetchall()
                self._door = door
            rows: list[Row] = self._door.execute(compiled.sql, compiled.bound(parameters)).fetchall()
            return rows

    def _spare_reader(self) -> tuple[Any, Whose]:
        """Return a reading connection that nobody uses; furnishing a new one takes milliseconds."""
        with suppress(IndexError):
            return self._spare.pop()
        return self._furnished_reader()

    def _furnished_reader(self) -> tuple[Any, Whose]:
        """Return a new reading connection with its guards; one that they could not be put on is not kept."""
        connection = self.connect()
        try:
            whose = self.furnish(connection)
            connection.execute("PRAGMA query_only=ON").fetchall()
        except BaseException:
            connection.close()
            raise
        return connection, whose

    async def open(self) -> None:
        """Nothing is to be opened."""

    async def close_reads(self) -> None:
        """Nothing was opened."""

    def close(self) -> None:
        """Close all connections, but for the writing one where its transaction does not end: the end of the process undoes that."""
        with suppress(StorageBusy), self._alone():
            self._writer.close()
        with self._reading:
            for connection in (self._reader, self._door, *(spare for spare, _ in self._spare)):
                if connection is not None:
                    connection.close()
            self._reader = self._door = None
            self._spare.clear()


class PostgresStore:
    """A PostgreSQL database: a pool for writing transactions, and an autocommitting pool for reads on the event loop."""

    dialect: DialectName = "postgresql"

    def __init__(self, url: URL, *, pool_size: int) -> None:
        from domain.records import pools  # noqa: PLC0415 - needs an extra; absent where only SQLite is used

        self.url = url
        self._pools = pools
        self._refusals = PostgresErrors().as_refusals
        self._conninfo = url.set(drivername="postgresql").render_as_string(hide_password=False)
        self._pool_size = pool_size
        self._options = {"options": " ".join(f"-c {name}={value}" for name, value in SESSION.items()), **NETWORK}
        self._writing = pools.WritingPool(
            self._conninfo,
            kwargs=self._options,
            min_size=1,
            max_size=pool_size,
            timeout=POOL_WAIT_S,
            reconnect_timeout=RECONNECT_S,
            open=True,
        )
        self._reading: Any = None
        self._looking: Any = None
        self._read_of: WeakKeyDictionary[Any, int] = WeakKeyDictionary()

    @property
    def needs_restart(self) -> bool:
        """Never: the pools find the server again; see ``Store``."""
        return False

    def pool_figures(self) -> Mapping[str, Mapping[str, int]]:
        """Return what the pools say of themselves, by what they are for."""
        pools = {"reading": self._reading, "writing": self._writing}
        return {name: pool.get_stats() for name, pool in pools.items() if pool is not None}

    @contextmanager
    def transaction(self, origin: Origin) -> Iterator[Unit]:
        """Open a writing transaction; see ``Store``."""
        with (
            self._refusals(),
            self._writing.connection() as connection,
            connection.cursor() as cursor,
        ):
            cursor.execute(self._told(origin.organisation_id))
            with sealed(Unit(cast("Any", cursor), dialect=self.dialect, origin=origin, compiled=self.compiled)) as unit:
                yield unit

    @contextmanager
    def snapshot(self, origin: Origin) -> Iterator[Unit]:
        """Open a reading transaction; see ``Store``."""
        with self._refusals(), self._writing.connection() as connection, connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            cursor.execute(self._told(origin.organisation_id))
            yield Unit(cast("Any", cursor), dialect=self.dialect, origin=origin, compiled=self.compiled)
            connection.rollback()

    async def open(self) -> None:
        """Open the reading connections on the running event loop, and the one by which the database is looked after."""
        self._reading, self._looking = (self._reading_pool(size=size) for size in (self._pool_size, 1))
        await self._reading.open()
        await self._looking.open()

    def _reading_pool(self, *, size: int) -> Any:  # noqa: ANN401 - a pool of a driver that may be absent
        return self._pools.ReadingPool(
            self._conninfo,
            kwargs={**self._options, "autocommit": True},
            min_size=1,
            max_size=size,
            timeout=POOL_WAIT_S,
            reconnect_timeout=RECONNECT_S,
            open=False,
        )

    async def close_reads(self) -> None:
        """Close the reading connections."""
        for pool in (self._reading, self._looking):
            if pool is not None:
                await pool.close()
        self._reading = self._looking = None

    async def read(self, statement: Statement, *, organisation_id: int, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Read on the event loop; see ``Store``.

        A reading connection stays told of one organisation until it is told of another. One whose statement failed is told anew.
        """
        compiled = self.compiled(statement)
        parameters["organisation_id"] = organisation_id
        with self._refusals():
            async with self._reading.connection() as connection:
                if self._read_of.get(connection) != organisation_id:
                    self._read_of.pop(connection, None)
                    await connection.execute(self._told(organisation_id, local=""))
                    self._read_of[connection] = organisation_id
                try:
                    cursor = await connection.execute(compiled.sql, compiled.bound(parameters))
                    rows: list[Row] = await cursor.fetchall()
                except BaseException:
                    self._read_of.pop(connection, None)
                    raise
        return compiled.own(rows, organisation_id)

    async def enter(self, entrance: Entrance, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Read at the door; see ``Store``."""
        return await self._entered(self._reading, entrance, parameters)

    async def look(self, entrance: Entrance) -> list[Row]:
        """Return the rows of a statement by which the service looks after the database, on a connection that no request takes."""
        return await self._entered(self._looking, entrance, {})

    async def _entered(self, pool: Any, entrance: Entrance, parameters: dict[str, Any]) -> list[Row]:  # noqa: ANN401 - a driver's pool
        compiled = entrance[self.dialect].on(self.dialect)
        with self._refusals():
            async with pool.connection() as connection:
                cursor = await connection.execute(compiled.sql, compiled.bound(parameters))
                rows: list[Row] = await cursor.fetchall()
                return rows

    def organisations(self) -> list[Row]:
        """Return every organisation; see ``Store``."""
        compiled = DIRECTORY[self.dialect].on(self.dialect)
        with self._refusals(), self._writing.connection() as connection:
            return [compiled.python_row(row) for row in connection.execute(compiled.sql).fetchall()]

    def compiled(self, statement: Statement) -> Compiled:
        """Return a statement as it is run here."""
        return statement.on(self.dialect)

    def _told(self, organisation_id: int, *, local: str = "LOCAL") -> str:
        return TELL_POSTGRES.format(local=local, organisation_id=organisation_id)

    def close(self) -> None:
        """Close the pool of writing connections."""
        self._writing.close()
