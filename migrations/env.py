"""Alembic's environment: run by ``migrations.upgrade`` with a connection, or by the alembic command with REEDBED_OWNER_DATABASE_URL."""

from __future__ import annotations

import os
from typing import Literal

import sqlalchemy as sa
from alembic import context
from sqlalchemy.engine import Connection

from domain.records.columns import InstantColumn, JsonColumn, UuidColumn
from domain.records.tables import metadata
from migrations import ONE_AT_A_TIME, engine_at

PLAIN = {
    UuidColumn: 'sa.Uuid().with_variant(sa.LargeBinary(16), "sqlite")',
    InstantColumn: 'sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")',
    JsonColumn: "sa.Text()",
}


def _plain_type(kind: str, item: object, _autogenerate: object) -> str | Literal[False]:
    if kind != "type":
        return False
    if type(item) in PLAIN:
        return PLAIN[type(item)]  # type: ignore[index]
    if type(item).__name__ == "AutoString":
        length = getattr(item, "length", None)
        return f"sa.String({length})" if length else "sa.String()"
    return False


def _migrate(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        compare_type=True,
        render_as_batch=True,
        transactional_ddl=True,
        render_item=_plain_type,
    )
    with context.begin_transaction():
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": ONE_AT_A_TIME})
        context.run_migrations()
        if connection.dialect.name == "sqlite" and connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
            raise RuntimeError("a foreign key would be broken; nothing was migrated")


given = context.config.attributes.get("connection")
if given is not None:
    _migrate(given)
else:
    engine = engine_at(os.environ["REEDBED_OWNER_DATABASE_URL"])
    with engine.connect() as opened:
        _migrate(opened)
    engine.dispose()
