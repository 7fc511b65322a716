"""The service over stores that break a promise on purpose, so that the tests can show that they would notice."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from api.app import build_app
from api.idempotency import CLAIM, FIRST_ANSWER, KEEP_ANSWER
from api.settings import Settings
from domain.records.engine import SqliteStore, Store
from domain.records.journal import Origin
from domain.records.tables import make_ready
from domain.records.unit import Unit
from tests import makers
from tests.faults.serving import UNLIMITED

TOGETHER = 40
KEY_LATE_S = 0.03


class _Late:
    """What a cursor or a connection does, but that most commits are left for later."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)


class LateConnection(_Late):
    """A connection that commits now and then."""

    commits = 0

    def cursor(self) -> LateCursor:
        return LateCursor(self._inner.cursor(), self)


class LateCursor(_Late):
    """A cursor of such a connection."""

    def __init__(self, inner: Any, of: LateConnection) -> None:
        super().__init__(inner)
        self._of = of

    def execute(self, sql: str, *parameters: Any) -> Any:
        if sql.startswith("BEGIN") and self._of.in_transaction:
            return self
        if sql == "COMMIT":
            self._of.commits += 1
            if self._of.commits % TOGETHER:
                return self
        return self._inner.execute(sql, *parameters)


class LateStore(SqliteStore):
    """A store that says it has committed when it has not yet."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._writer = LateConnection(self._writer)


class DeafCursor(_Late):
    """A cursor that does not hear when a commit fails."""

    def execute(self, sql: str, *parameters: Any) -> Any:
        try:
            return self._inner.execute(sql, *parameters)
        except Exception:
            if sql != "COMMIT":
                raise
            return self


class DeafConnection(_Late):
    """A connection of such cursors."""

    def cursor(self) -> DeafCursor:
        return DeafCursor(self._inner.cursor())


class DeafStore(SqliteStore):
    """A store that takes every commit for done."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._writer = DeafConnection(self._writer)


class KeyApart(_Late):
    """A unit that leaves the answers under Idempotency-Keys for a transaction of their own."""

    def __init__(self, inner: Unit) -> None:
        super().__init__(inner)
        self.left: list[tuple[Any, dict[str, Any]]] = []

    def run(self, statement: Any, **parameters: Any) -> int:
        if statement is CLAIM["sqlite"] and self._inner.rows(FIRST_ANSWER, key=parameters["key"]):
            return 0
        if statement in {CLAIM["sqlite"], KEEP_ANSWER}:
            self.left.append((statement, parameters))
            return 1
        return self._inner.run(statement, **parameters)


class KeyApartStore(SqliteStore):
    """A store that keeps a key's answer after the effect was committed."""

    @contextmanager
    def transaction(self, origin: Origin) -> Iterator[Any]:
        with super().transaction(origin) as unit:
            apart = KeyApart(unit)
            yield apart
        if apart.left:
            threading.Timer(KEY_LATE_S, self._keep, (origin, apart.left)).start()

    def _keep(self, origin: Origin, left: list[tuple[Any, dict[str, Any]]]) -> None:
        with super().transaction(origin) as unit:
            for statement, parameters in left:
                unit.run(statement, **parameters)


STORES = {"answers before it commits": LateStore, "keeps the key afterwards": KeyApartStore}


def serve(flaw: str, path: str, port: int) -> None:
    """Serve a SQLite file with a flaw."""
    make_ready()
    store: Store = STORES[flaw](Path(path))
    app = build_app(store, settings=Settings(**UNLIMITED), clock=lambda: makers.NOON)
    listener = socket.create_server(("127.0.0.1", port))
    uvicorn.Server(uvicorn.Config(app, log_level="warning")).run(sockets=[listener])
