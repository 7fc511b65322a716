"""Shapes of accounts, of their identities at other issuers, and of the roles that staff were granted."""

from __future__ import annotations

from typing import Annotated

from pydantic import AwareDatetime, Field

from api.bodies.records import Kept, New, Page
from api.bodies.sessions import Told
from domain.records.accounts import AccountIdentityStated, AccountStated, RoleGrantStated, Subject
from domain.records.base import Stated
from domain.records.columns import Id
from domain.rules.permissions import Role


class NewAccount(New, AccountStated):
    """An account to be made for a member of staff."""


class Account(Kept, AccountStated):
    """An account on file."""

    password_set_at: Annotated[AwareDatetime | None, Field(description="When its holder last set a password; null until then.")]


class OpenedAccount(Account):
    """An account that its holder can set a password for, by the code, within three days."""

    code: Annotated[Told | None, Field(description="Told once: null where the answer is given again for an Idempotency-Key.")]
    code_expires_at: AwareDatetime


class AccountPage(Page[Account]):
    """One page of accounts."""


class Resetting(Stated):
    """Nothing is said besides: an empty object."""


class NewAccountIdentity(Stated):
    """Who the account's holder is to another issuer of tokens: its ``iss`` and the person's ``sub`` there."""

    issuer: Subject
    subject: Subject


class AccountIdentity(Kept, AccountIdentityStated):
    """An identity on file."""


class AccountIdentityPage(Page[AccountIdentity]):
    """One page of identities."""


class NewRoleGrant(New):
    """A role to be granted to a member of staff, at a site or, without one, in the whole organisation."""

    role: Role
    site_id: Id | None = None


class RoleGrant(Kept, RoleGrantStated):
    """A grant on file."""


class RoleGrantPage(Page[RoleGrant]):
    """One page of grants."""
