"""Replacements and checks of equipment, from the forecasts that the night stored."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.duties.wording import PLACES_FIRST, at_site, occurrence
from domain.records.base import table_of
from domain.records.equipment import Equipment, EquipmentCheck, EquipmentModel
from domain.records.nights import StoredForecast
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.reminders import Duty, ReminderKind
from domain.rules.service_life import RuleKind, Standing

_forecast, _item, _model, _check = (table_of(one) for one in (StoredForecast, Equipment, EquipmentModel, EquipmentCheck))
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_GOOD: sa.ColumnElement[str] = sa.literal_column(f"'{Standing.GOOD.value}'")
_day = sa.func.coalesce(_forecast.c.due_on, _forecast.c.no_later_than, type_=sa.Date())
_checked_on = (
    sa.select(sa.func.max(_check.c.done_on, type_=sa.Date()))
    .where(
        _check.c.organisation_id == _forecast.c.organisation_id,
        _check.c.equipment_id == _forecast.c.equipment_id,
        _check.c.ended_on.is_(None),
    )
    .correlate(_forecast)
    .scalar_subquery()
)
TO_BE_TOLD = Statement(
    sa.select(
        _forecast.c.equipment_id,
        _forecast.c.site_id,
        _forecast.c.binding,
        _day.label("due_on"),
        _forecast.c.order_by,
        _item.c.tag,
        _item.c.position,
        _item.c.installed_on,
        _model.c.name.label("model"),
        _model.c.warn_days,
        _checked_on.label("checked_on"),
    )
    .join(_item, sa.and_(_item.c.organisation_id == _forecast.c.organisation_id, _item.c.id == _forecast.c.equipment_id))
    .join(_model, sa.and_(_model.c.organisation_id == _item.c.organisation_id, _model.c.id == _item.c.model_id))
    .where(
        _forecast.c.organisation_id == _organisation_id,
        at_site(_forecast.c.site_id),
        _day.is_not(None),
        sa.or_(_forecast.c.standing != _GOOD, _forecast.c.order_by <= sa.bindparam("today", type_=sa.Date())),
    )
    .order_by(_forecast.c.equipment_id)
)
"""The items that are due, due soon or to be ordered for, and those that cannot be dated but are due by a day at the latest."""


def services(unit: Unit, site_id: UUID, *, today: date) -> Iterator[Duty]:
    """Yield the replacements and checks that the stored forecasts of a site ask for.

    An installation is one occurrence, and of checks each since the one before. Told is from the model's days of warning, or as soon as the
    part has to be ordered.
    """
    for row in unit.named(TO_BE_TOLD, site_id=site_id, today=today):
        yield _duty(row)


def _duty(row: Mapping[str, Any]) -> Duty:
    is_check = row["binding"] is RuleKind.CHECK
    due_on, order_by = row["due_on"], row["order_by"]
    warned_from = due_on - timedelta(days=row["warn_days"])
    since = (row["installed_on"] or "unknown", *([row["checked_on"] or "never"] if is_check else []))
    place = f", {row['position']}" if row["position"] else ""
    return Duty(
        subject=Equipment.noun,
        subject_id=row["equipment_id"],
        kind=ReminderKind.CHECK if is_check else ReminderKind.REPLACEMENT,
        occurrence=occurrence(*since, site_id=row["site_id"]),
        due_on=due_on,
        tell_from=min(warned_from, order_by or warned_from),
        sentence=f"{'Check' if is_check else 'Replace'} {row['tag']} ({row['model']}{place}). {PLACES_FIRST}",
        site_id=row["site_id"],
    )
