"""How people sign in: accounts, their secrets, sessions, identities at other issuers, and the roles that staff were granted."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, ClassVar
from uuid import UUID

import sqlalchemy as sa
from pydantic import StringConstraints
from sqlmodel import Field, SQLModel

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import InstantColumn, Name, UuidColumn, words_of
from domain.rules.permissions import Role

Subject = Annotated[str, StringConstraints(pattern=r"^[!-~]+$", min_length=1, max_length=255)]
"""What an issuer calls a person, and what an issuer is called: printable ASCII, compared as it is (OpenID Connect Core, section 2)."""


class AccountStated(Stated):
    """An account: whose it is, and the name that this person signs in with."""

    staff_id: UUID = Field(sa_type=UuidColumn)
    sign_in_name: Name


class Account(Record, AccountStated, table=True):
    """A stored account. ``password_set_at`` is empty until its holder has chosen a password."""

    __tablename__ = "account"
    __table_args__ = (owned_by_organisation(), refers_to("staff", "staff_id"), unique_while_kept("account", "sign_in_name_key"))
    noun: ClassVar[str] = "account"
    personal: ClassVar[frozenset[str]] = frozenset(("sign_in_name", "sign_in_name_key"))

    sign_in_name_key: str
    password_set_at: datetime | None = Field(default=None, sa_type=InstantColumn)


class AccountSecret(SQLModel, table=True):
    """What an account is proved by. In no journal and no answer.

    ``password_hash`` is Argon2id's own text; ``code_sha256`` is of the code with which a password may be set until ``code_expires_at``.
    """

    __tablename__ = "account_secret"
    __table_args__ = (owned_by_organisation(), refers_to("account", "account_id"))

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    account_id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    password_hash: str | None = Field(default=None, max_length=200)
    code_sha256: str | None = Field(default=None, max_length=64)
    code_expires_at: datetime | None = Field(default=None, sa_type=InstantColumn)


class SignInSession(SQLModel, table=True):
    """A session of a person who signed in. Only the token's SHA-256 is kept."""

    __tablename__ = "sign_in_session"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("account", "account_id"),
        sa.UniqueConstraint("organisation_id", "token_sha256", name="uq_sign_in_session_token"),
    )

    organisation_id: int = Field(primary_key=True, sa_type=sa.BigInteger, sa_column_kwargs={"autoincrement": False})
    id: UUID = Field(primary_key=True, sa_type=UuidColumn)
    account_id: UUID = Field(sa_type=UuidColumn)
    token_sha256: str = Field(max_length=64)
    created_at: datetime = Field(sa_type=InstantColumn)
    last_seen_at: datetime = Field(sa_type=InstantColumn)
    expires_at: datetime = Field(sa_type=InstantColumn)
    ended_at: datetime | None = Field(default=None, sa_type=InstantColumn)


class AccountIdentityStated(Stated):
    """Who an account's holder is to another issuer of tokens: its ``iss`` and the person's ``sub`` there."""

    account_id: UUID = Field(sa_type=UuidColumn)
    issuer: Subject
    subject: Subject


class AccountIdentity(Record, AccountIdentityStated, table=True):
    """A stored identity."""

    __tablename__ = "account_identity"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("account", "account_id"),
        unique_while_kept("account_identity", "issuer", "subject"),
    )
    noun: ClassVar[str] = "account_identity"
    personal: ClassVar[frozenset[str]] = frozenset(("subject",))


class RoleGrantStated(Stated):
    """A role granted to a member of staff beyond the one of their own record, at a site or, without one, in the whole organisation."""

    staff_id: UUID = Field(sa_type=UuidColumn)
    role: Role = Field(sa_type=words_of(Role))
    site_id: UUID | None = Field(default=None, sa_type=UuidColumn)


class RoleGrant(Record, RoleGrantStated, table=True):
    """A stored grant."""

    __tablename__ = "role_grant"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("staff", "staff_id"),
        refers_to("site", "site_id"),
        sa.Index("ix_role_grant_staff", "organisation_id", "staff_id"),
    )
    noun: ClassVar[str] = "role_grant"
