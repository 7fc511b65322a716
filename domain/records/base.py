"""What every stored record has in common, and the naming of its constraints."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any, ClassVar, cast
from uuid import UUID

import sqlalchemy as sa
from pydantic import BaseModel, ConfigDict
from sqlmodel import Field, SQLModel

from domain.records.columns import InstantColumn, Name, UuidColumn

metadata = SQLModel.metadata
metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_1_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Stated(SQLModel):
    """What a person or a file may say; unknown fields and silent conversions are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)  # type: ignore[assignment]

    # SQLModel's own __init__ would make pydantic hand JSON over as Python values, and lose the strict reading of JSON.
    __init__ = BaseModel.__init__


class Record(SQLModel):
    """What the system sets on every record. The organisation stands first in every key."""

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    version: int = 1
    created_at: datetime = Field(sa_type=InstantColumn)
    ended_on: date | None = None
    end_reason: Name | None = None

    __init__ = SQLModel.__init__

    noun: ClassVar[str]
    """The record's name in the journal and in sentences; also its table's name."""
    personal: ClassVar[frozenset[str]] = frozenset()
    """The columns that hold a person's particulars: texts, of which the journal's chain holds only salted hashes."""
    disclaimer: ClassVar[str | None] = None
    """What every answer that shows such a record says besides; on records of the law that it is no legal advice."""


def owned_by_organisation() -> sa.ForeignKeyConstraint:
    """Return the foreign key that every tenant table has to its organisation."""
    return sa.ForeignKeyConstraint(["organisation_id"], ["organisation.id"])


def refers_to(table_name: str, column: str) -> sa.ForeignKeyConstraint:
    """Return a foreign key within one organisation: a row cannot even point at a row of another."""
    return sa.ForeignKeyConstraint(["organisation_id", column], [f"{table_name}.organisation_id", f"{table_name}.id"])


def unique_while_kept(table_name: str, *columns: str) -> sa.Index:
    """Return a unique index over the records of an organisation that have not ended."""
    names = ["organisation_id", *columns]
    return sa.Index(
        f"uq_{table_name}_{'_'.join(columns)}",
        *names,
        unique=True,
        sqlite_where=sa.text("ended_on IS NULL"),
        postgresql_where=sa.text("ended_on IS NULL"),
    )


def table_of(record: type[SQLModel]) -> sa.Table:
    """Return the table of a record class."""
    return cast("sa.Table", record.__table__)  # type: ignore[attr-defined]


def columns_of(record: type[SQLModel]) -> list[str]:
    """Return the record's column names in table order."""
    return [column.name for column in table_of(record).columns]


def row_of(record: SQLModel) -> dict[str, Any]:
    """Return the record's columns and their values."""
    return {name: getattr(record, name) for name in columns_of(type(record))}


def all_records() -> Iterator[type[Record]]:
    """Yield every journalled record class."""
    pending = [*Record.__subclasses__()]
    while pending:
        found = pending.pop()
        pending.extend(found.__subclasses__())
        if hasattr(found, "__table__"):
            yield found
