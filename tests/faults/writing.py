"""Children that write straight through the store until they are killed, and note in a file what was confirmed to them."""

from __future__ import annotations

import os
from itertools import count
from pathlib import Path
from typing import Any

from domain.records.engine import SqliteStore
from domain.records.tables import make_ready
from tests import makers
from tests.faults.broken_service import DeafStore
from tests.faults.in_process import running

NOTE = "reed " * 100
NAMED_STORES = {"shipped": SqliteStore, "deaf": DeafStore}


class LessSureStore(SqliteStore):
    """A store that synchronises less than the shipped one; ``synchronous`` is SQLite's word for how much less."""

    def __init__(self, path: Path, *, synchronous: str) -> None:
        self.synchronous = synchronous
        super().__init__(path)

    def connect(self) -> Any:
        connection = super().connect()
        connection.execute(f"PRAGMA synchronous={self.synchronous}").fetchall()
        return connection


def write_sites(path: str, confirmed: str, synchronous: str | None) -> None:
    """Register one site after another, and write the id and name of each that was committed as a line of a file."""
    make_ready()
    store = LessSureStore(Path(path), synchronous=synchronous) if synchronous else SqliteStore(Path(path))
    lines = os.open(confirmed, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    for number in count():
        name = f"{os.getpid()}-{number}"
        with store.transaction(makers.origin(request_id=name)) as unit:
            made = makers.site(unit, name=name, note=NOTE)
        os.write(lines, f"{made.id} {name}\n".encode())


def ask_for_sites(path: str, key: str, answers: str, gate: str, store_name: str, number: int) -> None:
    """Say that all is ready; once the gate is opened, ask a service over a SQLite file to register sites.

    Each answer's status, code and number becomes a line of a file.
    """
    make_ready()
    store = NAMED_STORES[store_name](Path(path))
    lines = os.open(answers, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    os.write(lines, b"ready\n")
    Path(gate).read_bytes()
    with running(store, key=key) as client:
        for at in range(number):
            said = client.post("/v1/sites", {"name": f"Site {at}", "zone": "Europe/Lisbon", "note": NOTE}, Idempotency_Key=f"key-{at}")
            os.write(lines, f"{said.status_code} {said.json().get('code', '-')} {at}\n".encode())
        os.write(lines, f"{client.get('/readyz').status_code} - readyz\n".encode())
    store.close()
