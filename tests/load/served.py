"""The service in a process of its own, as ``reedbed serve`` starts it, on a database with something to ask for."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from api.signin import key_text, new_key_parts
from domain.actions.organisations import create_key
from domain.records.engine import open_store
from domain.records.organisations import Access, ApiKeyStated
from tests import makers
from tests.api.commands.test_processes import free_port

HOUSE = Path(__file__).parents[2]
READY_S = 30.0
STOP_S = 60.0


@dataclass
class Served:
    """A serving process: where it answers, and what it says."""

    port: int
    process: subprocess.Popen[bytes]
    folder: Path
    ready_s: float = 0.0
    status: int | None = field(default=None, init=False)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def terminate(self) -> None:
        self.process.send_signal(signal.SIGTERM)

    def wait(self) -> int:
        self.status = self.process.wait(STOP_S)
        return self.status

    def lines(self) -> list[dict[str, Any]]:
        """Return what it has logged."""
        return [json.loads(line) for line in (self.folder / "log").read_text(encoding="utf-8").splitlines()]

    def rss_kib(self) -> int:
        """Return the memory that it has in use [KiB], by the kernel's account; 0 where the kernel keeps none."""
        status = Path(f"/proc/{self.process.pid}/status")
        if not status.exists():
            return 0
        return next((int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmRSS")), 0)


@contextmanager
def served(url: str, folder: Path, settings: Mapping[str, object]) -> Iterator[Served]:
    """Yield the service on a database with some settings, ready; it is stopped in the end if it has not been."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("REEDBED_")}
    stated = {f"REEDBED_{name.upper()}": str(value) for name, value in settings.items()}
    volatile = {"REEDBED_ACCEPT_VOLATILE_DATABASE": "true", "REEDBED_DATABASE_URL": url}
    port, began = free_port(), time.monotonic()
    with (folder / "log").open("wb") as log, (folder / "said").open("wb") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "api", "serve", "--port", str(port)],
            cwd=folder,
            env={**kept, "PYTHONPATH": str(HOUSE), **volatile, **stated},
            stdout=said,
            stderr=log,
        )
    here = Served(port, process, folder)
    try:
        _wait_until_ready(here)
        here.ready_s = time.monotonic() - began
        yield here
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait_until_ready(here: Served) -> None:
    until = time.monotonic() + READY_S
    while here.process.poll() is None and time.monotonic() < until:
        try:
            if httpx.get(f"{here.address}/readyz", timeout=READY_S).status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.02)
    raise RuntimeError(f"it did not become ready: {(here.folder / 'log').read_text(encoding='utf-8')}")


@dataclass(frozen=True)
class Furnished:
    """An organisation on a database: a key that may write there, and the ids of its sites."""

    organisation_id: int
    key: str
    site_ids: list[str]


def furnish(url: str, *, organisation_id: int = makers.ORGANISATION, name: str = "Marshlight Trust", sites: int = 60) -> Furnished:
    """Put an organisation with some sites on a migrated database."""
    public_id, secret = new_key_parts()
    with closing(open_store(url, pool_size=1)) as store:
        makers.organisation(store, organisation_id=organisation_id, name=name)
        with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
            create_key(unit, ApiKeyStated(name="front end", access=Access.WRITE), public_id=public_id, secret=secret)
            made = [makers.site(unit, name=f"House {number:03}") for number in range(sites)]
    return Furnished(organisation_id, key_text(public_id, secret), [str(site.id) for site in made])
