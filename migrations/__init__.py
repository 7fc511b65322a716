"""The schema's history, and how a database is brought to its head. The versions use plain column types only."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection, Engine, make_url

from domain.records.engine import sqlite_driver
from domain.records.tables import metadata

ONE_AT_A_TIME = 0x5EED_BED
"""The advisory lock that keeps two starters from migrating one PostgreSQL database at once."""


def upgrade(url: str, *, revision: str = "head") -> None:
    """Bring the database's schema to a revision. A migration that fails half-way leaves nothing."""
    _run(url, lambda config: command.upgrade(config, revision))


def downgrade(url: str, *, revision: str) -> None:
    """Take the database's schema back to a revision."""
    _run(url, lambda config: command.downgrade(config, revision))


def head() -> str:
    """Return the newest revision that this version of Reedbed knows."""
    found = ScriptDirectory.from_config(_config()).get_current_head()
    if found is None:
        raise LookupError("there is no migration")
    return found


def revision_of(url: str) -> str | None:
    """Return the database's revision, ``None`` for an empty database."""
    engine = engine_at(url)
    try:
        with engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()
    finally:
        engine.dispose()


def differences(url: str) -> list[object]:
    """Return how the database's schema differs from the models; empty when they agree."""
    engine = engine_at(url)
    try:
        with engine.connect() as connection:
            context = MigrationContext.configure(connection, opts={"compare_type": True})
            return list(compare_metadata(context, metadata))
    finally:
        engine.dispose()


def engine_at(url: str) -> Engine:
    """Return an engine for schema work; on SQLite every transaction takes the write lock at once."""
    if make_url(url).get_backend_name() != "sqlite":
        return sa.create_engine(url, poolclass=sa.NullPool)
    engine = sa.create_engine(url, module=sqlite_driver(), poolclass=sa.NullPool)

    @sa.event.listens_for(engine, "connect")
    def _explicit_transactions(connection, _record):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys=OFF")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def _run(url: str, work: object) -> None:
    config = _config()
    engine = engine_at(url)
    try:
        with engine.connect() as connection:
            config.attributes["connection"] = connection
            work(config)  # type: ignore[operator]
    finally:
        engine.dispose()


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent))
    return config
