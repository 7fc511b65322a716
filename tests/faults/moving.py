"""A process that has animals leave or arrive, and kills itself at one statement of it."""

from __future__ import annotations

import os
import signal
import time
from contextlib import suppress
from datetime import timedelta
from typing import Any
from uuid import UUID

from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import LINES_OF
from domain.actions.transfers.receive import receive_transfer
from domain.errors import StorageBusy
from domain.records.engine import Store, open_store
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.transfers import Dispatch, Receipt, TransferAnimal
from domain.records.unit import Unit
from tests import makers

TRIES = 20
AT = {"dispatch": makers.NOON, "receive": makers.NOON + timedelta(hours=2)}
AFTER_COMMIT = 0
"""Not at a statement, but between the commit and the reply."""


class Counting:
    """A cursor that counts what it executes, and ends the process at one of them."""

    def __init__(self, cursor: Any, *, kill_at: int | None) -> None:
        self._cursor, self._kill_at, self.count = cursor, kill_at, 0

    def execute(self, *given: Any) -> Any:
        """Count, then execute, unless it is the one."""
        self._next()
        return self._cursor.execute(*given)

    def executemany(self, *given: Any) -> Any:
        """Count, then execute, unless it is the one."""
        self._next()
        return self._cursor.executemany(*given)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cursor, name)

    def _next(self) -> None:
        self.count += 1
        if self.count == self._kill_at:
            os.kill(os.getpid(), signal.SIGKILL)


def act(unit: Unit, step: str, transfer_id: UUID) -> None:
    """Have the animals of a transfer leave, or arrive."""
    if step == "dispatch":
        dispatch_transfer(unit, transfer_id, Dispatch(temperature_c=22.5))
        return
    lines = unit.all(TransferAnimal, LINES_OF, transfer_id=transfer_id)
    arrivals = [{"transfer_animal_id": str(one.id), "condition": "lively"} for one in lines]
    receive_transfer(unit, transfer_id, read_stated(Receipt, json_text({"arrivals": arrivals})))


def statements_of(store: Store, step: str, transfer_id: UUID) -> int:
    """Return how many statements a step takes, its sealing included; nothing of it stays."""
    counted = 0
    with suppress(_TakenBack), store.transaction(makers.origin(at=AT[step])) as unit:
        unit.cursor = counting = Counting(unit.cursor, kill_at=None)
        act(unit, step, transfer_id)
        unit.seal()
        counted = counting.count
        raise _TakenBack
    return counted


class _TakenBack(Exception):  # noqa: N818 - nothing went wrong
    """What was only counted is taken back."""


def run(url: str, step: str, transfer_id: str, kill_at: int) -> None:
    """Do a step in this process and be killed at a statement of it, or after its commit.

    Where the server has not noticed yet that the one before was killed, what that held is waited for.
    """
    store = open_store(url, pool_size=1)
    for _ in range(TRIES):
        try:
            with store.transaction(makers.origin(at=AT[step])) as unit:
                unit.cursor = Counting(unit.cursor, kill_at=kill_at)
                act(unit, step, UUID(transfer_id))
            os.kill(os.getpid(), signal.SIGKILL)
        except StorageBusy:
            time.sleep(0.1)
