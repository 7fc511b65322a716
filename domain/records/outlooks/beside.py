"""What only some items have: dates and limits of their own, richer schedules, readings and checks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from domain.records.outlooks.packed import Columns
from domain.records.outlooks.scopes import EXTRAS_BETWEEN, Scope
from domain.records.unit import Unit


@dataclass(slots=True)
class Beside:
    """What only some items have, by the item's id as bytes."""

    extras: dict[bytes, dict[str, Any]] = field(default_factory=dict)
    counters: dict[bytes, list[tuple[date, float]]] = field(default_factory=lambda: defaultdict(list))
    outputs: dict[bytes, list[tuple[date, float]]] = field(default_factory=lambda: defaultdict(list))
    checks: dict[bytes, list[dict[str, Any]]] = field(default_factory=lambda: defaultdict(list))

    def of_interest(self) -> set[bytes]:
        """Return the ids that have anything beside the columns."""
        return {*self.extras, *self.counters, *self.outputs, *self.checks}


def read_beside(unit: Unit, scope: Scope, **parameters: Any) -> Beside:  # noqa: ANN401 - column values
    """Return the readings and checks of a choice of items; what else only some have is still to be put in."""
    found = Beside()
    for equipment_id, on, counter in unit.rows(scope.counters, **parameters):
        found.counters[equipment_id.bytes].append((on, counter))
    for equipment_id, on, value in unit.rows(scope.outputs, **parameters):
        found.outputs[equipment_id.bytes].append((on, value))
    for row in unit.named(scope.checks, **parameters):
        found.checks[row["equipment_id"].bytes].append(row)
    return found


def extras_among(unit: Unit, site_id: UUID, columns: Columns, *, on: date) -> dict[bytes, dict[str, Any]]:
    """Return what the items of some columns have beyond them, by id; the columns are in the order of their ids."""
    first, last = (UUID(bytes=columns.ids[i].tobytes()) for i in (0, -1))
    return by_id(unit.named(EXTRAS_BETWEEN, site_id=site_id, on=on, first=first, last=last))


def by_id(rows: Iterable[dict[str, Any]]) -> dict[bytes, dict[str, Any]]:
    """Return rows by the bytes of their ids."""
    return {row["id"].bytes: row for row in rows}
