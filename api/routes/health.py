"""Whether the service lives, and whether it can work. Neither needs a key, and neither says more than it must."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.errors import Answer
from domain.errors import StorageBusy
from domain.records.lists import SCHEMA_REVISION

router = APIRouter(tags=["health"])


@router.get("/healthz", operation_id="get_health", summary="Whether the process answers")
async def healthz() -> Response:
    """Answer for as long as the event loop turns."""
    return Answer(b'{"status":"alive"}')


@router.get("/readyz", operation_id="get_readiness", summary="Whether the database answers and fits this version")
async def readyz(request: Request) -> Response:
    """Answer 200 when one statement comes back from the database, and its schema is the one that this version knows.

    Raises:
        StorageBusy: The database does not answer, or its schema is another version's.
    """
    house = request.app.state.house
    try:
        rows = await house.store.read(SCHEMA_REVISION)
    except Exception as failed:
        raise StorageBusy("The database does not answer.", code="not-ready") from failed
    if [row[0] for row in rows] != [house.schema_head]:
        raise StorageBusy("The database's schema is another version's; run reedbed migrate.", code="not-ready")
    return Answer(b'{"status":"ready"}')
