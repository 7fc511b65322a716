"""What a route may ask for: the call at hand, and the two paths to the database, ``read`` and ``write``.

Routes of FastAPI's own kind depend on ``Passing`` with their action (``async def`` routes, which read a body themselves), or on ``Writing``
(``def`` routes with a JSON body), and get a ``Call``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any, TypeVar
from uuid import UUID

from fastapi import Request
from pydantic import BaseModel
from starlette.requests import ClientDisconnect
from starlette.types import Receive, Scope

from api.computing import Computing
from api.envelope import Draining
from api.errors import Answer, Malformed, PreconditionNeeded, TooLarge, WrongMedia
from api.idempotency import fingerprint, once, read_key
from api.issuing import NO_PRESS, Press
from api.limits import Limits
from api.metrics import Metrics
from api.passwords import Passwords
from api.permissions import Permissions, permissions, permitted, permitted_fields
from api.settings import Settings
from api.signin import Caller, sign_in
from api.strict_json import read_json
from api.token_door import TokenDoor
from api.uses import Uses
from api.work import Work
from domain.actions.approvals import use_approval
from domain.errors import NotFound, RuleBroken, Stale
from domain.records.base import Record
from domain.records.belonging import beyond_reach, has_sites, site_of_one
from domain.records.columns import NAME_LENGTH
from domain.records.engine import Store, run_unit
from domain.records.files import Files
from domain.records.files.nowhere import NoFiles
from domain.records.journal import Origin
from domain.records.lists import one
from domain.records.stated import read_stated
from domain.records.statements import Row, Statement
from domain.records.unit import Unit
from domain.rules.permissions import Reach
from domain.rules.text import kept_line

T = TypeVar("T", bound=BaseModel)

JSON = (b"application/json",)
MERGE_PATCH = (b"application/merge-patch+json", b"application/json")
REASON = b"reedbed-reason"
_ETAG = re.compile(rb'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')
_VERSION = re.compile(rb"[1-9][0-9]{0,9}")


@dataclass(slots=True)
class House:
    """What one running service consists of. ``writers`` are the threads that routes write in, ``hashers`` those that hash passwords.

    ``filing`` takes files in and out of ``files``, where those of documents lie. ``press`` makes papers fit to leave the house.
    """

    store: Store
    settings: Settings
    clock: Callable[[], datetime]
    work: Work
    uses: Uses = field(default_factory=Uses)
    tokens: TokenDoor | None = None
    passwords: Passwords = field(default_factory=Passwords)
    hashers: ThreadPoolExecutor | None = None
    writers: ThreadPoolExecutor | None = None
    computing: Computing | None = None
    filing: Computing | None = None
    files: Files = field(default_factory=NoFiles)
    press: Press = NO_PRESS
    limits: Limits = field(default_factory=lambda: Limits({}))
    metrics: Metrics = field(default_factory=Metrics)
    draining: Draining = field(default_factory=Draining)
    schema_head: str = ""
    permissions: Permissions = field(default_factory=permissions)


@dataclass(slots=True)
class Call:
    """One request: who asks for what. ``reach`` is where the caller may do the action.

    ``body`` is what repeated requests are compared by; a route that takes a file puts its digest there before it writes. ``until`` is the
    instant of the monotonic clock after which nothing is begun any more [s].
    """

    house: House
    caller: Caller
    action: str
    reach: Reach
    method: str
    path: str
    headers: Mapping[bytes, bytes]
    request_id: str
    ids: tuple[UUID, ...] = ()
    query: dict[str, Any] = field(default_factory=dict)
    body: bytes = b""
    until: float | None = None

    @property
    def now(self) -> datetime:
        """The instant at which the clock stands."""
        return self.house.clock()


async def call_of(house: House, scope: Scope, *, action: str) -> Call:
    """Return a request's call once its caller has signed in and may do the action.

    Raises:
        SignInNeeded: The request bears no key that is in force.
        TooMany: Its credential or its organisation asks too often.
        NotAllowed: The caller may do the action nowhere.
    """
    headers = dict(scope["headers"])
    caller = scope["state"]["caller"] = await sign_in(house, headers)
    house.limits.charge(caller, scope)
    state = scope["state"]
    reach = permitted(house.permissions.matrix, caller, action)
    return Call(house, caller, action, reach, scope["method"], scope["path"], headers, state["request_id"], until=state.get("until"))


async def read(call: Call, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
    """Return the rows of a statement about the caller's organisation, as the driver gives them."""
    return await call.house.store.read(statement, organisation_id=call.caller.organisation_id, **parameters)


