"""Shapes of forecasts and of what is due."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field

from domain.records.equipment import EquipmentKind
from domain.rules.forecast import Need
from domain.rules.service_life import CheckKind, RuleKind, Standing


class ListFormat(StrEnum):
    """How a list is given."""

    JSON = "json"
    CSV = "csv"


class Shown(BaseModel):
    """An answer whose members are all there, null where nothing is known."""

    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class RuleAnswer(BaseModel):
    """What one rule says by itself. Beside ``kind``, ``due_on`` and ``sentence`` it has only the members that the rule used."""

    model_config = ConfigDict(extra="forbid")

    kind: RuleKind
    due_on: date | None
    sentence: str
    missing: list[str] = Field(default_factory=list, description="Facts it needs that are not on record.")
    limit_months: int | None = None
    limit_days: int | None = None
    limit_h: float | None = None
    limit: float | None = Field(default=None, description="Least output, in `unit`.")
    unit: str | None = None
    counted_from: date | None = None
    run_h: float | None = Field(default=None, description="Hours run by the beginning of `as_of`.")
    schedule: str | None = None
    readings: int | None = None
    latest: float | None = None
    latest_on: date | None = None
    first: float | None = Field(default=None, description="The first reading after burn-in.")
    check: CheckKind | None = None
    failed_on: date | None = None


class Forecast(Shown):
    """One item's outlook: when it is due, by which rule, and why."""

    equipment_id: UUID
    as_of: date
    standing: Standing
    due_on: date | None = Field(description="Null while the standing is unknown.")
    no_later_than: date | None = Field(description="The earliest date known of an item whose standing is unknown.")
    binding: RuleKind | None
    needs: Need | None
    do_on: date | None = Field(
        description="The day proposed: before due_on where filter media lots are kept apart, today where it is past."
    )
    conflict: str | None = Field(description="Why the due date cannot be kept, where it cannot.")
    order_by: date | None
    rules: list[RuleAnswer]
    missing: list[str]
    reason: str
    because: str
    cautions: list[str]


class DueItem(Shown):
    """An item that is due, with where it is and what is on the shelf for it."""

    equipment_id: UUID
    site_id: UUID
    tag: str
    place: str | None
    position: str | None
    model: str
    kind: EquipmentKind
    standing: Standing
    due_on: date | None
    no_later_than: date | None
    binding: RuleKind | None
    needs: Need | None
    do_on: date | None
    conflict: str | None
    order_by: date | None
    missing: list[str]
    reason: str
    because: str
    cautions: list[str]
    spares_on_hand: int
    shelves: list[str]
    supplier: str | None


class DueItemPage(Shown):
    """One page of what is due."""

    items: list[DueItem]
    next: str | None
