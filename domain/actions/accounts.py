"""Accounts of staff: made with a code to set a password by, reset, ended; and the grants that make an account worth having."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, ended, recorded, referred
from domain.actions.sessions import end_sessions_of
from domain.errors import Conflict
from domain.records.accounts import (
    Account,
    AccountIdentity,
    AccountIdentityStated,
    AccountSecret,
    AccountStated,
    RoleGrant,
    RoleGrantStated,
)
from domain.records.base import table_of
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.permissions import Role
from domain.rules.text import same_name

_account, _grant, _secret, _staff = (table_of(one) for one in (Account, RoleGrant, AccountSecret, Staff))
_at = (_secret.c.organisation_id == sa.bindparam("at_organisation_id"), _secret.c.account_id == sa.bindparam("at_account_id"))

KEEP_SECRET = Statement(sa.insert(_secret))
CHANGE_SECRET = Statement(
    sa.update(_secret)
    .where(*_at)
    .values(
        password_hash=sa.bindparam("new_password_hash"),
        code_sha256=sa.bindparam("new_code_sha256"),
        code_expires_at=sa.bindparam("new_code_expires_at", type_=_secret.c.code_expires_at.type),
    )
)
IDENTITIES_OF_ACCOUNT = Statement(
    sa.select(table_of(AccountIdentity)).where(
        table_of(AccountIdentity).c.organisation_id == sa.bindparam("organisation_id"),
        table_of(AccountIdentity).c.account_id == sa.bindparam("account_id"),
        table_of(AccountIdentity).c.ended_on.is_(None),
    )
)
_administers = sa.or_(
    sa.and_(_staff.c.role == sa.bindparam("administrator", type_=_staff.c.role.type), _staff.c.site_id.is_(None)),
    sa.exists().where(
        _grant.c.organisation_id == _staff.c.organisation_id,
        _grant.c.staff_id == _staff.c.id,
        _grant.c.role == sa.bindparam("administrator", type_=_grant.c.role.type),
        _grant.c.site_id.is_(None),
        _grant.c.ended_on.is_(None),
    ),
)
ADMINISTRATORS = Statement(
    sa.select(_account.c.id)
    .join(_staff, sa.and_(_staff.c.organisation_id == _account.c.organisation_id, _staff.c.id == _account.c.staff_id))
    .where(
        _account.c.organisation_id == sa.bindparam("organisation_id"),
        _account.c.ended_on.is_(None),
        _staff.c.ended_on.is_(None),
        _administers,
    )
)
ANY_ACCOUNT = Statement(
    sa.select(sa.func.count()).select_from(_account).where(_account.c.organisation_id == sa.bindparam("organisation_id"))
)


@dataclass(frozen=True, slots=True)
class Code:
    """What a password may be set by, once, until it expires. Only its SHA-256 comes here."""

    sha256: str
    expires_at: datetime


def register_account(unit: Unit, stated: AccountStated, *, code: Code, record_id: UUID | None = None) -> Account:
    """Make an account for a member of staff, without a password, and return it.

    Raises:
        RuleBroken: There is no such member of staff.
        Conflict: The name to sign in with is taken.
    """
    referred(unit, Staff, stated.staff_id, field="staff_id")
    made = recorded(unit, Account, stated, record_id=record_id, sign_in_name_key=same_name(stated.sign_in_name), password_set_at=None)
    unit.run(KEEP_SECRET, account_id=made.id, password_hash=None, code_sha256=code.sha256, code_expires_at=code.expires_at)
    return made


def reset_account(unit: Unit, account_id: UUID, *, code: Code) -> Account:
    """Void an account's password and end its sessions; a new password is set by the code. Return the account.

    Raises:
        Conflict: The account has ended.
    """
    found = _kept(unit, account_id)
    _change_secret(unit, found, password_hash=None, code=code)
    end_sessions_of(unit, found.id)
    return unit.change(found, {"password_set_at": None}, action="reset_account")


def set_password(unit: Unit, account_id: UUID, *, password_hash: str) -> Account:
    """Keep an account's new password, void its code, end its sessions, and return the account.

    Raises:
        Conflict: The account has ended.
    """
    found = _kept(unit, account_id)
    _change_secret(unit, found, password_hash=password_hash, code=None)
    end_sessions_of(unit, found.id)
    return unit.change(found, {"password_set_at": unit.origin.at}, action="set_password")


def end_account(unit: Unit, account_id: UUID, ending: Ending) -> Account:
    """End an account with its sessions and identities, and return it.

    Raises:
        Conflict: It is the only administrator's.
    """
    found = unit.fetch(Account, account_id)
    closed = ended(unit, found, ending, today=unit.origin.at.date())
    _change_secret(unit, found, password_hash=None, code=None)
    end_sessions_of(unit, found.id)
    for identity in unit.all(AccountIdentity, IDENTITIES_OF_ACCOUNT, account_id=found.id):
        ended(unit, identity, ending, today=unit.origin.at.date())
    refuse_no_administrator(unit)
    return closed


def register_identity(unit: Unit, stated: AccountIdentityStated, *, record_id: UUID | None = None) -> AccountIdentity:
    """Let an account's holder come with another issuer's tokens, and return the identity.

    Raises:
        RuleBroken: There is no such account.
        Conflict: The person is known by another account already.
    """
    referred(unit, Account, stated.account_id, field="account_id")
    return recorded(unit, AccountIdentity, stated, record_id=record_id)


def register_grant(unit: Unit, stated: RoleGrantStated, *, record_id: UUID | None = None) -> RoleGrant:
    """Grant a role to a member of staff and return the grant.

    Raises:
        RuleBroken: There is no such member of staff, or no such site.
    """
    referred(unit, Staff, stated.staff_id, field="staff_id")
    if stated.site_id is not None:
        referred(unit, Site, stated.site_id, field="site_id")
    return recorded(unit, RoleGrant, stated, record_id=record_id)


def end_grant(unit: Unit, grant_id: UUID, ending: Ending) -> RoleGrant:
    """End a grant and return it.

    Raises:
        Conflict: The organisation would be left without an administrator.
    """
    closed = ended(unit, unit.fetch(RoleGrant, grant_id), ending, today=unit.origin.at.date())
    refuse_no_administrator(unit)
    return closed


def refuse_no_administrator(unit: Unit) -> None:
    """Refuse a change after which nobody could administer the organisation any more, unless nobody has an account.

    Raises:
        Conflict: No account of an administrator of the whole organisation would be left.
    """
    if not unit.rows(ADMINISTRATORS, administrator=Role.ADMINISTRATOR) and unit.rows(ANY_ACCOUNT) != [(0,)]:
        sentence = "Nobody could administer the organisation any more. Make somebody else administrator first."
        raise Conflict(sentence, code="last-administrator")


def _kept(unit: Unit, account_id: UUID) -> Account:
    found = unit.fetch(Account, account_id)
    if found.ended_on is not None:
        raise Conflict(f"This account ended on {found.ended_on.isoformat()}.", code="ended")
    return found


def _change_secret(unit: Unit, account: Account, *, password_hash: str | None, code: Code | None) -> None:
    unit.run(
        CHANGE_SECRET,
        at_organisation_id=unit.organisation_id,
        at_account_id=account.id,
        new_password_hash=password_hash,
        new_code_sha256=code.sha256 if code else None,
        new_code_expires_at=code.expires_at if code else None,
    )
