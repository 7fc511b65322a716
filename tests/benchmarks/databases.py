"""Databases to measure on: files as the service opens them, and a PostgreSQL that keeps what it confirms."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import psycopg
from psycopg.sql import SQL, Identifier

import migrations
from tests.conftest import SERVER_VARIABLE
from tests.postgres_server import SETTINGS, dsn, make_roles, running_server, superuser, url_for

DURABLE = {
    **SETTINGS,
    "fsync": "on",
    "full_page_writes": "on",
    "synchronous_commit": "on",
    "shared_buffers": "1GB",
    "max_wal_size": "4GB",
    "checkpoint_timeout": "30min",
}
SHOWN = ("fsync", "synchronous_commit", "full_page_writes", "shared_buffers", "autovacuum", "jit")


@contextmanager
def durable_server() -> Iterator[str]:
    """Yield the superuser's URL of the server that the environment names, else of one of our own on disk."""
    if given := os.environ.get(SERVER_VARIABLE):
        make_roles(given)
        yield given
        return
    with running_server(settings=DURABLE, place=Path(tempfile.gettempdir())) as url:
        make_roles(url)
        yield url


def server_remark(server_url: str) -> str:
    """Return which server it is and with what settings."""
    with psycopg.connect(dsn(server_url)) as connection:
        shown = [f"{name} {connection.execute(SQL('SHOW {}').format(Identifier(name))).fetchone()[0]}" for name in SHOWN]
        version = connection.info.server_version
    whose = "the one the environment names" if SERVER_VARIABLE in os.environ else "started for this run, on disk"
    return f"{version // 10_000}.{version % 10_000}, {whose}; {', '.join(shown)}"


class SqliteHouse:
    """A folder of SQLite files."""

    name = "sqlite"
    server_url: str | None = None

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._made = 0

    def new(self) -> str:
        """Return the URL of a migrated, empty database."""
        url = self._url()
        migrations.upgrade(url)
        return url

    def copy(self, url: str) -> str:
        """Return the URL of a copy of a database that nobody has open."""
        copied = self._url()
        shutil.copy(url.removeprefix("sqlite:///"), copied.removeprefix("sqlite:///"))
        return copied

    def _url(self) -> str:
        self._made += 1
        return f"sqlite:///{self._folder / f'reedbed-{self._made}.sqlite3'}"


class PostgresHouse:
    """A server's databases. The service signs in to them as it does in use, owning nothing."""

    name = "postgresql"

    def __init__(self, server_url: str) -> None:
        self.server_url: str | None = server_url
        self._server_url = server_url
        self._made: list[str] = []

    def new(self) -> str:
        """Return the URL of a migrated, empty database."""
        name = self._create("template1")
        migrations.upgrade(url_for(self._server_url, database=name, role="reedbed_owner"))
        return url_for(self._server_url, database=name, role="reedbed_service")

    def copy(self, url: str) -> str:
        """Return the URL of a copy of a database that nobody has open."""
        name = self._create(url.rpartition("/")[2])
        return url_for(self._server_url, database=name, role="reedbed_service")

    def close(self) -> None:
        """Drop every database that was made here."""
        with superuser(self._server_url) as connection:
            for name in self._made:
                connection.execute(SQL("DROP DATABASE {} WITH (FORCE)").format(Identifier(name)))

    def _create(self, template: str) -> str:
        name = f"reedbed_benchmark_{uuid4().hex}"
        with superuser(self._server_url) as connection:
            connection.execute(SQL("CREATE DATABASE {} TEMPLATE {} OWNER reedbed_owner").format(Identifier(name), Identifier(template)))
        self._made.append(name)
        return name


House = SqliteHouse | PostgresHouse
