"""How large a body may be on the routes that read it by FastAPI's own means; the doors count for themselves."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.settings import Settings

LONGEST = 19
"""Digits of a length that is worth reading."""


class BodyLimit:
    """Refuses JSON beyond ``max_body_bytes`` and anything else, which is a file, beyond ``max_upload_bytes``."""

    def __init__(self, app: ASGIApp, *, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = dict(scope["headers"])
        is_json = b"json" in headers.get(b"content-type", b"json")
        most = self.settings.max_body_bytes if is_json else self.settings.max_upload_bytes
        said, arrived = _length(headers.get(b"content-length", b"0")), 0

        async def receive_limited() -> Message:
            nonlocal arrived
            if said > most:
                raise HTTPException(413, f"A body may have at most {most} bytes here.")
            message = await receive()
            arrived += len(message.get("body", b""))
            if arrived > most:
                raise HTTPException(413, f"A body may have at most {most} bytes here.")
            return message

        await self.app(scope, receive_limited, send)


def _length(said: bytes) -> float:
    return int(said) if said.isdigit() and len(said) < LONGEST else float("inf")
