"""Shapes of signing in: sessions and passwords."""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from domain.records.base import Stated
from domain.records.columns import Name

LARGEST_ORGANISATION = 2**53 - 1

Shown = Annotated[str, Field(min_length=1, max_length=1024, json_schema_extra={"format": "password", "writeOnly": True})]
"""A secret that somebody shows. It is in no answer."""
Told = Annotated[str, Field(json_schema_extra={"format": "password"})]
"""A secret that is told once. Only its hash is kept."""
OrganisationNumber = Annotated[int, Field(ge=1, le=LARGEST_ORGANISATION)]


class SignIn(Stated):
    """Who signs in, and the password that shows it."""

    organisation_id: OrganisationNumber
    sign_in_name: Name
    password: Shown


class StartedSession(BaseModel):
    """A session that was just started. ``token`` is told this once; it goes into the header ``Authorization: Bearer``."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    token: Told
    expires_at: AwareDatetime
    staff_id: UUID
    name: str


class Session(BaseModel):
    """A session that goes on. ``current`` is the one that asks; ``last_seen_at`` is exact to five minutes."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    created_at: AwareDatetime
    last_seen_at: AwareDatetime
    expires_at: AwareDatetime
    current: bool


class SessionPage(BaseModel):
    """One's own sessions, newest first. There are never so many that a second page is needed: ``next`` is null."""

    model_config = ConfigDict(extra="forbid")

    items: list[Session]
    next: None


class SigningOut(Stated):
    """Nothing is said besides: an empty object."""


class EndedSession(BaseModel):
    """A session that was just ended; its token is refused from the next request on."""

    model_config = ConfigDict(extra="forbid")

    id: UUID
    ended_at: AwareDatetime


class PasswordByCode(Stated):
    """The account, the code that its holder was told, and the password from now on."""

    organisation_id: OrganisationNumber
    sign_in_name: Name
    code: Shown
    password: Shown


class OwnPassword(Stated):
    """The present password, and the one from now on."""

    current_password: Shown
    password: Shown


class PasswordSet(BaseModel):
    """When the account's password was set."""

    model_config = ConfigDict(extra="forbid")

    account_id: UUID
    password_set_at: AwareDatetime
