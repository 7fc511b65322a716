"""Ids of records: UUID version 7, whose order is the order in time."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import UUID

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_COUNTER_BITS = 26


def ids_at(now: datetime) -> Iterator[UUID]:
    """Yield ids for records made at ``now``, ascending, not guessable from each other.

    Source:
        RFC 9562, sections 5.7 and 6.2 (method 1: a counter seeded at random behind the milliseconds, then 48 random bits).
    """
    milliseconds = (now - _EPOCH) // timedelta(milliseconds=1)
    counter = secrets.randbits(_COUNTER_BITS - 1)
    while True:
        counter += 1
        high, low = counter >> 14 & 0xFFF, counter & 0x3FFF
        yield UUID(int=milliseconds << 80 | 0x7 << 76 | high << 64 | 0b10 << 62 | low << 48 | secrets.randbits(48))
