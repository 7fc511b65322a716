"""Signing in with a password, one's own sessions, and signing out."""

from __future__ import annotations

import logging
import secrets
from functools import partial
from hashlib import sha256
from typing import Any

from api.answers import encode
from api.attempts import Attempt, KnownAccount
from api.bodies.sessions import EndedSession, SessionPage, SignIn, SigningOut, StartedSession
from api.context import Call, read, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, id_parameter
from api.signin import IDLE, LONGEST, SECRET_BYTES, brought_along, session_text
from api.visits import Visit, in_hasher, in_writer
from domain.actions.sessions import SESSIONS_OF_STAFF, end_session, start_session
from domain.records.journal import Origin
from domain.records.statements import instant_text

log = logging.getLogger("reedbed")

PATH = "/v1/sessions"
REFUSED = "The sign-in name and the password do not belong together, or the account has none."


async def sign_in(visit: Visit) -> Answer:
    """Start a session for whoever shows an account's password; a session of that account whose token was brought along ends.

    However it is refused, the sentence and the work are the same: one password is compared, if only with a hash that is nobody's.
    """
    said = visit.stated(SignIn)
    attempt = Attempt(visit, said.organisation_id, said.sign_in_name)
    account = await attempt.account()
    stored = account.password_hash if account else None
    matches = await in_hasher(visit.house, visit.house.passwords.matches, stored, said.password)
    if account is None or stored is None or not matches:
        reason = "unknown-name" if account is None else "no-password" if stored is None else "wrong-password"
        attempt.refuse(REFUSED, code="sign-in-refused", reason=reason)
    return await _started(attempt, account, proved_by=stored, password=said.password)


async def _started(attempt: Attempt, account: KnownAccount, *, proved_by: str, password: str) -> Answer:
    visit, passwords = attempt.visit, attempt.visit.house.passwords
    better = await in_hasher(visit.house, passwords.hashed, password) if passwords.needs_rehash(proved_by) else None
    token, now = session_text(attempt.organisation_id, secrets.token_urlsafe(SECRET_BYTES)), visit.house.clock()
    start = partial(
        start_session,
        account_id=account.account_id,
        proved_by=proved_by,
        better_hash=better,
        token_sha256=sha256(token.encode()).hexdigest(),
        expires_at=now + LONGEST,
        in_place_of=brought_along(visit.headers),
    )
    origin = Origin(attempt.organisation_id, now, actor=f"staff:{account.staff_id}", request_id=visit.request_id)
    started = await in_writer(visit.house, start, origin=origin, asked=visit)
    if started is None:
        attempt.refuse(REFUSED, code="sign-in-refused", reason="changed-meanwhile")
    attempt.succeeded()
    log.info(
        "somebody signed in", extra={"organisation_id": attempt.organisation_id, "actor": origin.actor, "request_id": visit.request_id}
    )
    shown = {"id": started.id, "token": token, "expires_at": instant_text(started.expires_at)}
    return Answer(encode({**shown, "staff_id": account.staff_id, "name": account.name}), status=201)


async def list_sessions(call: Call) -> Answer:
    """Answer with the caller's own sessions that go on."""
    rows = await read(call, SESSIONS_OF_STAFF, staff_id=call.caller.staff_id, now=call.now, idle_since=call.now - IDLE)
    compiled = SESSIONS_OF_STAFF.on(call.house.store.dialect)
    own = [dict(zip(compiled.keys, compiled.json_row(row), strict=True)) for row in rows]
    return Answer(encode({"items": [_shown(one, current=str(call.caller.session_id)) for one in own], "next": None}))


def _shown(session: dict[str, Any], *, current: str) -> dict[str, Any]:
    shown = {name: session[name] for name in ("id", "created_at", "last_seen_at", "expires_at")}
    return {**shown, "current": str(session["id"]) == current}


def sign_out(call: Call) -> Answer:
    """End one of the caller's own sessions."""
    stated_in(call, SigningOut)
    staff_id = call.caller.staff_id
    assert staff_id is not None  # noqa: S101 - the action is for people only
    answer = Answer(encode({"id": call.ids[0], "ended_at": instant_text(call.now)}))

    def act(unit: Any) -> Answer:  # noqa: ANN401 - a unit
        end_session(unit, call.ids[0], staff_id=staff_id, idle_since=call.now - IDLE)
        return answer

    done = write(call, act)
    facts = {"organisation_id": call.caller.organisation_id, "actor": call.caller.actor, "request_id": call.request_id}
    log.info("a session was ended by its holder", extra=facts)
    return done


DOORS = (
    Door(
        method="POST",
        path=PATH,
        operation_id="start_session",
        summary="Sign in with a password",
        tag="sessions",
        subject="session",
        answers=StartedSession,
        status=201,
        admits=sign_in,
        body=SignIn,
    ),
    Door(
        method="GET",
        path=PATH,
        action="list_sessions",
        operation_id="list_sessions",
        summary="List one's own sessions",
        tag="sessions",
        subject="session",
        answers=SessionPage,
        reads=list_sessions,
    ),
    Door(
        method="POST",
        path=f"{PATH}/{{session_id}}/end",
        action="end_session",
        operation_id="end_session",
        summary="Sign out: end one of one's own sessions",
        tag="sessions",
        subject="session",
        answers=EndedSession,
        writes=sign_out,
        body=SigningOut,
        parameters=[id_parameter("session_id"), IDEMPOTENCY_KEY],
    ),
)
