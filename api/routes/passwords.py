"""Setting a password: by the code that somebody was told, or by the present one."""

from __future__ import annotations

import logging
from functools import partial

from api.answers import encode
from api.attempts import Attempt
from api.bodies.sessions import OwnPassword, PasswordByCode, PasswordSet
from api.codes import code_sha256
from api.context import Call, House, origin_of, read, stated_in
from api.doors import Door
from api.errors import Answer
from api.limits import Kind
from api.nouns import id_parameter
from api.passwords import refuse_weak
from api.visits import Visit, in_hasher, in_writer, refuse_idempotency
from domain.actions.accounts import OWN_ACCOUNT, change_password, set_password_by_code
from domain.errors import NotFound, RuleBroken
from domain.records import accounts as records
from domain.records.journal import Origin
from domain.records.lists import OWN_ORGANISATION
from domain.records.statements import instant_text
from domain.rules.text import same_name

log = logging.getLogger("reedbed")

REFUSED = "This code is not good, or not for this account. Ask an administrator for a new one."


async def set_by_code(visit: Visit) -> Answer:
    """Set the password of an account whose code is shown. A password that is refused leaves the code good."""
    said = visit.stated(PasswordByCode)
    attempt = Attempt(visit, said.organisation_id, said.sign_in_name)
    account, shown, now = await attempt.account(), code_sha256(said.code), visit.house.clock()
    if account is None or not account.takes(shown, now=now):
        attempt.refuse(REFUSED, code="code-refused", reason="unknown-name" if account is None else "wrong-code")
    hashed = await _hashed(visit.house, said.password, organisation_id=said.organisation_id, sign_in_name=said.sign_in_name)
    credential = f"code:{account.account_id}"
    origin = Origin(said.organisation_id, now, f"staff:{account.staff_id}", visit.request_id, credential=credential)
    act = partial(set_password_by_code, account_id=account.account_id, code_sha256=shown, password_hash=hashed)
    changed = await in_writer(visit.house, act, origin=origin, asked=visit)
    if changed is None:
        attempt.refuse(REFUSED, code="code-refused", reason="changed-meanwhile")
    attempt.succeeded()
    _say("a password was set by a code", origin)
    return _answer(changed)


async def set_own(call: Call) -> Answer:
    """Set the password of one's own account, whose present one is shown, and end its other sessions."""
    refuse_idempotency(call.headers)
    said = stated_in(call, OwnPassword)
    sign_in_name, stored = await _own_account(call)
    attempts = (call.caller.organisation_id, same_name(sign_in_name))
    call.house.limits.refuse_excess(Kind.SIGN_IN_NAME, attempts)
    if not await in_hasher(call.house, call.house.passwords.matches, stored, said.current_password) or stored is None:
        raise _wrong()
    hashed = await _hashed(call.house, said.password, organisation_id=call.caller.organisation_id, sign_in_name=sign_in_name)
    act = partial(change_password, account_id=call.ids[0], proved_by=stored, password_hash=hashed, but=call.caller.session_id)
    origin = origin_of(call)
    changed = await in_writer(call.house, act, origin=origin, asked=call)
    if changed is None:
        raise _wrong()
    call.house.limits.forget(Kind.SIGN_IN_NAME, attempts)
    _say("a password was set by its holder", origin)
    return _answer(changed)


async def _own_account(call: Call) -> tuple[str, str | None]:
    """Return the name that an own account signs in with, and what it is proved by; another person's is none."""
    rows = await read(call, OWN_ACCOUNT, id=call.ids[0], staff_id=call.caller.staff_id)
    if not rows:
        raise NotFound("There is no such account of yours.")
    return rows[0]


async def _hashed(house: House, password: str, *, organisation_id: int, sign_in_name: str) -> str:
    rows = await house.store.read(OWN_ORGANISATION, organisation_id=organisation_id)
    names = [dict(zip(OWN_ORGANISATION.on(house.store.dialect).keys, row, strict=True))["name"] for row in rows]
    await in_hasher(house, partial(refuse_weak, said_about=[*names, sign_in_name]), password)
    return await in_hasher(house, house.passwords.hashed, password)


def _wrong() -> RuleBroken:
    return RuleBroken("This is not your present password.", code="password-wrong", field="current_password")


def _say(event: str, origin: Origin) -> None:
    log.info(event, extra={"organisation_id": origin.organisation_id, "actor": origin.actor, "request_id": origin.request_id})


def _answer(account: records.Account) -> Answer:
    assert account.password_set_at is not None  # noqa: S101 - it was just set
    return Answer(encode({"account_id": account.id, "password_set_at": instant_text(account.password_set_at)}))


DOORS = (
    Door(
        method="POST",
        path="/v1/passwords",
        operation_id="set_password_by_code",
        summary="Set a password by a code",
        tag="sessions",
        subject="account",
        answers=PasswordSet,
        admits=set_by_code,
        body=PasswordByCode,
    ),
    Door(
        method="POST",
        path="/v1/accounts/{account_id}/password",
        action="set_password",
        operation_id="set_password",
        summary="Set one's own password",
        tag="sessions",
        subject="account",
        answers=PasswordSet,
        attends=set_own,
        body=OwnPassword,
        parameters=[id_parameter("account_id")],
    ),
)
