"""What every answer carries, whatever made it: the request's id, and the headers that keep browsers and caches honest."""

from __future__ import annotations

import re
import secrets

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import Header, defect, log

_SANE = re.compile(rb"[A-Za-z0-9-]{8,64}")
NO_SNIFFING: Header = (b"x-content-type-options", b"nosniff")
NO_REFERRER: Header = (b"referrer-policy", b"no-referrer")
NO_STORING: Header = (b"cache-control", b"no-store")
NO_FRAMES: Header = (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'")
EVERYWHERE = (NO_SNIFFING, NO_REFERRER)
ON_RECORDS = (*EVERYWHERE, NO_STORING, NO_FRAMES)


class Envelope:
    """The outermost layer of ours: names the request, completes the headers, and answers for what went wrong."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request_id = _request_id(scope)
        scope.setdefault("state", {})["request_id"] = request_id.decode()
        on_records = scope["path"].startswith("/v1/")
        started = False

        async def send_complete(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                more = ON_RECORDS if on_records else _missing(message)
                message["headers"] = [*message["headers"], (b"x-request-id", request_id), *more]
            await send(message)

        try:
            await self.app(scope, receive, send_complete)
        except ClientDisconnect:
            log.info("request %s was broken off by its caller", request_id.decode())
        except Exception as fault:
            answer = defect(fault, request_id=request_id.decode(), path=scope["path"])
            if started:
                raise
            await answer(scope, receive, send_complete)


def _request_id(scope: Scope) -> bytes:
    for name, value in scope["headers"]:
        if name == b"x-request-id" and _SANE.fullmatch(value):
            return bytes(value)
    return secrets.token_hex(12).encode()


def _missing(message: Message) -> list[Header]:
    has_policy = any(name == NO_FRAMES[0] for name, _ in message["headers"])
    return [*EVERYWHERE] if has_policy else [*EVERYWHERE, NO_FRAMES]