async def read_one(call: Call, record: type[Record], record_id: UUID, *, subject: str, **belongs: UUID) -> Row:
    """Return the row of one record, as the driver gives it; ``belongs`` is the column and the id of what it belongs to.

    Raises:
        NotFound: There is none in the caller's organisation.
        NotAllowed: It is at a site that the call does not reach.
    """
    rows = await read(call, one(record, within=next(iter(belongs), None)), id=record_id, **belongs)
    if not rows:
        raise NotFound(f"There is no such {subject}.")
    await stay_within_reach(call, record, record_id)
    return rows[0]


async def stay_within_reach(call: Call, record: type[Record], record_id: UUID) -> None:
    """Refuse a record that a call does not reach; one that there is not is left to its reader.

    Raises:
        NotAllowed: It is at a site that the call does not reach.
    """
    if call.reach.site_ids is None:
        return
    statement = site_of_one(record)
    places = [statement.on(call.house.store.dialect).python_row(row)[0] for row in await read(call, statement, id=record_id)]
    if not all(call.reach.covers(place) for place in places):
        raise beyond_reach(record)


def sites_reached(call: Call, record: type[Record]) -> dict[str, Any]:
    """Return the parameter that binds a list of records to the sites that the call reaches; none where it reaches all.

    Raises:
        NotAllowed: Records of this class are the whole organisation's, and the call reaches only some sites.
    """
    if call.reach.site_ids is None:
        return {}
    if not has_sites(record):
        raise beyond_reach(record)
    return {"reach_site_ids": sorted(str(site_id) for site_id in call.reach.site_ids)}


async def computed(call: Call, act: Callable[[Call], Answer]) -> Answer:
    """Return the answer to a reading that takes long, computed in a thread for such.

    Raises:
        Busy: Too many are waiting for their turn already.
    """
    assert call.house.computing is not None  # noqa: S101 - the service has started
    return await call.house.computing.compute(act, call)


def origin_of(call: Call) -> Origin:
    """Return where what a call changes comes from, and how far it reaches.

    Raises:
        Malformed: The reason that it gives cannot be kept.
    """
    caller = call.caller
    return Origin(
        caller.organisation_id,
        call.now,
        actor=caller.actor,
        request_id=call.request_id,
        credential=caller.credential,
        on_behalf_of=caller.on_behalf_of,
        reason=_reason(call.headers.get(REASON)),
        reach=call.reach,
    )


def _reason(header: bytes | None) -> str | None:
    if header is None:
        return None
    try:
        reason = kept_line(header.decode())
    except ValueError:
        raise Malformed("Reedbed-Reason should be one line of text in UTF-8.", code="reason-malformed") from None
    if len(reason) > NAME_LENGTH:
        raise Malformed(f"Reedbed-Reason may have at most {NAME_LENGTH} characters.", code="reason-malformed")
    return reason


def write(call: Call, act: Callable[[Unit], Answer]) -> Answer:
    """Run ``act`` in one transaction, the whole of it again where another came between, commit, and only then return its answer.

    A POST with an Idempotency-Key has one effect however often it comes. Blocks: call it in a worker thread.
    """
    if call.house.permissions.matrix.actions[call.action].two_person is not None:
        act = partial(_by_two, act=act, call=call)
    key = read_key(call.headers.get(b"idempotency-key")) if call.method == "POST" else None
    if key is not None:
        act = partial(once, act=act, key=key, request=fingerprint(call.method, call.path, _asker(call) + call.body))
    answer: Answer = run_unit(call.house.store, act, origin=origin_of(call))
    return answer


def _by_two(unit: Unit, act: Callable[[Unit], Answer], *, call: Call) -> Answer:
    use_approval(unit, call.action, call.ids[-1])
    return act(unit)


def _asker(call: Call) -> bytes:
    """Return what makes a request another one when somebody else sends it, or the same caller with another reach.

    No answer crosses from caller to caller or from site to site.
    """
    caller, site_ids = call.caller, call.reach.site_ids
    sites = "all" if site_ids is None else " ".join(sorted(str(site_id) for site_id in site_ids))
    return f"{caller.actor} {caller.on_behalf_of} {sites}\n".encode()


