"""Accounts, and who their holders are to other issuers of tokens."""

from __future__ import annotations

from http import HTTPStatus

from api.answers import etag, of_record, registered, shown_record, told_once
from api.bodies import accounts as bodies
from api.codes import new_code
from api.context import Call, read_one, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from domain.actions.accounts import Code, end_account, end_identity, register_account, register_identity, reset_account
from domain.actions.recording import Ending
from domain.records.accounts import Account, AccountIdentity, AccountIdentityStated
from domain.records.statements import instant_text

PATH = "/v1/accounts"
ONE = f"{PATH}/{{account_id}}"
IDENTITIES = f"{ONE}/identities"
ACCOUNT, IDENTITY = id_parameter("account_id"), id_parameter("identity_id")
_LISTING = Listing(Account, ("staff_id", "sign_in_name"))
_IDENTITIES = Listing(AccountIdentity, within="account_id")


async def get_account(call: Call) -> Answer:
    """Answer with one account."""
    return await get_one(call, Account, subject="account")


def register(call: Call) -> Answer:
    """Make an account and tell the code that its holder sets a password by."""
    stated = stated_in(call, bodies.NewAccount)
    text, code = new_code(call.now)
    return write(call, lambda unit: _opened(register_account(unit, stated, code=code, record_id=stated.id), text, code, status=201))


def reset(call: Call) -> Answer:
    """Void an account's password and tell a new code."""
    stated_in(call, bodies.Resetting)
    text, code = new_code(call.now)
    return write(call, lambda unit: _opened(reset_account(unit, call.ids[0], code=code), text, code, status=200))


def end(call: Call) -> Answer:
    """End an account."""
    ending = stated_in(call, Ending)
    return write(call, lambda unit: of_record(end_account(unit, call.ids[0], ending)))


async def list_identities(call: Call) -> Answer:
    """Answer with a page of an account's identities."""
    await read_one(call, Account, call.ids[0], subject="account")
    return await _IDENTITIES.page(call)


def add_identity(call: Call) -> Answer:
    """Let an account's holder come with another issuer's tokens."""
    said = stated_in(call, bodies.NewAccountIdentity)
    stated = AccountIdentityStated(account_id=call.ids[0], issuer=said.issuer, subject=said.subject)
    return write(call, lambda unit: registered(register_identity(unit, stated)))


def remove_identity(call: Call) -> Answer:
    """End an identity of an account."""
    ending = stated_in(call, Ending)
    return write(call, lambda unit: of_record(end_identity(unit, call.ids[0], call.ids[1], ending)))


def _opened(account: Account, text: str, code: Code, *, status: int) -> Answer:
    shown = {**shown_record(account), "code_expires_at": instant_text(code.expires_at)}
    place = [(b"location", f"{PATH}/{account.id}".encode())] if status == HTTPStatus.CREATED else []
    return told_once(shown, secret="code", text=text, status=status, headers=[etag(account.version), *place])  # noqa: S106 - its name


DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_accounts",
        operation_id="list_accounts",
        summary="List accounts",
        tag="accounts",
        subject="account",
        answers=bodies.AccountPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="GET",
        path=ONE,
        action="get_account",
        operation_id="get_account",
        summary="Get account",
        tag="accounts",
        subject="account",
        answers=bodies.Account,
        reads=get_account,
        parameters=[ACCOUNT, IF_NONE_MATCH],
        headers=["ETag"],
    ),
    Door(
        method="POST",
        path=PATH,
        action="register_account",
        operation_id="register_account",
        summary="Register account",
        tag="accounts",
        subject="account",
        answers=bodies.OpenedAccount,
        status=201,
        writes=register,
        body=bodies.NewAccount,
        parameters=[IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
    Door(
        method="POST",
        path=f"{ONE}/reset",
        action="reset_account",
        operation_id="reset_account",
        summary="Void an account's password and tell a new code",
        tag="accounts",
        subject="account",
        answers=bodies.OpenedAccount,
        writes=reset,
        body=bodies.Resetting,
        parameters=[ACCOUNT, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
    Door(
        method="POST",
        path=f"{ONE}/end",
        action="end_account",
        operation_id="end_account",
        summary="End account",
        tag="accounts",
        subject="account",
        answers=bodies.Account,
        writes=end,
        body=Ending,
        parameters=[ACCOUNT, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
    Door(
        method="GET",
        path=IDENTITIES,
        action="list_identities",
        operation_id="list_identities",
        summary="List an account's identities at other issuers",
        tag="accounts",
        subject="account",
        answers=bodies.AccountIdentityPage,
        reads=list_identities,
        query=_IDENTITIES.readers,
        parameters=[ACCOUNT, *_IDENTITIES.parameters],
        headers=["Link"],
    ),
    Door(
        method="POST",
        path=IDENTITIES,
        action="register_identity",
        operation_id="register_identity",
        summary="Let an account's holder come with another issuer's tokens",
        tag="accounts",
        subject="account",
        answers=bodies.AccountIdentity,
        status=201,
        writes=add_identity,
        body=bodies.NewAccountIdentity,
        parameters=[ACCOUNT, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
    Door(
        method="POST",
        path=f"{IDENTITIES}/{{identity_id}}/end",
        action="end_identity",
        operation_id="end_identity",
        summary="End an identity of an account",
        tag="accounts",
        subject="account identity",
        answers=bodies.AccountIdentity,
        writes=remove_identity,
        body=Ending,
        parameters=[ACCOUNT, IDENTITY, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
)
