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
from tests.counting import Counting, counted

TRIES = 20
AT = {"dispatch": makers.NOON, "receive": makers.NOON + timedelta(hours=2)}
AFTER_COMMIT = 0
"""Not at a statement, but between the commit and the reply."""


class Killing(Counting):
    """A cursor that ends the process at one statement."""

    def __init__(self, cursor: Any, *, at: int) -> None:
        super().__init__(cursor)
        self._at = at

    def next(self) -> None:
        """Count, unless it is the one."""
        super().next()
        if self.executed == self._at:
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
    with suppress(_TakenBack), store.transaction(makers.origin(at=AT[step])) as unit:
        with counted(unit) as asked:
            act(unit, step, transfer_id)
            unit.seal()
        raise _TakenBack
    return asked.executed


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
                unit.cursor = Killing(unit.cursor, at=kill_at)
                act(unit, step, UUID(transfer_id))
            os.kill(os.getpid(), signal.SIGKILL)
        except StorageBusy:
            time.sleep(0.1)