def permit_fields(call: Call) -> None:
    """Narrow the call's reach to where its caller may write the fields that its body names. A body that is no object is left to its reader.

    Raises:
        NotAllowed: One of them may be written nowhere; the field is named.
        Malformed: The body is not JSON, or not honest JSON.
    """
    matrix, caller = call.house.permissions.matrix, call.caller
    if not any(matrix.rules_fields(powers, call.action) for powers in (caller.powers, caller.for_powers) if powers is not None):
        return
    body = read_json(call.body)
    if isinstance(body, dict):
        # What is registered with null is left out; in a correction null is a value.
        said = {name: value for name, value in body.items() if value is not None or call.method == "PATCH"}
        call.reach = permitted_fields(matrix, caller, call.action, said, reach=call.reach)


def stated_in(call: Call, kind: type[T]) -> T:
    """Return what the body states.

    Raises:
        Malformed: The body is not JSON, or not honest JSON.
        RuleBroken: With one fault for each field that cannot be taken.
    """
    read_json(call.body)
    return read_stated(kind, call.body)


def patch_in(call: Call) -> dict[str, Any]:
    """Return the body's merge patch (RFC 7396).

    Raises:
        Malformed: The body is not JSON, or not honest JSON.
        RuleBroken: It is no object.
    """
    patch = read_json(call.body)
    if not isinstance(patch, dict):
        raise RuleBroken("A correction is an object with the fields to change.", code="not-object")
    return patch


def expected_version(call: Call) -> int:
    """Return the version that a change says it is a change of.

    Raises:
        PreconditionNeeded: There is no If-Match.
        Malformed: It is not one entity tag.
        Stale: It is the tag of nothing here, so it cannot be the present one.
    """
    header = call.headers.get(b"if-match")
    if header is None:
        raise PreconditionNeeded("Say which version this changes: If-Match with the ETag that you read.")
    tag = _ETAG.fullmatch(header.strip())
    if tag is None:
        raise Malformed('If-Match should be the ETag that you read, such as "3".', code="if-match-malformed")
    if tag[1] or not _VERSION.fullmatch(tag[2]):
        raise Stale("No version of this record has that ETag.")
    return int(tag[2])


def unchanged(call: Call, version: int) -> bool:
    """Return whether the caller says that it has this version already (If-None-Match, compared weakly)."""
    header = call.headers.get(b"if-none-match")
    if header is None:
        return False
    return header.strip() == b"*" or any(tag == b"%d" % version for _, tag in _ETAG.findall(header))


def refuse_other_media(headers: Mapping[bytes, bytes], *, taken: tuple[bytes, ...]) -> None:
    """Refuse a body that does not say it is JSON in UTF-8.

    Raises:
        WrongMedia: It is said to be something else, or nothing is said.
    """
    media, _, rest = headers.get(b"content-type", b"").lower().partition(b";")
    if media.strip() not in taken:
        raise WrongMedia(f"Content-Type should be {' or '.join(one.decode() for one in taken)}.")
    if b"charset" in rest and rest.replace(b'"', b"").replace(b" ", b"") != b"charset=utf-8":
        raise WrongMedia("JSON is read as UTF-8 only.", code="charset")
    if headers.get(b"content-encoding", b"identity").lower() != b"identity":
        raise WrongMedia("A compressed body is not read.", code="content-encoding")


async def read_body(receive: Receive, headers: Mapping[bytes, bytes], *, most: int) -> bytes:
    """Return the request's body.

    Raises:
        TooLarge: It is longer than ``most`` [bytes], by what it says or by what arrives.
    """
    said = headers.get(b"content-length")
    if said is not None and (not said.isdigit() or len(said) > 18 or int(said) > most):  # noqa: PLR2004 - digits that fit
        raise TooLarge(f"A body may have at most {most} bytes.")
    body, more = b"", True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise ClientDisconnect
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > most:
            raise TooLarge(f"A body may have at most {most} bytes.")
    return body


@dataclass(frozen=True, slots=True)
class Passing:
    """What a route depends on to get the call of its action once its caller may do it."""

    action: str

    async def __call__(self, request: Request) -> Call:
        """Return the call."""
        return await call_of(request.app.state.house, request.scope, action=self.action)


@dataclass(frozen=True, slots=True)
class Writing(Passing):
    """What a ``def`` route that changes something depends on to get the call with its JSON body."""

    async def __call__(self, request: Request) -> Call:
        """Return the call."""
        call = await call_of(request.app.state.house, request.scope, action=self.action)
        refuse_other_media(call.headers, taken=JSON)
        call.body = await read_body(request.receive, call.headers, most=call.house.settings.max_body_bytes)
        permit_fields(call)
        return call
