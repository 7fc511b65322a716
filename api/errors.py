"""Refusals as HTTP answers: the only place that knows which status a refusal has. Every answer without success is a problem (RFC 9457)."""

from __future__ import annotations

import logging
from collections.abc import Callable, Coroutine, Mapping, Sequence
from http import HTTPStatus
from typing import Any, ClassVar

import msgspec
from fastapi.exceptions import RequestValidationError
from fastapi.routing import iter_route_contexts
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from domain.errors import Conflict, Fault, NotAllowed, NotFound, Refusal, RuleBroken, Stale, StorageBusy, StorageFailed, TookTooLong
from domain.records.stated import faults_of

log = logging.getLogger("reedbed")

Header = tuple[bytes, bytes]
PROBLEM_TYPE = b"application/problem+json"
RETRY_AFTER: Header = (b"retry-after", b"1")


class Malformed(Refusal):
    """The request cannot be read: its syntax, a header or a cursor."""

    code = "malformed"


class SignInNeeded(Refusal):
    """The request bears no key that is in force."""

    code = "sign-in-needed"
    challenge: ClassVar[bytes] = b'Bearer realm="reedbed"'


class TokenRefused(SignInNeeded):
    """The request bears a token that does not prove anything.

    ``reason`` says which check failed: for the log and the metrics, never for the caller.
    """

    code = "token-refused"
    challenge = b'Bearer realm="reedbed", error="invalid_token"'

    def __init__(self, detail: str = "This token is not accepted.", *, reason: str = "") -> None:
        super().__init__(detail)
        self.reason = reason


class Busy(Refusal):
    """There is more to do at this moment than can be done; nothing was changed and the same request may be sent again."""

    code = "busy"


class TooLarge(Refusal):
    """The request's body is larger than is taken."""

    code = "body-too-large"


class WrongMedia(Refusal):
    """The request's body is not of a kind that is read here."""

    code = "media-type"


class PreconditionNeeded(Refusal):
    """A change has to say which version it is a change of."""

    code = "if-match-needed"


class TooMany(Refusal):
    """The caller has asked too often; nothing was done. ``retry_after_s`` says when to come again [s]."""

    code = "too-many-requests"

    def __init__(self, detail: str, *, retry_after_s: int = 1, code: str | None = None) -> None:
        super().__init__(detail, code=code)
        self.retry_after_s = retry_after_s


class Overloaded(Refusal):
    """The service has too much to do at the moment; nothing was done. ``retry_after_s`` says when to come again [s]."""

    code = "overloaded"

    def __init__(self, detail: str, *, retry_after_s: int = 1) -> None:
        super().__init__(detail)
        self.retry_after_s = retry_after_s


class TooLate(Refusal):
    """The request could not be answered in time; nothing was changed and it may be sent again."""

    code = "deadline"


STATUSES: Mapping[type[Refusal], int] = {
    Malformed: 400,
    SignInNeeded: 401,
    NotAllowed: 403,
    NotFound: 404,
    Conflict: 409,
    Stale: 412,
    TooLarge: 413,
    WrongMedia: 415,
    RuleBroken: 422,
    PreconditionNeeded: 428,
    TooMany: 429,
    Overloaded: 503,
    TooLate: 503,
    Busy: 503,
    StorageBusy: 503,
    StorageFailed: 503,
    TookTooLong: 503,
}

TITLES: Mapping[int, str] = {
    400: "The request cannot be read",
    401: "Sign-in needed",
    403: "Not allowed",
    404: "Not found",
    405: "Not possible here",
    409: "The record's state does not allow it",
    412: "Changed since it was read",
    413: "Too large",
    415: "Not a kind of body that is read here",
    422: "Cannot be taken as stated",
    428: "The version is missing",
    429: "Too often",
    500: "Something went wrong here",
    503: "Busy",
}

_CODES: Mapping[int, str] = {404: "not-found", 405: "method-not-allowed", 413: "body-too-large"}


class Answer(Response):
    """An answer whose bytes are already there; a Starlette response without the cost of building one.

    ``kept_body`` is what is kept of it under an Idempotency-Key, where that is not the body itself.
    """

    media_type: ClassVar[str] = "application/json"  # type: ignore[misc]

    def __init__(
        self,
        body: bytes = b"",
        *,
        status: int = 200,
        headers: Sequence[Header] = (),
        media: bytes = b"application/json",
        kept_body: bytes | None = None,
    ) -> None:
        self.status_code = status
        self.body = body
        self.kept_body = body if kept_body is None else kept_body
        self.background = None
        self.raw_headers = [*headers]
        if status != HTTPStatus.NOT_MODIFIED:
            self.raw_headers += [(b"content-length", b"%d" % len(body)), (b"content-type", media)]


