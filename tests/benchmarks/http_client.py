"""Serving processes, and a client that keeps a few connections busy: on each, the next request goes out when the answer is in."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

CONNECTIONS = 8
_HOUSE = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Round:
    """A round of requests: processor time the server took for each [µs], requests a second, and the answers in order."""

    cpu_us: float
    per_second: float
    statuses: Sequence[int]
    bodies: Sequence[bytes]


class Server:
    """A serving process."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        self._port = int(process.stdout.readline())

    def round(self, requests: Sequence[bytes]) -> Round:
        """Send the requests and return what became of them."""
        before, began = self._cpu_ns(), perf_counter()
        answers = asyncio.run(_sent(self._port, requests))
        took, spent = perf_counter() - began, self._cpu_ns() - before
        return Round(
            cpu_us=spent / 1000 / len(requests),
            per_second=len(requests) / took,
            statuses=[status for status, _ in answers],
            bodies=[body for _, body in answers],
        )

    def _cpu_ns(self) -> int:
        self._process.stdin.write("\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())


@contextmanager
def serving(what: str, url: str) -> Iterator[Server]:
    """Yield a process that serves the database, as the ``service`` or as the ``raw`` handler."""
    command = [sys.executable, "-m", "tests.benchmarks.serving_child", what, url]
    process = subprocess.Popen(command, cwd=_HOUSE, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        yield Server(process)
    finally:
        process.stdin.close()
        process.wait(30)
        process.stdout.close()


def request(method: str, path: str, *, key: str, headers: Mapping[str, str] | None = None, body: bytes = b"") -> bytes:
    """Return a request as it goes over the wire."""
    said = {"host": "benchmark", "authorization": f"Bearer {key}", **(headers or {})}
    if body:
        said |= {"content-length": str(len(body))}
    lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in said.items()), "", ""]
    return "\r\n".join(lines).encode() + body


async def _sent(port: int, requests: Sequence[bytes]) -> list[tuple[int, bytes]]:
    answers: list[tuple[int, bytes]] = [(0, b"")] * len(requests)
    waiting = iter(range(len(requests)))
    await asyncio.gather(*(_connection(port, requests, waiting, answers) for _ in range(min(CONNECTIONS, len(requests)))))
    return answers


async def _connection(port: int, requests: Sequence[bytes], waiting: Iterator[int], answers: list[tuple[int, bytes]]) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    for number in waiting:
        writer.write(requests[number])
        head = await reader.readuntil(b"\r\n\r\n")
        length = int(head.lower().partition(b"content-length:")[2].partition(b"\r\n")[0])
        answers[number] = (int(head[9:12]), await reader.readexactly(length))
    writer.close()
    await writer.wait_closed()
