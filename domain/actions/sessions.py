"""Sessions of people who signed in: started, used, ended."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from hmac import compare_digest
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from domain.errors import NotFound
from domain.records.accounts import Account, AccountSecret, SignInSession
from domain.records.base import row_of, table_of
from domain.records.organisations import KeyUse
from domain.records.statements import DialectName, Statement
from domain.records.unit import Unit

MOST_SESSIONS = 50
"""Of one account at a time; whoever signs in once more ends the oldest."""

_session, _use, _account, _secret = (table_of(one) for one in (SignInSession, KeyUse, Account, AccountSecret))
_at_organisation = sa.bindparam("at_organisation_id", type_=sa.BigInteger())

START = Statement(sa.insert(_session))
END = Statement(
    sa.update(_session)
    .where(_session.c.organisation_id == _at_organisation, _session.c.id == sa.bindparam("at_id"), _session.c.ended_at.is_(None))
    .values(ended_at=sa.bindparam("new_ended_at"))
)
STILL_PROVED_BY = Statement(
    sa.select(_secret.c.account_id)
    .where(
        _secret.c.organisation_id == sa.bindparam("organisation_id"),
        _secret.c.account_id == sa.bindparam("account_id"),
        _secret.c.password_hash == sa.bindparam("password_hash"),
    )
    .with_for_update()
)
"""Waits for whoever is about to take the account's password away, and keeps them waiting until the session is on record for them to end."""
KEEP_BETTER_HASH = Statement(
    sa.update(_secret)
    .where(_secret.c.organisation_id == _at_organisation, _secret.c.account_id == sa.bindparam("at_account_id"))
    .values(password_hash=sa.bindparam("new_password_hash"))
)
SEEN = Statement(
    sa.update(_session)
    .where(
        _session.c.organisation_id == _at_organisation,
        _session.c.id == sa.bindparam("at_id"),
        _session.c.last_seen_at < sa.bindparam("new_last_seen_at"),
    )
    .values(last_seen_at=sa.bindparam("new_last_seen_at"))
)
SESSIONS_OF_ACCOUNT = Statement(
    sa.select(_session)
    .where(
        _session.c.organisation_id == sa.bindparam("organisation_id"),
        _session.c.account_id == sa.bindparam("account_id"),
        _session.c.ended_at.is_(None),
    )
    .order_by(_session.c.created_at, _session.c.id)
)
SESSIONS_OF_STAFF = Statement(
    sa.select(_session)
    .join(_account, sa.and_(_account.c.organisation_id == _session.c.organisation_id, _account.c.id == _session.c.account_id))
    .where(
        _session.c.organisation_id == sa.bindparam("organisation_id"),
        _account.c.staff_id == sa.bindparam("staff_id"),
        _session.c.ended_at.is_(None),
        _session.c.expires_at > sa.bindparam("now", type_=_session.c.expires_at.type),
        _session.c.last_seen_at > sa.bindparam("idle_since", type_=_session.c.last_seen_at.type),
    )
    .order_by(_session.c.created_at.desc(), _session.c.id.desc())
)
"""The sessions of a person that go on, newest first."""
_BY_KEY = ["organisation_id", "key_id"]
_on_sqlite, _on_postgresql = sqlite.insert(_use), postgresql.insert(_use)
KEY_USED: Mapping[DialectName, Statement] = {
    "sqlite": Statement(_on_sqlite.on_conflict_do_update(index_elements=_BY_KEY, set_={"last_used_at": _on_sqlite.excluded.last_used_at})),
    "postgresql": Statement(
        _on_postgresql.on_conflict_do_update(index_elements=_BY_KEY, set_={"last_used_at": _on_postgresql.excluded.last_used_at})
    ),
}


def start_session(
    unit: Unit,
    account_id: UUID,
    *,
    proved_by: str,
    better_hash: str | None,
    token_sha256: str,
    expires_at: datetime,
    in_place_of: str | None = None,
) -> SignInSession | None:
    """Put a session of an account on record and return it; ``None`` where the account is not proved by that password any more.

    ``proved_by`` is the hash that the password was compared with, and ``better_hash`` one of today's costs that takes its place. The
    account's session whose token has the digest ``in_place_of`` ends.
    """
    if not unit.rows(STILL_PROVED_BY, account_id=account_id, password_hash=proved_by):
        return None
    if better_hash is not None:
        unit.run(KEEP_BETTER_HASH, at_organisation_id=unit.organisation_id, at_account_id=account_id, new_password_hash=better_hash)
    started = SignInSession(
        organisation_id=unit.organisation_id,
        id=unit.new_id(),
        account_id=account_id,
        token_sha256=token_sha256,
        created_at=unit.origin.at,
        last_seen_at=unit.origin.at,
        expires_at=expires_at,
        ended_at=None,
    )
    unit.run(START, **row_of(started))
    going_on = unit.all(SignInSession, SESSIONS_OF_ACCOUNT, account_id=account_id)
    replaced = [one for one in going_on if in_place_of is not None and compare_digest(one.token_sha256, in_place_of)]
    for former in (*replaced, *[one for one in going_on if one not in replaced][:-MOST_SESSIONS]):
        _end(unit, former.id)
    return started


def end_session(unit: Unit, session_id: UUID, *, staff_id: UUID, idle_since: datetime) -> None:
    """End a session of a member of staff; its token is refused from the next request on.

    Raises:
        NotFound: That person has no such session that goes on.
    """
    own = unit.all(SignInSession, SESSIONS_OF_STAFF, staff_id=staff_id, now=unit.origin.at, idle_since=idle_since)
    if session_id not in {one.id for one in own} or _end(unit, session_id) == 0:
        raise NotFound("There is no such session.")


def end_sessions_of(unit: Unit, account_id: UUID, *, but: UUID | None = None) -> None:
    """End every session of an account ``but`` one."""
    for session in unit.all(SignInSession, SESSIONS_OF_ACCOUNT, account_id=account_id):
        if session.id != but:
            _end(unit, session.id)


def _end(unit: Unit, session_id: UUID) -> int:
    return unit.run(END, at_organisation_id=unit.organisation_id, at_id=session_id, new_ended_at=unit.origin.at)


def note_uses(unit: Unit, *, keys: Mapping[UUID, datetime], sessions: Mapping[UUID, datetime]) -> None:
    """Put on record when keys and sessions were last used; a session's use never goes back."""
    unit.run_many(
        KEY_USED[unit.dialect],
        [{"organisation_id": unit.organisation_id, "key_id": key_id, "last_used_at": at} for key_id, at in sorted(keys.items())],
    )
    unit.run_many(
        SEEN,
        [{"at_organisation_id": unit.organisation_id, "at_id": one, "new_last_seen_at": at} for one, at in sorted(sessions.items())],
    )
