"""The organisations of an installation and the keys that their programs sign in with."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Annotated, ClassVar
from uuid import UUID

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import StringConstraints
from sqlmodel import Field, SQLModel

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, InstantColumn, JsonColumn, Name, UuidColumn, words_of
from domain.rules.permissions import Scope

SERVER_BITS = 40
"""An organisation's number is the server's number times 2 to the 40th plus a sequence: unique across servers, below 2 to the 53rd."""


class OrganisationStated(Stated):
    """An organisation: its name and the currency that its costs are kept in (ISO 4217)."""

    name: Name
    base_currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$", max_length=3)]


class Organisation(OrganisationStated, table=True):
    """The tenant. Everything else belongs to one."""

    __tablename__ = "organisation"

    id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    created_at: datetime = Field(sa_type=InstantColumn)


class Access(StrEnum):
    """What a key's holder may do with the organisation's records."""

    READ = "read"
    WRITE = "write"


class ApiKeyStated(Stated):
    """A key for a program: what it is for, what it may do, until when.

    ``scopes`` says one by one what it may do; without them ``access`` does. It is good for the sites of ``site_ids`` alone, or for all.
    """

    name: Name
    access: Access = Field(default=Access.READ, sa_type=words_of(Access))
    expires_on: Day | None = None
    scopes: Annotated[list[Scope], PydanticField(min_length=1, max_length=len(Scope))] | None = Field(default=None, sa_type=JsonColumn)
    site_ids: Annotated[list[UUID], PydanticField(min_length=1, max_length=200)] | None = Field(default=None, sa_type=JsonColumn)


class ApiKey(Record, ApiKeyStated, table=True):
    """A key. Only the secret's SHA-256 is kept; the public part finds it."""

    __tablename__ = "api_key"
    __table_args__ = (owned_by_organisation(), sa.UniqueConstraint("public_id", name="uq_api_key_public_id"))
    noun: ClassVar[str] = "api_key"

    public_id: str = Field(max_length=24)
    secret_sha256: str = Field(max_length=64)
    successor_of: UUID | None = Field(default=None, sa_type=UuidColumn)


class KeyUse(SQLModel, table=True):
    """When a key was last used, to the hour; not journalled."""

    __tablename__ = "key_use"
    __table_args__ = (owned_by_organisation(), refers_to("api_key", "key_id"))

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    key_id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    last_used_at: datetime = Field(sa_type=InstantColumn)


class Idempotency(SQLModel, table=True):
    """The first answer to a request that bore an Idempotency-Key, kept in the transaction that made it."""

    __tablename__ = "idempotency"
    __table_args__ = (owned_by_organisation(),)

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    key: str = Field(primary_key=True, max_length=200)
    request_sha256: str = Field(max_length=64)
    status: int
    headers: str
    body: bytes
    created_at: datetime = Field(sa_type=InstantColumn)


def organisation_subject(organisation_id: int) -> UUID:
    """Return the id under which the journal speaks of an organisation itself."""
    return UUID(int=organisation_id)
