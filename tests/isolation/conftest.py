"""Databases with two organisations on record, made once for each kind of database and copied for whoever changes them."""

from __future__ import annotations

import copy
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from psycopg.sql import SQL, Identifier

import migrations
from domain.records.engine import Store, open_store
from tests.isolation.layers import ALL, Layers, open_layered
from tests.isolation.world import World, filled
from tests.postgres_server import superuser, url_for


class Place:
    """A kind of database with a template that holds both organisations."""

    def __init__(self, world: World, *, dialect: str) -> None:
        self._world, self.dialect = world, dialect

    @property
    def world(self) -> World:
        """Both organisations, as they are in a fresh copy."""
        return copy.deepcopy(self._world)

    def copied(self) -> Any:
        """Return a context that yields the service's URL and that of a role that no policy holds."""
        raise NotImplementedError

    @contextmanager
    def store(self, layers: Layers = ALL) -> Iterator[Store]:
        """Yield a store with some of the layers over a copy of its own."""
        with self.stores(layers) as (opened, _):
            yield opened

    @contextmanager
    def stores(self, layers: Layers) -> Iterator[tuple[Store, Store]]:
        """Yield a store with some of the layers over a copy of its own, and one with all of them beside it."""
        with self.copied() as (url, unbound_url):
            opened, whole = open_layered(url if layers.database else unbound_url, layers), open_store(url, pool_size=1)
            try:
                yield opened, whole
            finally:
                opened.close()
                whole.close()


class SqlitePlace(Place):
    """Files."""

    def __init__(self, world: World, *, template: Path) -> None:
        super().__init__(world, dialect="sqlite")
        self._template = template

    @contextmanager
    def copied(self) -> Iterator[tuple[str, str]]:
        """Yield the URL of a copy, twice: there is one way into a file."""
        file = self._template.with_name(f"{uuid4().hex}.sqlite3")
        shutil.copy(self._template, file)
        yield f"sqlite:///{file}", f"sqlite:///{file}"
        file.unlink()


class PostgresPlace(Place):
    """Databases of a server."""

    def __init__(self, world: World, *, template: str, server_url: str) -> None:
        super().__init__(world, dialect="postgresql")
        self._template, self.server_url = template, server_url

    @contextmanager
    def copied(self) -> Iterator[tuple[str, str]]:
        """Yield the URLs of a copy: as the service signs in, and as a superuser."""
        name = f"reedbed_isolation_{uuid4().hex}"
        with superuser(self.server_url) as connection:
            statement = SQL("CREATE DATABASE {} TEMPLATE {} STRATEGY file_copy OWNER reedbed_owner")
            connection.execute(statement.format(Identifier(name), Identifier(self._template)))
        try:
            yield url_for(self.server_url, database=name, role="reedbed_service"), url_for(self.server_url, database=name)
        finally:
            with superuser(self.server_url) as connection:
                connection.execute(SQL("DROP DATABASE {} WITH (FORCE)").format(Identifier(name)))


@pytest.fixture(scope="session")
def sqlite_place(tmp_path_factory: pytest.TempPathFactory) -> SqlitePlace:
    """Return where copies of a SQLite file with both organisations are made."""
    file = tmp_path_factory.mktemp("isolation") / "template.sqlite3"
    migrations.upgrade(f"sqlite:///{file}")
    return SqlitePlace(_filled(f"sqlite:///{file}"), template=file)


@pytest.fixture(scope="session")
def postgres_place(postgres_url: str, migrated_template: str) -> Iterator[PostgresPlace]:
    """Yield where copies of a PostgreSQL database with both organisations are made."""
    name = f"reedbed_isolation_template_{uuid4().hex}"
    with superuser(postgres_url) as connection:
        statement = SQL("CREATE DATABASE {} TEMPLATE {} STRATEGY file_copy OWNER reedbed_owner")
        connection.execute(statement.format(Identifier(name), Identifier(migrated_template)))
    world = _filled(url_for(postgres_url, database=name, role="reedbed_service"))
    yield PostgresPlace(world, template=name, server_url=postgres_url)
    with superuser(postgres_url) as connection:
        connection.execute(SQL("DROP DATABASE {} WITH (FORCE)").format(Identifier(name)))


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest) -> Place:
    """Return where copies of a database with both organisations are made, once for each kind of database."""
    found: Place = request.getfixturevalue("sqlite_place" if request.param == "sqlite" else "postgres_place")
    return found


def _filled(url: str) -> World:
    store = open_store(url, pool_size=4)
    try:
        return filled(store)
    finally:
        store.close()
