"""Which answers are written down in the reading log before they leave, by what the permission matrix says of their action."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING

from api.context import Call, origin_of
from api.errors import Answer
from api.permissions import Permissions, Undeclared
from domain.actions.reading_log import log_reading
from domain.records.engine import run_unit

if TYPE_CHECKING:
    from api.doors import Door

CONTENT_TYPE, JSON = b"content-type", b"application/json"


async def written_down(call: Call, answer: Answer) -> Answer:
    """Return the answer to a reading once it is on record who read, where the matrix wants that.

    Raises:
        StorageBusy: It cannot be written down at present, so nothing is answered.
    """
    row = call.house.permissions.matrix.actions[call.action]
    if row.logged or (row.files_logged and _is_file(answer)):
        await asyncio.get_running_loop().run_in_executor(call.house.writers, _write_down, call)
    return answer


def refuse_unlogged(doors: Iterable[Door], known: Permissions) -> None:
    """Refuse a matrix that wants an action logged that is not read through a door: nothing would write it down.

    Raises:
        Undeclared: There is one.
    """
    read = {door.action for door in doors if door.reads is not None}
    for action, row in known.matrix.actions.items():
        if (row.logged or row.files_logged) and action not in read:
            raise Undeclared(f"{action} should be logged, and no door reads by it")


def _write_down(call: Call) -> None:
    act = partial(log_reading, action=call.action, subject_id=call.ids[-1] if call.ids else None)
    run_unit(call.house.store, act, origin=origin_of(call))


def _is_file(answer: Answer) -> bool:
    return dict(answer.raw_headers).get(CONTENT_TYPE, JSON) != JSON
