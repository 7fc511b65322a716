"""What every answer carries, whatever made it: the request's id, and the headers that keep browsers and caches honest.

Here each request is counted and gets its line in the log, because everything that answers lies within.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from time import perf_counter
from typing import Any

from starlette.datastructures import Headers
from starlette.middleware.cors import CORSMiddleware
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import Header, Malformed, defect, log, problem, problem_of
from api.idempotency import REPLAYED
from api.logs import RequestLog
from api.metrics import Metrics
from api.settings import Settings
from domain.errors import Refusal
from domain.records.statements import ForeignRow

_SANE = re.compile(rb"[A-Za-z0-9-]{8,64}")
_TRACE = re.compile(rb"(?!ff)[0-9a-f]{2}-(?!0{32})([0-9a-f]{32})-(?!0{16})[0-9a-f]{16}-[0-9a-f]{2}(-.*)?")
POLICY = b"content-security-policy"
EVERYWHERE: tuple[Header, ...] = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
    (b"vary", b"Authorization, Origin"),
)
NO_FRAMES: Header = (POLICY, b"default-src 'none'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'; sandbox")
TLS_ONLY: Header = (b"strict-transport-security", b"max-age=63072000; includeSubDomains")
LAST: Header = (b"connection", b"close")
UNKNOWN = "unknown"
"""The route of a path that leads nowhere."""


class Envelope:
    """The outermost layer of ours: names the request, completes the headers, accounts for it, and answers for what went wrong.

    ``log`` gets a line for each request; without one nothing is written. While ``draining`` has begun, connections are given up.
    """

    def __init__(self, app: ASGIApp, *, settings: Settings, metrics: Metrics, log: RequestLog | None, draining: Draining) -> None:
        self.app = app
        self.metrics = metrics
        self.log = log
        self.draining = draining
        self.always = (*EVERYWHERE, TLS_ONLY) if settings.behind_tls else EVERYWHERE
        self.on_records = (*self.always, NO_FRAMES)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began = perf_counter()
        state = scope.setdefault("state", {})
        request_id = _request_id(scope)
        state["request_id"] = request_id.decode()
        on_records = scope["path"].startswith("/v1/")
        length = 0

        async def send_complete(message: Message) -> None:
            nonlocal length
            if message["type"] == "http.response.start":
                state["status"] = message["status"]
                more = self.on_records if on_records or not _has_policy(message) else self.always
                message["headers"] = headers = [*message["headers"], (b"x-request-id", request_id), *more]
                if self.draining.begun or state.get("last"):
                    headers.append(LAST)
                if REPLAYED in headers:
                    self.metrics.count("idempotency_replays")
            else:
                length += len(message.get("body", b""))
            await send(message)

        self.metrics.in_flight += 1
        try:
            await self.app(scope, receive, send_complete)
        except ClientDisconnect:
            log.info("request %s was broken off by its caller", state["request_id"])
        except Exception as fault:
            if isinstance(fault, ForeignRow):
                self.metrics.count("tenant_guard_violations")
            answer = defect(fault, request_id=state["request_id"], path=scope["path"])
            if "status" in state:
                raise
            await answer(scope, receive, send_complete)
        finally:
            self.metrics.in_flight -= 1
            self._account(scope, state, length=length, took_s=perf_counter() - began)

    def _account(self, scope: Scope, state: dict[str, Any], *, length: int, took_s: float) -> None:
        status = state.get("status", 0)
        route = _route_of(scope, state)
        self.metrics.request(route, scope["method"], status, took_s)
        refused = state.get("refused")
        if refused is not None:
            self._count_refusal(status, refused)
        if self.log is None:
            return
        facts: dict[str, Any] = {
            "request_id": state["request_id"],
            "route": route,
            "method": scope["method"],
            "status": status,
            "duration_ms": round(took_s * 1000, 3),
            "bytes": length,
        }
        if "trace_id" in state:
            facts["trace_id"] = state["trace_id"]
        if refused is not None:
            facts["code"] = refused.code
        caller = state.get("caller")
        if caller is not None:
            facts["organisation_id"], facts["actor"] = caller.organisation_id, caller.actor
        with suppress(OSError):  # where a log cannot be written, its disk being full, the connection goes on
            _say(self.log, status)("request", **facts)

    def _count_refusal(self, status: int, refused: Refusal) -> None:
        if status == HTTPStatus.UNAUTHORIZED:
            self.metrics.count("authn_failures", getattr(refused, "reason", "") or refused.code)
        elif status == HTTPStatus.FORBIDDEN:
            self.metrics.count("authz_denials")
        elif status == HTTPStatus.TOO_MANY_REQUESTS:
            self.metrics.count("rate_limited")


def _say(log: RequestLog, status: int) -> Callable[..., Any]:
    if 0 < status < HTTPStatus.INTERNAL_SERVER_ERROR:
        return log.info
    return log.warning if status == HTTPStatus.SERVICE_UNAVAILABLE else log.error


class Draining:
    """Whether the service is about to stop: it still serves, but says that it is not ready and gives its connections up."""

    def __init__(self) -> None:
        self.begun = False


class Crossing(CORSMiddleware):
    """Scripts of other origins, as Starlette lets them in; what it refuses is a problem like every refusal."""

    def preflight_response(self, request_headers: Headers) -> Response:
        """Return the answer to a browser that asks before a script's request."""
        answer = super().preflight_response(request_headers)
        if answer.status_code == HTTPStatus.OK:
            return answer
        return problem(HTTPStatus.BAD_REQUEST, "origin-refused", "A script of this origin may not ask this.", path="")


class KnownHosts:
    """Refuses requests that call the service by another name than those it has. Probes of its health may use any."""

    def __init__(self, app: ASGIApp, *, hosts: tuple[str, ...]) -> None:
        self.app = app
        self.hosts = {host.lower().encode() for host in hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or scope["path"] in {"/healthz", "/readyz"} or _host_of(scope) in self.hosts:
            await self.app(scope, receive, send)
            return
        refusal = Malformed("The service is not known by this name.", code="host-unknown")
        await problem_of(refusal, path=scope["path"])(scope, receive, send)


def _host_of(scope: Scope) -> bytes:
    said = next((value for name, value in scope["headers"] if name == b"host"), b"").lower()
    host, _, port = said.rpartition(b":")
    return bytes(host if host and port.isdigit() else said)


def _request_id(scope: Scope) -> bytes:
    given = None
    for name, value in scope["headers"]:
        if name == b"x-request-id":
            if given is None and _SANE.fullmatch(value):
                given = bytes(value)
        elif name == b"traceparent" and (trace := _TRACE.fullmatch(value)):
            scope["state"]["trace_id"] = trace[1].decode()
    return given or secrets.token_hex(12).encode()


def _route_of(scope: Scope, state: dict[str, Any]) -> str:
    route = state.get("route")
    if route is None:
        route = getattr(scope.get("route"), "path", UNKNOWN)
    return str(route)


def _has_policy(message: Message) -> bool:
    return any(name == POLICY for name, _ in message["headers"])
