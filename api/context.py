"""What a route may ask for: the call at hand, and the two paths to the database, ``read`` and ``write``.

Routes of FastAPI's own kind take ``Reading`` (an ``async def`` route that changes nothing), ``Writing`` (a ``def`` route with a JSON body)
or ``Uploading`` (a route that reads the body itself) in their signature and get a ``Call``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Annotated, Any, TypeVar
from uuid import UUID

from fastapi import Depends, Request
from pydantic import BaseModel
from starlette.requests import ClientDisconnect
from starlette.types import Receive, Scope

from api.errors import Answer, Malformed, PreconditionNeeded, TooLarge, WrongMedia
from api.idempotency import fingerprint, once, read_key
from api.settings import Settings
from api.signin import Caller, require_write, sign_in
from api.strict_json import read_json
from api.work import Work
from domain.errors import RuleBroken, Stale
from domain.records.engine import Store, run_unit
from domain.records.journal import Origin
from domain.records.stated import read_stated
from domain.records.statements import Row, Statement
from domain.records.unit import Unit

T = TypeVar("T", bound=BaseModel)

JSON = (b"application/json",)
MERGE_PATCH = (b"application/merge-patch+json", b"application/json")
_ETAG = re.compile(rb'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')
_VERSION = re.compile(rb"[1-9][0-9]{0,9}")


@dataclass(slots=True)
class House:
    """What one running service consists of. ``writers`` are the threads that routes write in."""

    store: Store
    settings: Settings
    clock: Callable[[], datetime]
    work: Work
    writers: ThreadPoolExecutor | None = None
    schema_head: str = ""


@dataclass(slots=True)
class Call:
    """One request: who asks for what.

    ``body`` is what repeated requests are compared by; a route that takes a file puts its digest there before it writes.
    """

    house: House
    caller: Caller
    method: str
    path: str
    headers: Mapping[bytes, bytes]
    request_id: str
    ids: tuple[UUID, ...] = ()
    query: dict[str, Any] = field(default_factory=dict)
    body: bytes = b""

    @property
    def now(self) -> datetime:
        """The instant at which the clock stands."""
        return self.house.clock()


async def call_of(house: House, scope: Scope) -> Call:
    """Return a request's call once its caller has signed in.

    Raises:
        SignInNeeded: The request bears no key that is in force.
    """
    headers = dict(scope["headers"])
    caller = await sign_in(house.store, headers.get(b"authorization"), clock=house.clock)
    return Call(house, caller, scope["method"], scope["path"], headers, scope["state"]["request_id"])


async def read(call: Call, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
    """Return the rows of a statement about the caller's organisation, as the driver gives them."""
    return await call.house.store.read(statement, organisation_id=call.caller.organisation_id, **parameters)


def write(call: Call, act: Callable[[Unit], Answer]) -> Answer:
    """Run ``act`` in one transaction, the whole of it again where another came between, commit, and only then return its answer.

    A POST with an Idempotency-Key has one effect however often it comes. Blocks: call it in a worker thread.
    """
    key = read_key(call.headers.get(b"idempotency-key")) if call.method == "POST" else None
    if key is not None:
        act = partial(once, act=act, key=key, request=fingerprint(call.method, call.path, call.body))
    origin = Origin(call.caller.organisation_id, call.now, actor=call.caller.actor, request_id=call.request_id)
    answer: Answer = run_unit(call.house.store, act, origin=origin)
    return answer


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


async def reading(request: Request) -> Call:
    """Return the call of a route that changes nothing."""
    return await call_of(request.app.state.house, request.scope)


async def uploading(request: Request) -> Call:
    """Return the call of a route that changes something and reads the body itself."""
    call = await call_of(request.app.state.house, request.scope)
    require_write(call.caller)
    return call


async def writing(request: Request) -> Call:
    """Return the call of a route that changes something, with its JSON body."""
    call = await uploading(request)
    refuse_other_media(call.headers, taken=JSON)
    call.body = await read_body(request.receive, call.headers, most=call.house.settings.max_body_bytes)
    return call


Reading = Annotated[Call, Depends(reading)]
Uploading = Annotated[Call, Depends(uploading)]
Writing = Annotated[Call, Depends(writing)]
