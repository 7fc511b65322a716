"""Every connection that the service really uses keeps its database's contract, not only one that was opened to be looked at."""

from __future__ import annotations

import asyncio
import os
import socket
from typing import Any

import pytest

from api.nightly import SITES
from domain.records.engine import NETWORK, safe_sqlite
from tests import makers

pytestmark = pytest.mark.fault

FULL, EXTRA = 2, 3
ON, OFF = 1, 0


@pytest.fixture
def connections(store: Any, organisation: int) -> dict[str, Any]:
    """Return what each connection says about itself."""
    asyncio.run(store.read(SITES, organisation_id=organisation))
    with store.snapshot(makers.origin()) as unit:
        snapshot = stated_by(unit.cursor.connection)
    return {"writing": stated_by(store._writer), "reading": stated_by(store._reader), "snapshot": snapshot}


def stated_by(connection: Any) -> dict[str, Any]:
    names = (
        "journal_mode",
        "synchronous",
        "foreign_keys",
        "recursive_triggers",
        "trusted_schema",
        "busy_timeout",
        "mmap_size",
        "query_only",
    )
    return {name: connection.execute(f"PRAGMA {name}").fetchone()[0] for name in names}


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_every_connection_synchronises_fully_and_guards_its_rows(store, connections):
    for name, stated in connections.items():
        assert stated == {
            "journal_mode": "wal" if store.write_ahead else "delete",
            "synchronous": FULL if store.write_ahead else EXTRA,
            "foreign_keys": ON,
            "recursive_triggers": ON,
            "trusted_schema": OFF,
            "busy_timeout": 5000,
            "mmap_size": 0,
            "query_only": OFF if name == "writing" else ON,
        }


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_the_write_ahead_log_is_used_only_with_a_library_that_is_safe(store):
    assert store.write_ahead is safe_sqlite(store.driver.sqlite_version_info)


def network_of(connection: Any) -> dict[str, int]:
    """Return what the system knows of a connection's patience with a silent network, by libpq's names."""
    with socket.socket(fileno=os.dup(connection.pgconn.socket)) as found:
        if found.family == socket.AF_UNIX or not hasattr(socket, "TCP_USER_TIMEOUT"):
            pytest.skip("this connection to PostgreSQL does not go over a network that can be asked")
        names = {
            "tcp_user_timeout": socket.TCP_USER_TIMEOUT,
            "keepalives_idle": socket.TCP_KEEPIDLE,
            "keepalives_interval": socket.TCP_KEEPINTVL,
            "keepalives_count": socket.TCP_KEEPCNT,
        }
        return {name: found.getsockopt(socket.IPPROTO_TCP, option) for name, option in names.items()}


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_no_connection_to_postgresql_waits_for_a_network_that_says_nothing(store):
    async def of_readers() -> list[dict[str, int]]:
        await store.open()
        try:
            found = []
            for pool in (store._reading, store._looking):
                async with pool.connection() as connection:
                    found.append(network_of(connection))
            return found
        finally:
            await store.close_reads()

    with store.snapshot(makers.origin()) as unit:
        of_writer = network_of(unit.cursor.connection)

    expected = {name: value for name, value in NETWORK.items() if name != "connect_timeout"}
    assert [of_writer, *asyncio.run(of_readers())] == [expected] * 3
    assert expected["tcp_user_timeout"] <= 10_000
