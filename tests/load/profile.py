"""What is asked for under load, and how much of it the service can answer."""

from __future__ import annotations

import asyncio
import json
import random
import time
from collections.abc import Iterator
from itertools import count

from tests.benchmarks.http_client import request
from tests.load.generator import HOST
from tests.load.served import Furnished

CONNECTIONS = 16
SHARES = {"one": 60, "list": 20, "due": 5, "write": 15}
"""Of a hundred requests: reads of one record, lists, due lists, and writes."""


def mixed(place: Furnished, *, seed: int, shares: dict[str, int] | None = None) -> Iterator[bytes]:
    """Yield requests without end, each of them new: reads of known records, and records that are not there yet."""
    chance = random.Random(seed)  # noqa: S311 - not a secret
    shares = shares or SHARES
    kinds = [kind for kind, share in shares.items() for _ in range(share)]
    for number in count():
        yield _request(chance.choice(kinds), place, chance, number=f"{seed}-{number}")


def _request(kind: str, place: Furnished, chance: random.Random, *, number: str) -> bytes:
    if kind == "one":
        return request("GET", f"/v1/sites/{chance.choice(place.site_ids)}", key=place.key)
    if kind == "list":
        return request("GET", "/v1/sites?limit=100", key=place.key)
    if kind == "due":
        return request("GET", "/v1/replacements", key=place.key)
    body = json.dumps({"name": f"Pond {number}", "zone": "Europe/Lisbon"}).encode()
    headers = {"content-type": "application/json", "idempotency-key": f"pond-{number}"}
    return request("POST", "/v1/sites", key=place.key, headers=headers, body=body)


def ceiling(port: int, requests: Iterator[bytes], *, for_s: float) -> float:
    """Return how many requests a second the service answers with success when a few connections are kept busy."""
    return asyncio.run(_ceiling(port, requests, for_s=for_s))


async def _ceiling(port: int, requests: Iterator[bytes], *, for_s: float) -> float:
    until = time.perf_counter() + for_s
    answered = await asyncio.gather(*(_keep_busy(port, requests, until=until) for _ in range(CONNECTIONS)))
    return sum(answered) / for_s


async def _keep_busy(port: int, requests: Iterator[bytes], *, until: float) -> int:
    reader, writer = await asyncio.open_connection(HOST, port)
    answered = 0
    while time.perf_counter() < until:
        writer.write(next(requests))
        head = await reader.readuntil(b"\r\n\r\n")
        await reader.readexactly(int(head.lower().partition(b"content-length:")[2].partition(b"\r\n")[0]))
        answered += head[9:10] == b"2"
    writer.close()
    await writer.wait_closed()
    return answered