def problem(status: int, code: str, detail: str, *, path: str, faults: Sequence[Fault] = (), headers: Sequence[Header] = ()) -> Answer:
    """Return a problem as an answer."""
    stated = {
        "type": f"urn:reedbed:problem:{code}",
        "title": TITLES.get(status) or HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "instance": path.encode(errors="replace").decode(),
        "code": code,
        "errors": [{"pointer": fault.pointer, "code": fault.code, "detail": fault.detail} for fault in faults],
    }
    return Answer(msgspec.json.encode(stated), status=status, headers=headers, media=PROBLEM_TYPE)


def problem_of(refusal: Refusal, *, path: str) -> Answer:
    """Return a refusal as a problem."""
    status = next(STATUSES[kind] for kind in type(refusal).__mro__ if kind in STATUSES)
    headers: list[Header] = []
    if isinstance(refusal, SignInNeeded):
        headers = [(b"www-authenticate", refusal.challenge)]
    elif isinstance(refusal, TooMany | Overloaded):
        headers = [(b"retry-after", b"%d" % refusal.retry_after_s)]
    elif status == HTTPStatus.SERVICE_UNAVAILABLE:
        headers = [RETRY_AFTER]
    return problem(status, refusal.code, refusal.detail, path=path, faults=refusal.faults, headers=headers)


def defect(fault: Exception, *, request_id: str, path: str) -> Answer:
    """Log a fault of ours and return the problem that says no more than where to look for it."""
    log.error("request %s failed", request_id, exc_info=fault)
    return problem(500, "defect", f"This is a fault of ours; it is logged under request {request_id}.", path=path)


async def on_refusal(request: Request, refusal: Exception) -> Response:
    """Answer a refusal that a route raised."""
    assert isinstance(refusal, Refusal)  # noqa: S101 - registered for no other
    request.scope["state"]["refused"] = refusal
    return problem_of(refusal, path=request.scope["path"])


async def on_invalid(request: Request, invalid: Exception) -> Response:
    """Answer what FastAPI found wrong in a path, a query or a form."""
    assert isinstance(invalid, RequestValidationError)  # noqa: S101 - registered for no other
    errors: list[Any] = [{**error, "loc": _within_body(error["loc"])} for error in invalid.errors()]
    refusal = RuleBroken("Some of what was said cannot be taken.", code="invalid", faults=faults_of(errors))
    return problem_of(refusal, path=request.scope["path"])


def _within_body(place: tuple[Any, ...]) -> tuple[Any, ...]:
    return place[1:] if place[:1] == ("body",) else place


async def on_http(request: Request, raised: Exception) -> Response:
    """Answer what the framework refuses: an unknown path, a method that a path does not have, a body that is too large."""
    assert isinstance(raised, HTTPException)  # noqa: S101 - registered for no other
    path, status = request.scope["path"], raised.status_code
    headers = [(name.lower().encode(), value.encode()) for name, value in (raised.headers or {}).items()]
    if status == HTTPStatus.METHOD_NOT_ALLOWED:
        allowed = ", ".join(methods_at(request))
        return problem(status, _CODES[status], f"Here {allowed} are possible.", path=path, headers=[(b"allow", allowed.encode())])
    if status == HTTPStatus.NOT_FOUND:
        return problem(status, _CODES[status], "There is nothing at this path.", path=path)
    code = _CODES.get(status) or HTTPStatus(status).phrase.lower().replace(" ", "-")
    return problem(status, code, str(raised.detail), path=path, headers=headers)


def methods_at(request: Request) -> list[str]:
    """Return the methods that the routes of a request's path take, in alphabetical order."""
    found: set[str] = set()
    for context in iter_route_contexts(request.app.routes):
        regex = getattr(context, "path_regex", None)
        if regex is not None and regex.match(request.scope["path"]):
            found |= context.methods or set()
    return sorted(found | ({"HEAD"} if "GET" in found else set()))


HANDLERS: Mapping[int | type[Exception], Callable[[Request, Any], Coroutine[Any, Any, Response]]] = {
    Refusal: on_refusal,
    RequestValidationError: on_invalid,
    HTTPException: on_http,
}
