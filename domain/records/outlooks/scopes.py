"""Which items are read, and the statements that read what only some of them have."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.equipment import MEDIA_KINDS, Equipment, EquipmentCheck, EquipmentModel, HourReading, OutputReading
from domain.records.statements import Statement

ITEM, _model = table_of(Equipment), table_of(EquipmentModel)
_hour, _output, _check = table_of(HourReading), table_of(OutputReading), table_of(EquipmentCheck)


@dataclass(frozen=True, slots=True)
class Scope:
    """The statements that read one choice of items."""

    columns: Statement
    extras: Statement
    counters: Statement
    outputs: Statement
    checks: Statement


def _scope(*choice: sa.ColumnElement[bool]) -> Scope:
    own = (ITEM.c.organisation_id == sa.bindparam("organisation_id"), *choice)
    return Scope(
        columns=Statement(sa.select(ITEM.c.id, ITEM.c.model_id, ITEM.c.installed_on, ITEM.c.hours_per_day).where(*own).order_by(ITEM.c.id)),
        extras=Statement(sa.select(*_EXTRA_COLUMNS).where(*own, HAS_EXTRAS)),
        counters=Statement(_of_items(_hour, _hour.c.read_on, _hour.c.counter_h, own=own)),
        outputs=Statement(_of_items(_output, _output.c.measured_on, _output.c.value, own=own)),
        checks=Statement(
            _of_items(
                _check,
                _check.c.done_on,
                _check.c.kind,
                _check.c.result,
                _check.c.interval_months,
                _check.c.interval_days,
                own=own,
            )
        ),
    )


def _of_items(table: sa.Table, on: Any, *columns: Any, own: Iterable[sa.ColumnElement[bool]]) -> sa.Select[Any]:  # noqa: ANN401 - columns
    joined = sa.and_(table.c.organisation_id == ITEM.c.organisation_id, table.c.equipment_id == ITEM.c.id)
    return (
        sa.select(table.c.equipment_id, on, *columns)
        .join(ITEM, joined)
        .where(*own, table.c.ended_on.is_(None))
        .order_by(table.c.equipment_id, on, table.c.id)
    )


_EXTRA_COLUMNS = (
    ITEM.c.id,
    ITEM.c.manufactured_on,
    ITEM.c.expires_on,
    ITEM.c.opened_on,
    ITEM.c.run_schedule,
    ITEM.c.counter_at_installation_h,
    ITEM.c.override_life_months,
    ITEM.c.override_life_hours,
    ITEM.c.override_output_minimum,
)
HAS_EXTRAS = sa.or_(
    *(column.is_not(None) for column in (*_EXTRA_COLUMNS[1:4], *_EXTRA_COLUMNS[6:])),
    sa.and_(ITEM.c.hours_per_day.is_(None), ITEM.c.run_schedule != sa.literal_column("'[]'")),
    ITEM.c.counter_at_installation_h != sa.literal_column("0"),
)
_IN_SERVICE = sa.and_(
    sa.or_(ITEM.c.ended_on.is_(None), ITEM.c.ended_on > sa.bindparam("on")),
    sa.or_(ITEM.c.installed_on.is_(None), ITEM.c.installed_on <= sa.bindparam("on")),
)
AT_SITE = _scope(ITEM.c.site_id == sa.bindparam("site_id"), _IN_SERVICE)
ONE_ITEM = _scope(ITEM.c.id == sa.bindparam("equipment_id"))
MEDIA_OF_SYSTEM = _scope(
    ITEM.c.life_support_system_id == sa.bindparam("system_id"),
    _IN_SERVICE,
    sa.exists().where(
        _model.c.organisation_id == ITEM.c.organisation_id,
        _model.c.id == ITEM.c.model_id,
        _model.c.kind.in_([sa.literal_column(f"'{kind.value}'") for kind in MEDIA_KINDS]),
    ),
)
IN_SERVICE_AT_SITE = (ITEM.c.organisation_id == sa.bindparam("organisation_id"), ITEM.c.site_id == sa.bindparam("site_id"), _IN_SERVICE)
EXTRAS_BETWEEN = Statement(
    sa.select(*_EXTRA_COLUMNS).where(*IN_SERVICE_AT_SITE, HAS_EXTRAS, ITEM.c.id >= sa.bindparam("first"), ITEM.c.id <= sa.bindparam("last"))
)
