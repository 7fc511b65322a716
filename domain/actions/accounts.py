"""Accounts of staff: made with a code to set a password by, reset, ended; and the grants that make an account worth having."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, ended, recorded, referred
from domain.actions.sessions import STILL_PROVED_BY, end_sessions_of
from domain.errors import Conflict, NotAllowed, NotFound
from domain.records import journal
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
USE_CODE = Statement(
    sa.update(_secret)
    .where(
        *_at,
        _secret.c.code_sha256 == sa.bindparam("at_code_sha256"),
        _secret.c.code_expires_at > sa.bindparam("now", type_=_secret.c.code_expires_at.type),
    )
    .values(code_sha256=None, code_expires_at=None)
)
GRANTS = Statement(
    sa.select(_grant.c.role, _grant.c.site_id).where(
        _grant.c.organisation_id == sa.bindparam("organisation_id"),
        _grant.c.staff_id == sa.bindparam("staff_id"),
        _grant.c.ended_on.is_(None),
    )
)
KEPT_GRANTS = Statement(
    sa.select(_grant).where(
        _grant.c.organisation_id == sa.bindparam("organisation_id"),
        _grant.c.staff_id == sa.bindparam("staff_id"),
        _grant.c.ended_on.is_(None),
    )
)
KEPT_ACCOUNTS = Statement(
    sa.select(_account).where(
        _account.c.organisation_id == sa.bindparam("organisation_id"),
        _account.c.staff_id == sa.bindparam("staff_id"),
        _account.c.ended_on.is_(None),
    )
)
OWN_ACCOUNT = Statement(
    sa.select(_account.c.sign_in_name, _secret.c.password_hash)
    .join(_secret, sa.and_(_secret.c.organisation_id == _account.c.organisation_id, _secret.c.account_id == _account.c.id))
    .where(
        _account.c.organisation_id == sa.bindparam("organisation_id"),
        _account.c.id == sa.bindparam("id"),
        _account.c.staff_id == sa.bindparam("staff_id"),
        _account.c.ended_on.is_(None),
    )
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
        NotAllowed: It would be one's own, or the person has powers where the origin does not reach.
        Conflict: The name to sign in with is taken.
    """
    referred(unit, Staff, stated.staff_id, field="staff_id")
    refuse_oneself(unit, stated.staff_id)
    _refuse_mightier(unit, stated.staff_id)
    made = recorded(unit, Account, stated, record_id=record_id, sign_in_name_key=same_name(stated.sign_in_name), password_set_at=None)
    unit.run(KEEP_SECRET, account_id=made.id, password_hash=None, code_sha256=code.sha256, code_expires_at=code.expires_at)
    return made


def reset_account(unit: Unit, account_id: UUID, *, code: Code) -> Account:
    """Void an account's password and end its sessions; a new password is set by the code. Return the account.

    Raises:
        NotAllowed: It is one's own, or the holder has powers where the origin does not reach.
        Conflict: The account has ended.
    """
    found = _others(unit, account_id)
    _change_secret(unit, found, password_hash=None, code=code)
    end_sessions_of(unit, found.id)
    return unit.leave(found, {"password_set_at": None}, action="reset_account")


def set_password(unit: Unit, account_id: UUID, *, password_hash: str, but: UUID | None = None) -> Account:
    """Keep an account's new password, void its code, end its sessions ``but`` one, and return the account.

    Raises:
        Conflict: The account has ended.
    """
    found = _kept(unit, account_id)
    _change_secret(unit, found, password_hash=password_hash, code=None)
    end_sessions_of(unit, found.id, but=but)
    return unit.leave(found, {"password_set_at": unit.origin.at}, action="set_password")


def change_password(unit: Unit, account_id: UUID, *, proved_by: str, password_hash: str, but: UUID | None) -> Account | None:
    """Set a password where the present one was shown, whose hash is ``proved_by``; ``None`` where it is not the present one any more."""
    if not unit.rows(STILL_PROVED_BY, account_id=account_id, password_hash=proved_by):
        return None
    return set_password(unit, account_id, password_hash=password_hash, but=but)


def set_password_by_code(unit: Unit, account_id: UUID, *, code_sha256: str, password_hash: str) -> Account | None:
    """Use up a code and keep the password that was set by it; ``None`` where the code is not good any more."""
    used = {"at_organisation_id": unit.organisation_id, "at_account_id": account_id, "at_code_sha256": code_sha256}
    if unit.run(USE_CODE, **used, now=unit.origin.at) == 0:
        return None
    return set_password(unit, account_id, password_hash=password_hash)


def end_account(unit: Unit, account_id: UUID, ending: Ending) -> Account:
    """End an account with its sessions and identities, and return it.

    Raises:
        NotAllowed: It is one's own, or the holder has powers where the origin does not reach.
        Conflict: It has ended, or it is the only administrator's.
    """
    found = _others(unit, account_id)
    with keeping_an_administrator(unit):
        return _closed(unit, found, ending)


def end_access_of(unit: Unit, staff_id: UUID, ending: Ending) -> None:
    """End the accounts and the grants of a member of staff who leaves."""
    for account in unit.all(Account, KEPT_ACCOUNTS, staff_id=staff_id):
        _closed(unit, account, ending)
    for grant in unit.all(RoleGrant, KEPT_GRANTS, staff_id=staff_id):
        ended(unit, grant, ending, today=unit.origin.at.date())


def _closed(unit: Unit, account: Account, ending: Ending) -> Account:
    """End an account with its secret, its sessions and its identities, and return it."""
    closed = ended(unit, account, ending, today=unit.origin.at.date())
    _change_secret(unit, account, password_hash=None, code=None)
    end_sessions_of(unit, account.id)
    for identity in unit.all(AccountIdentity, IDENTITIES_OF_ACCOUNT, account_id=account.id):
        ended(unit, identity, ending, today=unit.origin.at.date())
    return closed


