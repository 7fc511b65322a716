"""The drivers as the raw handler uses them: statements written by hand, one connection taken for each request."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping
from datetime import UTC
from functools import cache
from pathlib import Path
from typing import Any
from uuid import UUID

import msgspec
import psycopg

from domain.records.engine import SqliteStore
from tests import makers
from tests.postgres_server import dsn

CONNECTIONS = 8
_NAMED = re.compile(r"(?<!:):(\w+)")


class RawSqlite:
    """One connection, opened with the service's pragmas; nothing here gives way to another request."""

    begin, lock, ids_are_bytes = "BEGIN IMMEDIATE", "", True

    def __init__(self, url: str) -> None:
        store = SqliteStore(Path(url.removeprefix("sqlite:///")))
        self._connection = store.connect()
        store.close()

    async def open(self) -> None:
        """Nothing is to be opened."""

    async def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    async def take(self) -> RawSqlite:
        """Return what statements are run on."""
        return self

    def give_back(self, taken: RawSqlite) -> None:
        """Nothing is to be given back."""

    async def rows(self, sql: str, given: Mapping[str, Any]) -> list[Any]:
        """Run a statement and return its rows."""
        text, names = _by_position(sql)
        return self._connection.execute(text, [given[name] for name in names]).fetchall()

    @staticmethod
    def id_in(value: UUID) -> bytes:
        """Return an id as the driver takes it."""
        return value.bytes

    @staticmethod
    def id_out(value: bytes) -> str:
        """Return an id as an answer shows it."""
        digits = value.hex()
        return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"

    @staticmethod
    def instant_in(value: Any) -> str:
        """Return an instant as the driver takes it."""
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    @staticmethod
    def instant_out(value: str) -> str:
        """Return an instant as an answer shows it."""
        return value

    @staticmethod
    def date_in(value: Any) -> str | None:
        """Return a date as the driver takes it."""
        return None if value is None else value.isoformat()


class _Taken:
    def __init__(self, connection: psycopg.AsyncConnection[Any]) -> None:
        self.connection = connection

    async def rows(self, sql: str, given: Mapping[str, Any]) -> list[Any]:
        cursor = await self.connection.execute(_percent(sql), given)
        return await cursor.fetchall() if cursor.description else []


OPTIONS = f"-c timezone=UTC -c reedbed.organisation={makers.ORGANISATION}"
"""The policies have to see an organisation; the least work is to say it once for all connections."""


class RawPostgres:
    """A few open connections, the last one used taken first."""

    begin, lock, ids_are_bytes = "BEGIN", " FOR UPDATE", False

    def __init__(self, url: str) -> None:
        self._url = dsn(url)
        self._free: asyncio.LifoQueue[_Taken] = asyncio.LifoQueue()

    async def open(self) -> None:
        """Open the connections."""
        for _ in range(CONNECTIONS):
            opened = await psycopg.AsyncConnection.connect(self._url, autocommit=True, options=OPTIONS)
            self._free.put_nowait(_Taken(opened))

    async def close(self) -> None:
        """Close the connections."""
        while not self._free.empty():
            await self._free.get_nowait().connection.close()

    async def take(self) -> _Taken:
        """Return what statements are run on."""
        return await self._free.get()

    def give_back(self, taken: _Taken) -> None:
        """Let another request have it."""
        self._free.put_nowait(taken)

    @staticmethod
    def id_in(value: UUID) -> UUID:
        """Return an id as the driver takes it."""
        return value

    id_out = date_in = instant_in = id_in

    @staticmethod
    def instant_out(value: Any) -> str:
        """Return an instant as an answer shows it."""
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


RawDatabase = RawSqlite | RawPostgres


def raw_database(url: str) -> RawDatabase:
    """Return the raw way to the database at a URL."""
    return RawSqlite(url) if url.startswith("sqlite") else RawPostgres(url)


def text_of(value: Any) -> str:
    """Return a JSON value's text with its names in one order."""
    return msgspec.json.encode(value, order="deterministic").decode()


@cache
def _by_position(sql: str) -> tuple[str, tuple[str, ...]]:
    return _NAMED.sub("?", sql), tuple(_NAMED.findall(sql))


@cache
def _percent(sql: str) -> str:
    return _NAMED.sub(r"%(\1)s", sql)
