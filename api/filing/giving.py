"""A file on its way out: always to be saved, under a name of its own, as what its content is."""

from __future__ import annotations

import asyncio
import base64
import unicodedata
import weakref
from http import HTTPMethod
from typing import BinaryIO
from urllib.parse import quote

from starlette.types import Receive, Scope, Send

from api.errors import Answer, Header

CHUNK_BYTES = 1 << 18
_ATTR_CHARS = "!#$&+-.^_`|~"
"""What stands for itself in a value that is encoded, besides letters and digits.

Source:
    RFC 8187, section 3.2.1, attr-char.
"""
_NOT_QUOTED = frozenset('"\\%?')
"""What stands for what ASCII does not have, and what some readers take for more than a character in a quoted name; RFC 6266, appendix D."""


class FileAnswer(Answer):
    """An answer whose body is an open file, sent piece by piece and closed in the end."""

    def __init__(self, file: BinaryIO, *, size_bytes: int, headers: list[Header], media: bytes) -> None:
        super().__init__(headers=headers, media=media)
        self.raw_headers = [(name, b"%d" % size_bytes if name == b"content-length" else value) for name, value in self.raw_headers]
        self._file = file
        # An answer that is never sent leaves its file to be closed with it.
        weakref.finalize(self, file.close)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:  # noqa: ARG002 - as every answer is called
        """Send the file; to a question without a body, what its headers would be."""
        loop = asyncio.get_running_loop()
        with self._file:
            await send({"type": "http.response.start", "status": self.status_code, "headers": self.raw_headers})
            while scope["method"] != HTTPMethod.HEAD and (piece := await loop.run_in_executor(None, self._file.read, CHUNK_BYTES)):
                await send({"type": "http.response.body", "body": piece, "more_body": True})
            await send({"type": "http.response.body", "body": b"", "more_body": False})


def to_be_saved(name: str) -> Header:
    """Return the header by which a file is saved under a name: in UTF-8, and for old readers in ASCII (RFC 6266, RFC 8187)."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "replace").decode()
    fallback = "".join("_" if one in _NOT_QUOTED or not one.isprintable() else one for one in plain)
    encoded = quote(name, safe=_ATTR_CHARS)
    return (b"content-disposition", f"attachment; filename=\"{fallback}\"; filename*=UTF-8''{encoded}".encode())


def digest_header(digest: str) -> Header:
    """Return the header with the digest of what is given out (RFC 9530)."""
    return (b"repr-digest", b"sha-256=:" + base64.b64encode(bytes.fromhex(digest)) + b":")
