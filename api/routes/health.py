"""Whether the service lives, and whether it can work. Neither needs a key, and neither says more than it must.

What is wrong is for the log, once for each change: a public answer says only that something is.
"""

from __future__ import annotations

import asyncio
import logging
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.context import House
from api.errors import Answer
from api.metrics import free_bytes
from domain.errors import StorageBusy
from domain.records.entrance import SCHEMA_REVISION

router = APIRouter(tags=["health"])
log = logging.getLogger("reedbed")

WITHIN_S = 1.0
"""How long the database may take to answer [s]."""
SYNCHRONOUS = {"wal": 2, "delete": 3}
"""What SQLite has to be set to under each kind of journal: FULL and EXTRA."""


class Readiness:
    """Looks after the database. Those who ask meanwhile get the same answer: asking often costs the database nothing."""

    def __init__(self) -> None:
        self._looking: asyncio.Task[str] | None = None
        self._last = ""

    async def fault(self, house: House) -> str:
        """Return which check fails; nothing where the service can work."""
        if house.draining.begun:
            return "draining"
        if self._looking is None or self._looking.done():
            self._looking = asyncio.create_task(_checked(house))
        found = await asyncio.shield(self._looking)
        if found != self._last:
            log.warning("not ready" if found else "ready again", extra={"check": found})
            self._last = found
        return found


async def _checked(house: House) -> str:
    look = asyncio.create_task(_sqlite(house) if house.store.dialect == "sqlite" else _postgres(house.store))
    look.add_done_callback(_heard)
    try:
        # Shielded, so that nobody waits until the driver has taken its leave of a server that says nothing at all.
        revisions, fault = await asyncio.wait_for(asyncio.shield(look), WITHIN_S)
    except Exception as failed:  # noqa: BLE001 - whatever it is, the database cannot be worked with
        look.cancel()
        log.info("the database does not answer: %s", failed)
        return "database"
    return fault or ("" if revisions == [house.schema_head] else "schema")


def _heard(look: asyncio.Task[tuple[list[str], str]]) -> None:
    """Take note of how a look ended that nobody waited for any more."""
    if not look.cancelled():
        look.exception()


async def _postgres(store: Any) -> tuple[list[str], str]:  # noqa: ANN401 - a PostgreSQL store
    return [row[0] for row in await store.look(SCHEMA_REVISION)], ""


async def _sqlite(house: House) -> tuple[list[str], str]:
    """Look in a thread and on a connection of its own, so that a lock on the file does not hold up the event loop."""
    return await asyncio.to_thread(_looked, house.store, house.settings.min_free_disk_bytes)


def _looked(store: Any, min_free_bytes: int) -> tuple[list[str], str]:  # noqa: ANN401 - a SQLite store
    connection = store.connect()
    try:
        revisions = [row[0] for row in connection.execute(SCHEMA_REVISION["sqlite"].on("sqlite").sql)]
        [[kind]], [[synchronous]] = (connection.execute(f"PRAGMA {name}").fetchall() for name in ("journal_mode", "synchronous"))
    finally:
        connection.close()
    if synchronous != SYNCHRONOUS.get(kind) or (kind == "wal") != store.write_ahead:
        return revisions, "contract"
    return revisions, "disk" if free_bytes(store.path) < min_free_bytes else ""


@router.get("/healthz", operation_id="get_health", summary="Whether the process answers")
async def healthz() -> Response:
    """Answer for as long as the event loop turns."""
    return Answer(b'{"status":"alive"}')


@router.get("/readyz", operation_id="get_readiness", summary="Whether the database answers and fits this version")
async def readyz(request: Request) -> Response:
    """Answer 200 when the database answers within a second, keeps its contract, has room, and its schema is this version's.

    Raises:
        StorageBusy: One of these fails, or the service is about to stop.
    """
    fault = await request.app.state.readiness.fault(request.app.state.house)
    if fault:
        raise StorageBusy("The service is not ready.", code="not-ready" if fault != "draining" else fault)
    return Answer(b'{"status":"ready"}')
