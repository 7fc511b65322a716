"""Refusals of the page about a paper, for people: a page wherever a browser would be answered with a problem, whatever layer refuses."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import Any

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import PROBLEM_TYPE
from api.paper_page import HEADERS, MEDIA, no_such_page, refused_page, wants_page

PAPERS = "/v/"
_REPLACED = frozenset({b"content-length", b"content-type", b"content-security-policy"})


class ReadableRefusals:
    """The layer around all others that answer: what they refuse at the address of a paper is a page for who asks for one."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        asks = scope["type"] == "http" and scope["path"].startswith(PAPERS) and wants_page(Headers(scope=scope).get("accept", ""))
        await self.app(scope, receive, _Readable(send) if asks else send)


class _Readable:
    """What sends an answer on, and of a problem a page instead once all of it is there."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self._problem: Message | None = None
        self._body = b""

    async def __call__(self, message: Message) -> None:
        """Send a part of an answer."""
        if message["type"] == "http.response.start" and (b"content-type", PROBLEM_TYPE) in message["headers"]:
            self._problem = message
            return
        if self._problem is None:
            await self._send(message)
            return
        self._body += message.get("body", b"")
        if not message.get("more_body"):
            page = _page_of(self._problem, json.loads(self._body))
            kept = [(name, value) for name, value in self._problem["headers"] if name not in _REPLACED]
            headers = [*kept, *HEADERS, (b"content-type", MEDIA), (b"content-length", b"%d" % len(page))]
            await self._send({**self._problem, "headers": headers})
            await self._send({"type": "http.response.body", "body": page})


def _page_of(start: Message, problem: dict[str, Any]) -> bytes:
    if start["status"] == HTTPStatus.NOT_FOUND:
        return no_such_page()
    wait_s = next((value.decode() for name, value in start["headers"] if name == b"retry-after"), None)
    return refused_page(problem["title"], problem["detail"], wait_s=wait_s)