def register_identity(unit: Unit, stated: AccountIdentityStated, *, record_id: UUID | None = None) -> AccountIdentity:
    """Let an account's holder come with another issuer's tokens, and return the identity.

    Raises:
        NotFound: There is no such account.
        NotAllowed: It is one's own, or the holder has powers where the origin does not reach.
        Conflict: The account has ended, or the person is known by an account already.
    """
    _others(unit, stated.account_id)
    return recorded(unit, AccountIdentity, stated, record_id=record_id)


def end_identity(unit: Unit, account_id: UUID, identity_id: UUID, ending: Ending) -> AccountIdentity:
    """End an identity of an account and return it. Its tokens are refused from the next request on.

    Raises:
        NotFound: The account has no such identity.
        NotAllowed: The holder has powers where the origin does not reach.
    """
    found = unit.fetch(AccountIdentity, identity_id)
    if found.account_id != account_id:
        raise NotFound("There is no such account identity.")
    _refuse_mightier(unit, unit.fetch(Account, account_id).staff_id)
    return ended(unit, found, ending, today=unit.origin.at.date())


def register_grant(unit: Unit, stated: RoleGrantStated, *, record_id: UUID | None = None) -> RoleGrant:
    """Grant a role to a member of staff and return the grant. Whoever grants it at the same time waits, and then finds it granted.

    Raises:
        NotFound: There is no such member of staff.
        RuleBroken: There is no such site.
        NotAllowed: It would be to oneself, or at a site that the origin does not reach.
        Conflict: That person left, or has this role there already.
    """
    unit.row(journal.LOCK_HEAD)
    member = unit.fetch(Staff, stated.staff_id)
    if member.ended_on is not None:
        raise Conflict(f"This member of staff left on {member.ended_on.isoformat()}.", code="ended")
    refuse_oneself(unit, member.id)
    if (stated.role, stated.site_id) in unit.rows(GRANTS, staff_id=stated.staff_id):
        raise Conflict("This person has this role there already.", code="granted")
    if stated.site_id is not None:
        referred(unit, Site, stated.site_id, field="site_id")
    return recorded(unit, RoleGrant, stated, record_id=record_id)


def end_grant(unit: Unit, staff_id: UUID, grant_id: UUID, ending: Ending) -> RoleGrant:
    """End a grant and return it. Anybody who may end grants may give up an own one.

    Raises:
        NotFound: That member of staff has no such grant.
        Conflict: It has ended, or the organisation would be left without an administrator.
    """
    found = unit.fetch(RoleGrant, grant_id)
    if found.staff_id != staff_id:
        raise NotFound("There is no such role grant.")
    with keeping_an_administrator(unit):
        return ended(unit, found, ending, today=unit.origin.at.date())


@contextmanager
def keeping_an_administrator(unit: Unit) -> Iterator[None]:
    """Refuse the change in the block if it takes away the last account that could administer the organisation.

    It waits for whoever else is changing records of the organisation: two administrators who end each other leave one of them.

    Raises:
        Conflict: No account of an administrator of the whole organisation would be left.
    """
    there_was = unit.rows(ADMINISTRATORS, administrator=Role.ADMINISTRATOR)
    yield
    unit.row(journal.LOCK_HEAD)
    if there_was and not unit.rows(ADMINISTRATORS, administrator=Role.ADMINISTRATOR):
        sentence = "Nobody could administer the organisation any more. Make somebody else administrator first."
        raise Conflict(sentence, code="last-administrator")


def refuse_oneself(unit: Unit, staff_id: UUID) -> None:
    """Refuse to do to oneself, or have a program do, what only somebody else may do.

    Raises:
        NotAllowed: The origin acts as this member of staff, or on their behalf.
    """
    if unit.origin.actor == f"staff:{staff_id}" or unit.origin.on_behalf_of == staff_id:
        raise NotAllowed("Somebody else has to do this for you.", code="not-for-oneself")


def _refuse_mightier(unit: Unit, staff_id: UUID) -> None:
    """Refuse to open the account of a person whose grants reach further than the origin: whoever holds its code has them all.

    Raises:
        NotAllowed: One of the grants is at a site that the origin does not reach, or for the whole organisation.
    """
    if not all(unit.origin.reach.covers(site_id) for _, site_id in unit.rows(GRANTS, staff_id=staff_id)):
        raise NotAllowed("This person has roles at a site, or in the whole organisation, where you may not do this.", code="other-site")


def _others(unit: Unit, account_id: UUID) -> Account:
    """Return an account in force that is somebody else's, and whose holder reaches no further than the origin."""
    found = unit.fetch_reached(Account, account_id)
    _refuse_ended(found)
    refuse_oneself(unit, found.staff_id)
    _refuse_mightier(unit, found.staff_id)
    return found


def _kept(unit: Unit, account_id: UUID) -> Account:
    found = unit.fetch(Account, account_id)
    _refuse_ended(found)
    return found


def _refuse_ended(account: Account) -> None:
    if account.ended_on is not None:
        raise Conflict(f"This account ended on {account.ended_on.isoformat()}.", code="ended")


def _change_secret(unit: Unit, account: Account, *, password_hash: str | None, code: Code | None) -> None:
    unit.run(
        CHANGE_SECRET,
        at_organisation_id=unit.organisation_id,
        at_account_id=account.id,
        new_password_hash=password_hash,
        new_code_sha256=code.sha256 if code else None,
        new_code_expires_at=code.expires_at if code else None,
    )
