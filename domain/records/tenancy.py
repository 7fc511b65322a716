"""The tenant, guarded by the database itself.

PostgreSQL keeps row-level security in its schema (the migrations make it) and is told the organisation at the start of each transaction. A
SQLite connection is furnished here: each table is hidden behind a temporary view of the same name that shows one organisation's rows, and
temporary triggers refuse any other's. Statements that write name the table behind the view, ``main.site``; those that read cannot.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa

from domain.records.base import metadata

TELL_POSTGRES = "SET {local} reedbed.organisation = '{organisation_id:d}'"
"""A setting and no query, so that a transaction may still choose its isolation after it."""

REFUSAL = "a row of another organisation"


class Whose:
    """Whose rows a SQLite connection shows and takes. Until it is told, nobody's."""

    def __init__(self) -> None:
        self.organisation_id = 0


def tenant_tables() -> list[sa.Table]:
    """Return every table whose rows belong to an organisation, and the organisations' own."""
    return list(metadata.sorted_tables)


def owner_column(table: sa.Table) -> str:
    """Return the column that says whose a row is."""
    return "id" if table.name == "organisation" else "organisation_id"


def furnish(connection: Any) -> Whose:  # noqa: ANN401 - a DB-API connection of either driver
    """Put the guards between a SQLite connection and its tables, and return what tells them the organisation.

    A table that the schema does not have yet gets no triggers; the store is opened anew once it is migrated.
    """
    whose = Whose()
    connection.create_function("this_organisation", 0, lambda: whose.organisation_id)
    there = {row[0] for row in connection.execute("SELECT name FROM main.sqlite_master WHERE type = 'table'").fetchall()}
    guards = [_view_of(table.name, owner_column(table)) for table in tenant_tables()]
    guards += [guard for table in tenant_tables() if table.name in there for guard in _triggers_of(table.name, owner_column(table))]
    connection.executescript("\n".join(guards))
    return whose


def _view_of(table: str, owner: str) -> str:
    return f"CREATE TEMP VIEW {table} AS SELECT * FROM main.{table} WHERE {owner} = (SELECT this_organisation());"  # noqa: S608 - our names


def _triggers_of(table: str, owner: str) -> Iterator[str]:
    for act, rows in _FOREIGN.items():
        foreign = " OR ".join(f"{row}.{owner} IS NOT this_organisation()" for row in rows)
        yield (
            f"CREATE TEMP TRIGGER {table}_own_{act.lower()} BEFORE {act} ON main.{table} WHEN {foreign} "
            f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END;"
        )


_FOREIGN = {"INSERT": ("NEW",), "UPDATE": ("OLD", "NEW"), "DELETE": ("OLD",)}
