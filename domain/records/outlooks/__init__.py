"""Reading the facts of service life for all items of a site at once, in batches of columns.

What nearly every item has (model, installation date, constant hours a day) is read as columns that the database packs; what only some
have is read beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any
from uuid import UUID

from domain.records.outlooks.batches import ALL_MODELS, ServiceBatch, batches, models_of
from domain.records.outlooks.beside import by_id, extras_among, read_beside
from domain.records.outlooks.packed import as_columns, site_columns
from domain.records.outlooks.scopes import AT_SITE, MEDIA_OF_SYSTEM, ONE_ITEM, Scope
from domain.records.unit import Unit

__all__ = ["ALL_MODELS", "BATCH", "ServiceBatch", "item_batches", "site_batches", "system_media_batches"]

BATCH = 50_000
"""Items read and judged at a time; keeps memory level however many a site has."""


def site_batches(unit: Unit, site_id: UUID, *, on: date, size: int = BATCH) -> Iterator[ServiceBatch]:
    """Yield the facts of every item that is in service at a site on a day, as they are known now."""
    models = models_of(unit)
    beside = read_beside(unit, AT_SITE, site_id=site_id, on=on)
    for columns in site_columns(unit, site_id, on=on, size=size):
        beside.extras = extras_among(unit, site_id, columns, on=on) if columns.has_extras else {}
        yield from batches(columns, models=models, beside=beside)


def item_batches(unit: Unit, equipment_id: UUID) -> Iterator[ServiceBatch]:
    """Yield the facts of one item, in service or not."""
    yield from _few(unit, ONE_ITEM, equipment_id=equipment_id)


def system_media_batches(unit: Unit, system_id: UUID, *, on: date) -> Iterator[ServiceBatch]:
    """Yield the facts of the filter media lots that are in service in a life-support system on a day."""
    yield from _few(unit, MEDIA_OF_SYSTEM, system_id=system_id, on=on)


def _few(unit: Unit, scope: Scope, **parameters: Any) -> Iterator[ServiceBatch]:  # noqa: ANN401 - column values
    rows = unit.rows(scope.columns, **parameters)
    if not rows:
        return
    packed = [(one.bytes, model.bytes, installed, hours, True) for one, model, installed, hours in rows]
    beside = read_beside(unit, scope, **parameters)
    beside.extras = by_id(unit.named(scope.extras, **parameters))
    yield from batches(as_columns(packed), models=models_of(unit), beside=beside)
