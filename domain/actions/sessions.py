"""Sessions of people who signed in: started, used, ended."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from domain.errors import NotFound
from domain.records.accounts import SignInSession
from domain.records.base import row_of, table_of
from domain.records.organisations import KeyUse
from domain.records.statements import DialectName, Statement
from domain.records.unit import Unit

_session, _use = table_of(SignInSession), table_of(KeyUse)
_at_organisation = sa.bindparam("at_organisation_id", type_=sa.BigInteger())

START = Statement(sa.insert(_session))
END = Statement(
    sa.update(_session)
    .where(_session.c.organisation_id == _at_organisation, _session.c.id == sa.bindparam("at_id"), _session.c.ended_at.is_(None))
    .values(ended_at=sa.bindparam("new_ended_at"))
)
END_ALL = Statement(
    sa.update(_session)
    .where(
        _session.c.organisation_id == _at_organisation,
        _session.c.account_id == sa.bindparam("at_account_id"),
        _session.c.ended_at.is_(None),
    )
    .values(ended_at=sa.bindparam("new_ended_at"))
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
    .order_by(_session.c.id)
)
_BY_KEY = ["organisation_id", "key_id"]
_on_sqlite, _on_postgresql = sqlite.insert(_use), postgresql.insert(_use)
KEY_USED: Mapping[DialectName, Statement] = {
    "sqlite": Statement(_on_sqlite.on_conflict_do_update(index_elements=_BY_KEY, set_={"last_used_at": _on_sqlite.excluded.last_used_at})),
    "postgresql": Statement(
        _on_postgresql.on_conflict_do_update(index_elements=_BY_KEY, set_={"last_used_at": _on_postgresql.excluded.last_used_at})
    ),
}


def start_session(unit: Unit, account_id: UUID, *, token_sha256: str, expires_at: datetime) -> SignInSession:
    """Put a session of an account on record and return it."""
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
    return started


def end_session(unit: Unit, session_id: UUID, *, account_id: UUID) -> None:
    """End a session of an account; its token is refused from the next request on.

    Raises:
        NotFound: The account has no such session that goes on.
    """
    if session_id not in {one.id for one in unit.all(SignInSession, SESSIONS_OF_ACCOUNT, account_id=account_id)}:
        raise NotFound("There is no such session.")
    unit.run(END, at_organisation_id=unit.organisation_id, at_id=session_id, new_ended_at=unit.origin.at)


def end_sessions_of(unit: Unit, account_id: UUID) -> None:
    """End every session of an account."""
    unit.run(END_ALL, at_organisation_id=unit.organisation_id, at_account_id=account_id, new_ended_at=unit.origin.at)


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
