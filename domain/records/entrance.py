"""What is read before it is known whose request it is: the one key that was shown, and the list of organisations.

The service cannot read these tables at large. PostgreSQL lets it call two functions of the owner; on SQLite the store keeps a connection
without guards for these statements and no others.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.columns import InstantColumn, JsonColumn, UuidColumn
from domain.records.organisations import ApiKey, Organisation
from domain.records.statements import DialectName, OpenStatement

Entrance = Mapping[DialectName, OpenStatement]

_key, _organisation = table_of(ApiKey), table_of(Organisation)

KEY_COLUMNS = ("organisation_id", "id", "name", "access", "secret_sha256", "expires_on", "ended_on", "scopes", "site_ids")
_KEY_TYPES: Mapping[str, sa.types.TypeEngine[Any]] = {
    "organisation_id": sa.BigInteger(),
    "id": UuidColumn(),
    "expires_on": sa.Date(),
    "ended_on": sa.Date(),
    "scopes": JsonColumn(),
    "site_ids": JsonColumn(),
}
_function = sa.func.key_at_the_door(sa.bindparam("public_id", type_=sa.Text())).table_valued(
    *(sa.column(name, _KEY_TYPES.get(name, sa.Text())) for name in KEY_COLUMNS)
)

KEY_AT_THE_DOOR: Entrance = {
    "sqlite": OpenStatement(sa.select(*(_key.c[name] for name in KEY_COLUMNS)).where(_key.c.public_id == sa.bindparam("public_id"))),
    "postgresql": OpenStatement(sa.select(*_function.c)),
}
"""The key with a public part that was shown, whosever it is."""

_directory = sa.func.organisation_directory().table_valued(
    sa.column("id", sa.BigInteger()),
    sa.column("name", sa.Text()),
    sa.column("base_currency", sa.Text()),
    sa.column("created_at", InstantColumn()),
)

DIRECTORY: Entrance = {
    "sqlite": OpenStatement(
        sa.select(_organisation.c.id, _organisation.c.name, _organisation.c.base_currency, _organisation.c.created_at).order_by(
            _organisation.c.id
        )
    ),
    "postgresql": OpenStatement(sa.select(*_directory.c).order_by(_directory.c.id)),
}
"""Every organisation of the installation, for the commands of whoever keeps it running."""

_revision = OpenStatement(sa.select(sa.column("version_num", sa.String)).select_from(sa.table("alembic_version")))
SCHEMA_REVISION: Entrance = {"sqlite": _revision, "postgresql": _revision}
