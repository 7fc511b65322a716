"""Changing a database behind the service's back, as somebody with its files or its superuser could: no guard and no foreign key holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import msgspec
import psycopg

from domain.actions.verify import Proof, prove
from domain.records import journal
from domain.records.statements import json_text
from domain.records.unit import Unit
from tests import makers
from tests.postgres_server import dsn, url_for

Run = Callable[..., list[Any]]


class Behind:
    """A plain connection to a database. What is done in ``undone`` is seen there alone."""

    def __init__(self, connection: Any, dialect: Any) -> None:
        self._connection = connection
        self.dialect = dialect

    def __call__(self, sql: str, *values: Any) -> list[Any]:
        """Run SQL with values for its ``%s`` and return the rows, if it gives any."""
        cursor = self._connection.cursor()
        cursor.execute(sql if self.dialect == "postgresql" else sql.replace("%s", "?"), values)
        return list(cursor.fetchall()) if cursor.description else []

    def unit(self, *, organisation_id: int = makers.ORGANISATION) -> Unit:
        """Return a unit of this connection's transaction."""
        return Unit(self._connection.cursor(), dialect=self.dialect, origin=makers.origin(organisation_id=organisation_id))

    @contextmanager
    def undone(self) -> Iterator[None]:
        """Take back at the end whatever was done."""
        self("BEGIN")
        try:
            yield
        finally:
            self("ROLLBACK")


@contextmanager
def sqlite_behind(store: Any) -> Iterator[Behind]:
    """Yield a plain connection to the file, whose triggers are dropped."""
    connection = store.connect()
    connection.execute("PRAGMA foreign_keys=OFF").fetchall()
    connection.execute("PRAGMA busy_timeout=100").fetchall()
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    yield Behind(connection, "sqlite")
    connection.close()


@contextmanager
def postgres_behind(store: Any, server_url: str) -> Iterator[Behind]:
    """Yield the superuser's connection; as on a replica, neither triggers nor foreign keys fire on it."""
    with psycopg.connect(dsn(url_for(server_url, database=store.url.database)), autocommit=True) as connection:
        connection.execute("SET session_replication_role = replica")
        yield Behind(connection, "postgresql")


def rehash(run: Run, *, after: int, organisation_id: int = makers.ORGANISATION) -> None:
    """Chain every entry after a position anew, and have the head say so: what whoever owns the database can always do."""
    own = (organisation_id, after)
    [(previous,)] = run("SELECT hash FROM journal WHERE organisation_id = %s AND position = %s", *own)
    last = after
    for last, content in run("SELECT position, content FROM journal WHERE organisation_id = %s AND position > %s ORDER BY position", *own):
        text = json_text({**msgspec.json.decode(content), "position": last, "previous": previous})
        previous = journal.entry_hash(text)
        run(
            "UPDATE journal SET content = %s, hash = %s WHERE organisation_id = %s AND position = %s",
            text,
            previous,
            organisation_id,
            last,
        )
    run("UPDATE journal_head SET position = %s, hash = %s WHERE organisation_id = %s", last, previous, organisation_id)


def proven(store: Any, *, organisation_id: int = makers.ORGANISATION) -> Proof:
    """Return the proof of an organisation."""
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        return prove(unit)
