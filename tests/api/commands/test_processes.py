"""Every command in a process of its own, as somebody types it, on a database that another process made."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

HOUSE = Path(__file__).parents[3]
READY_SECONDS = 30
STOP_SECONDS = 30
# Below the ports that systems give to outgoing connections, so that none of these can take it meanwhile.
PORTS = range(20_000, 30_000)


class Typed:
    """What a command says that is started in a new process."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        kept = {name: value for name, value in os.environ.items() if not name.startswith("REEDBED_")}
        url = f"sqlite:///{folder / 'reedbed.sqlite3'}"
        self.environment = {**kept, "PYTHONPATH": str(HOUSE), "REEDBED_DATABASE_URL": url, "COLUMNS": "200", "REEDBED_STOP_GRACE_S": "0"}

    def started(self, *words: object) -> list[str]:
        return [sys.executable, "-m", "api", *map(str, words)]

    def run(self, *words: object) -> str:
        done = subprocess.run(
            self.started(*words), cwd=self.folder, env=self.environment, check=False, capture_output=True, encoding="utf-8"
        )
        assert (done.returncode, done.stderr) == (0, "")
        return done.stdout


@pytest.fixture
def typed(tmp_path: Path) -> Typed:
    return Typed(tmp_path)


def test_each_command_works_in_a_fresh_process(typed):
    assert typed.run("migrate").startswith("schema ")
    assert "Marshlight Trust" in typed.run("organisation", "create", "Marshlight Trust")
    assert "2 created" in typed.run("import", HOUSE / "seed" / "sites.csv", "--kind", "sites")
    assert "Reedmere House, 1 March 2026" in typed.run("nightly", "--at", "2026-03-01T12:00:00Z")
    assert "key rbk_" in typed.run("key", "create", "--name", "front end")
    assert "front end" in typed.run("key", "list")
    assert "the chain holds and the records agree" in typed.run("verify")


def test_papers_are_written_though_nobody_reads_what_is_printed(typed):
    typed.run("migrate")
    typed.run("organisation", "create", "Marshlight Trust")
    typed.run("import", HOUSE / "seed" / "sites.csv", "--kind", "sites")
    words = typed.started("nightly", "--at", "2026-03-01T12:00:00Z", "--papers", "papers")

    with subprocess.Popen(words, cwd=typed.folder, env=typed.environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as night:
        assert night.stdout is not None
        night.stdout.close()
        night.wait(READY_SECONDS)

    assert len(list((typed.folder / "papers").glob("*.pdf"))) == 2


def test_a_served_database_answers_to_a_key(typed):
    typed.run("migrate")
    key = json.loads(typed.run("organisation", "create", "Marshlight Trust", "--json"))["key"]
    port = free_port()

    with (
        (typed.folder / "said").open("wb") as said,
        (typed.folder / "logged").open("wb") as logged,
        subprocess.Popen(
            typed.started("serve", "--port", port), cwd=typed.folder, env=typed.environment, stdout=said, stderr=logged
        ) as server,
    ):
        try:
            wait_until_ready(f"http://127.0.0.1:{port}", server, said=typed.folder / "logged")
            answer = httpx.get(f"http://127.0.0.1:{port}/v1/replacements", headers={"Authorization": f"Bearer {key}"})
        finally:
            server.terminate()
        server.wait(STOP_SECONDS)

    assert (answer.status_code, answer.json()["items"]) == (200, [])
    assert (typed.folder / "said").read_text(encoding="utf-8") == f"Reedbed at http://127.0.0.1:{port}/docs\n"
    lines = [json.loads(line) for line in (typed.folder / "logged").read_text(encoding="utf-8").splitlines()]
    assert {line["event"] for line in lines} == {"request"}
    assert server.returncode == 0


def free_port() -> int:
    start = PORTS[os.getpid() * 7 % len(PORTS)]
    return next(port for port in range(start, start + 1000) if is_free(port))


def is_free(port: int) -> bool:
    with socket.socket() as tried:
        return tried.connect_ex(("127.0.0.1", port)) != 0


def wait_until_ready(address: str, server: subprocess.Popen[bytes], *, said: Path) -> None:
    deadline = time.monotonic() + READY_SECONDS
    while server.poll() is None and time.monotonic() < deadline:
        try:
            if httpx.get(f"{address}/readyz", timeout=READY_SECONDS).status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.1)
    pytest.fail(f"it did not become ready: {said.read_text(encoding='utf-8')}")
