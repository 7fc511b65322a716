"""How much one caller may ask for: how often, and how large a body may be on the routes that FastAPI reads; the doors count for themselves.

The counts stand in memory: with several processes each grants its own.
"""

from __future__ import annotations

import math
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from threading import Lock

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import TooMany
from api.settings import Settings
from api.signin import Caller

LONGEST = 19
"""Digits of a length that is worth reading."""
MOST_KEYS = 10_000
"""Of one kind that are counted at a time; beyond it the one that has rested longest is forgotten."""
LONGEST_DELAY_S = 60.0
"""Between two attempts to sign in, however many there were [s]: nobody is locked out."""
REST_S = 120.0
"""Without an attempt, after which the delay is forgotten [s]: a flood keeps nobody waiting for long once it is over."""
IMPORTS = ("POST", "/v1/imports")
FILE_READING = ("POST", "/v1/transfer-files")
DOCUMENTS = "/v1/documents"
AROUND_A_FILE = 100_000
"""Bytes that a form with a document may have besides the file."""


class Kind(StrEnum):
    """What is counted, each for keys of its own."""

    CREDENTIAL = "credential"
    ORGANISATION = "organisation"
    IMPORT = "import"
    SIGN_IN_NAME = "sign-in-name"
    SIGN_IN_ADDRESS = "sign-in-address"
    PAPER_ADDRESS = "paper-address"


GROWING = frozenset({Kind.SIGN_IN_NAME, Kind.SIGN_IN_ADDRESS})
"""Kinds whose keys wait twice as long after each take beyond what is granted, up to ``LONGEST_DELAY_S``."""
_MINUTE_S, _HOUR_S = 60.0, 3600.0


@dataclass(slots=True)
class _Bucket:
    tokens: float
    filled_at: float
    overdrawn: int = 0
    free_at: float = 0.0


class Limits:
    """Token buckets: a key may take at once what its kind grants for a period, and then as fast as the period gives it back.

    ``clock`` gives seconds that never go back. A kind that grants 0 has no limit.
    """

    def __init__(self, granted: Mapping[Kind, tuple[int, float]], *, clock: Callable[[], float] = time.monotonic) -> None:
        self._granted = {kind: (count, count / period_s) for kind, (count, period_s) in granted.items() if count}
        self._clock = clock
        self._lock = Lock()
        self._buckets: dict[Kind, OrderedDict[object, _Bucket]] = {kind: OrderedDict() for kind in self._granted}

    @classmethod
    def of(cls, settings: Settings) -> Limits:
        """Return the limits that are set."""
        return cls(
            {
                Kind.CREDENTIAL: (settings.requests_per_minute, _MINUTE_S),
                Kind.ORGANISATION: (settings.organisation_requests_per_minute, _MINUTE_S),
                Kind.IMPORT: (settings.imports_per_hour, _HOUR_S),
                Kind.SIGN_IN_NAME: (settings.sign_ins_per_minute, _MINUTE_S),
                Kind.SIGN_IN_ADDRESS: (settings.address_sign_ins_per_minute, _MINUTE_S),
                Kind.PAPER_ADDRESS: (settings.paper_checks_per_minute, _MINUTE_S),
            }
        )

    def take(self, kind: Kind, key: object) -> float | None:
        """Take one for a key and return ``None``; where there is none left, take nothing and return when there will be [s from now]."""
        granted = self._granted.get(kind)
        if granted is None:
            return None
        count, per_s = granted
        with self._lock:
            now = self._clock()
            bucket = self._bucket(kind, key, count=count, now=now)
            bucket.tokens = min(count, bucket.tokens + (now - bucket.filled_at) * per_s)
            bucket.filled_at = now
            if kind in GROWING:
                return _take_growing(bucket, now=now, count=count, per_s=per_s)
            if bucket.tokens < 1:
                return (1 - bucket.tokens) / per_s
            bucket.tokens -= 1
            return None

    def forget(self, kind: Kind, key: object) -> None:
        """Grant a key everything again, as after a sign-in that succeeded."""
        with self._lock:
            self._buckets.get(kind, OrderedDict()).pop(key, None)

    def give_back(self, kind: Kind, key: object) -> None:
        """Give back one that was taken, as for a sign-in that succeeded."""
        with self._lock:
            bucket = self._buckets.get(kind, OrderedDict()).get(key)
            if bucket is not None:
                bucket.tokens = min(self._granted[kind][0], bucket.tokens + 1)

    def charge(self, caller: Caller, scope: Scope) -> None:
        """Count a request to the credential that it came by, and to the organisation.

        Raises:
            TooMany: One of them has none left.
        """
        self.refuse_excess(Kind.CREDENTIAL, caller.credential)
        self.refuse_excess(Kind.ORGANISATION, caller.organisation_id)
        if (scope["method"], scope["path"]) in {IMPORTS, FILE_READING}:
            self.refuse_excess(Kind.IMPORT, caller.organisation_id)

    def refuse_excess(self, kind: Kind, key: object) -> None:
        """Take one for a key.

        Raises:
            TooMany: There is none left; it says when there will be.
        """
        wait_s = self.take(kind, key)
        if wait_s is not None:
            seconds = max(1, math.ceil(wait_s))
            raise TooMany(f"That was too often; please wait {seconds} s.", retry_after_s=seconds)

    def _bucket(self, kind: Kind, key: object, *, count: int, now: float) -> _Bucket:
        buckets = self._buckets[kind]
        bucket = buckets.get(key)
        if bucket is None:
            bucket = buckets[key] = _Bucket(float(count), now)
            if len(buckets) > MOST_KEYS:
                buckets.popitem(last=False)
        else:
            buckets.move_to_end(key)
        return bucket


def _take_growing(bucket: _Bucket, *, now: float, count: int, per_s: float) -> float | None:
    """Take one; once what was granted is used up, only after a delay that doubles with each take and is forgotten after a rest.

    Only takes make the delay grow. Whoever is refused may ask as often as they like without making others wait longer.
    """
    if bucket.overdrawn and now - bucket.free_at >= REST_S:
        bucket.overdrawn, bucket.tokens = 0, float(count)
    if not bucket.overdrawn and bucket.tokens >= 1:
        bucket.tokens -= 1
        return None
    if not bucket.overdrawn:
        bucket.overdrawn, bucket.free_at = 1, now + (1 - bucket.tokens) / per_s
    if now < bucket.free_at:
        return bucket.free_at - now
    bucket.free_at = now + min(LONGEST_DELAY_S, 2**bucket.overdrawn / per_s)
    bucket.overdrawn = min(bucket.overdrawn + 1, LONGEST)
    return None


class BodyLimit:
    """Refuses JSON beyond ``max_body_bytes``, documents beyond ``max_document_bytes``, and any other file beyond ``max_upload_bytes``."""

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
        most = self.settings.max_body_bytes if is_json else self._most_of_a_file(scope["path"])
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

    def _most_of_a_file(self, path: str) -> int:
        return self.settings.max_document_bytes + AROUND_A_FILE if path == DOCUMENTS else self.settings.max_upload_bytes


def _length(said: bytes) -> float:
    return int(said) if said.isdigit() and len(said) < LONGEST else float("inf")
