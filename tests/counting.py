"""How many statements a unit asks of its database."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from domain.records.unit import Unit


class Counting:
    """A cursor that counts what it executes."""

    def __init__(self, cursor: Any) -> None:
        self._cursor = cursor
        self.executed = 0

    def execute(self, *asked: Any) -> Any:
        self.next()
        return self._cursor.execute(*asked)

    def executemany(self, *asked: Any) -> Any:
        self.next()
        return self._cursor.executemany(*asked)

    def next(self) -> None:
        """Count a statement that is about to be executed."""
        self.executed += 1

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cursor, name)


@contextmanager
def counted(unit: Unit) -> Iterator[Counting]:
    """Yield what counts the statements of a unit from here to the end of the block."""
    cursor = unit.cursor
    counting = unit.cursor = Counting(cursor)
    try:
        yield counting
    finally:
        unit.cursor = cursor
