"""Pools of connections to PostgreSQL that hand none out whose server has gone meanwhile. Needs psycopg, which is an extra."""

from __future__ import annotations

from typing import Any

import psycopg
from psycopg_pool import AsyncConnectionPool, ConnectionPool


class WritingPool(ConnectionPool[psycopg.Connection[Any]]):
    """A pool for threads."""

    def getconn(self, timeout: float | None = None) -> psycopg.Connection[Any]:
        """Return a connection; those that have ended while they rested are replaced."""
        while True:
            connection = super().getconn(timeout)
            if not has_ended(connection):
                return connection
            self.putconn(connection)


class ReadingPool(AsyncConnectionPool[psycopg.AsyncConnection[Any]]):
    """A pool for the event loop."""

    async def getconn(self, timeout: float | None = None) -> psycopg.AsyncConnection[Any]:  # noqa: ASYNC109 - as the pool has it
        """Return a connection; those that have ended while they rested are replaced."""
        while True:
            connection = await super().getconn(timeout)
            if not has_ended(connection):
                return connection
            await self.putconn(connection)


def has_ended(connection: psycopg.Connection[Any] | psycopg.AsyncConnection[Any]) -> bool:
    """Return whether the server has ended a connection that rested. It is not asked: its farewell lies there, unread."""
    try:
        # First the farewell, then the end.
        connection.pgconn.consume_input()
        connection.pgconn.consume_input()
    except psycopg.OperationalError:
        return True
    return connection.closed
