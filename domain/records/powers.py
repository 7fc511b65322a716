"""What somebody may do, read in one statement: by the token of a session or of a calendar, by an identity elsewhere, or by who it is.

Each gives one row for each grant, and one row where there is none.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from domain.records.accounts import Account, AccountIdentity, AccountSecret, RoleGrant, SignInSession
from domain.records.base import table_of
from domain.records.reminders import CalendarFeed
from domain.records.staff import Staff
from domain.records.statements import Statement

_account, _identity, _secret, _grant, _session, _staff, _feed = (
    table_of(one) for one in (Account, AccountIdentity, AccountSecret, RoleGrant, SignInSession, Staff, CalendarFeed)
)
_organisation_id = sa.bindparam("organisation_id", type_=sa.BigInteger())
_staff_columns = (_staff.c.id, _staff.c.name, _staff.c.role, _staff.c.site_id)
_grant_columns = (_grant.c.role.label("granted_role"), _grant.c.site_id.label("granted_site_id"))


def _and_grants(joined: Any) -> Any:  # noqa: ANN401 - a join of SQLAlchemy's
    kept = sa.and_(
        _grant.c.organisation_id == _organisation_id,
        _grant.c.organisation_id == _staff.c.organisation_id,
        _grant.c.staff_id == _staff.c.id,
        _grant.c.ended_on.is_(None),
    )
    return joined.outerjoin(_grant, kept)


def _and_staff(joined: Any) -> Any:  # noqa: ANN401 - a join of SQLAlchemy's
    return joined.join(_staff, sa.and_(_staff.c.organisation_id == _account.c.organisation_id, _staff.c.id == _account.c.staff_id))


POWERS_OF_SESSION = Statement(
    sa.select(*_staff_columns, *_grant_columns, _session.c.id, _session.c.last_seen_at)
    .select_from(
        _and_grants(
            _and_staff(
                _session.join(
                    _account, sa.and_(_account.c.organisation_id == _session.c.organisation_id, _account.c.id == _session.c.account_id)
                )
            )
        )
    )
    .where(
        _session.c.organisation_id == _organisation_id,
        _session.c.token_sha256 == sa.bindparam("token_sha256"),
        _session.c.ended_at.is_(None),
        _session.c.expires_at > sa.bindparam("now", type_=_session.c.expires_at.type),
        _session.c.last_seen_at > sa.bindparam("idle_since", type_=_session.c.last_seen_at.type),
        _account.c.ended_on.is_(None),
        _staff.c.ended_on.is_(None),
    )
)
POWERS_OF_IDENTITY = Statement(
    sa.select(*_staff_columns, *_grant_columns, _identity.c.id)
    .select_from(
        _and_grants(
            _and_staff(
                _identity.join(
                    _account, sa.and_(_account.c.organisation_id == _identity.c.organisation_id, _account.c.id == _identity.c.account_id)
                )
            )
        )
    )
    .where(
        _identity.c.organisation_id == _organisation_id,
        _identity.c.issuer == sa.bindparam("issuer"),
        _identity.c.subject == sa.bindparam("subject"),
        _identity.c.ended_on.is_(None),
        _account.c.ended_on.is_(None),
        _staff.c.ended_on.is_(None),
    )
)
_has_account = sa.exists().where(
    _account.c.organisation_id == _feed.c.organisation_id, _account.c.staff_id == _feed.c.staff_id, _account.c.ended_on.is_(None)
)
POWERS_OF_CALENDAR = Statement(
    sa.select(*_staff_columns, *_grant_columns, _feed.c.id, _feed.c.name, _feed.c.site_id, _feed.c.kinds)
    .select_from(
        _and_grants(_feed.join(_staff, sa.and_(_staff.c.organisation_id == _feed.c.organisation_id, _staff.c.id == _feed.c.staff_id)))
    )
    .where(
        _feed.c.organisation_id == _organisation_id,
        _feed.c.secret_sha256 == sa.bindparam("secret_sha256"),
        _feed.c.ended_on.is_(None),
        _staff.c.ended_on.is_(None),
        _has_account,
    )
)
"""A calendar that has not ended, of somebody who can still sign in."""
POWERS_OF_STAFF = Statement(
    sa.select(*_staff_columns, *_grant_columns)
    .select_from(_and_grants(_staff))
    .where(_staff.c.organisation_id == _organisation_id, _staff.c.id == sa.bindparam("id"), _staff.c.ended_on.is_(None))
)
ACCOUNT_AT_SIGN_IN = Statement(
    sa.select(_account.c.id, _staff.c.id, _staff.c.name, _secret.c.password_hash, _secret.c.code_sha256, _secret.c.code_expires_at)
    .select_from(
        _and_staff(
            _account.join(_secret, sa.and_(_secret.c.organisation_id == _account.c.organisation_id, _secret.c.account_id == _account.c.id))
        )
    )
    .where(
        _account.c.organisation_id == _organisation_id,
        _account.c.sign_in_name_key == sa.bindparam("sign_in_name_key"),
        _account.c.ended_on.is_(None),
        _staff.c.ended_on.is_(None),
    )
)
