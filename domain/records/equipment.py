"""Equipment models and the installed items, with what was read, measured and checked on them, and the spares for them."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated, Any, ClassVar
from uuid import UUID

import sqlalchemy as sa
from pydantic import BaseModel, ConfigDict, StringConstraints, model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import (
    Count,
    Day,
    Days,
    Hours,
    HoursPerDay,
    Id,
    JsonColumn,
    Months,
    Name,
    Note,
    PositiveHours,
    UuidColumn,
    Weeks,
    words_of,
)
from domain.records.stated import misstated
from domain.rules.service_life import DUE_SOON_DAYS, CheckKind


class EquipmentKind(StrEnum):
    """What a piece of equipment is, in the trade's words."""

    UVB_TUBE = "uvb-tube"
    UVB_COMPACT = "uvb-compact-lamp"
    MERCURY_VAPOUR = "mercury-vapour-lamp"
    METAL_HALIDE = "metal-halide-lamp"
    HALOGEN = "halogen-lamp"
    LED = "led-lamp"
    UVC_LAMP = "uvc-lamp"
    QUARTZ_SLEEVE = "quartz-sleeve"
    WATER_HEATER = "water-heater"
    CERAMIC_HEATER = "ceramic-heater"
    RADIANT_PANEL = "radiant-panel"
    HEAT_MAT = "heat-mat"
    CHILLER = "chiller"
    THERMOSTAT = "thermostat"
    CIRCULATION_PUMP = "circulation-pump"
    AIR_PUMP = "air-pump"
    FILTER = "filter"
    MECHANICAL_MEDIA = "mechanical-media"
    BIOLOGICAL_MEDIA = "biological-media"
    CARBON_MEDIA = "carbon-media"
    PH_PROBE = "ph-probe"
    OXYGEN_PROBE = "oxygen-probe"
    TEMPERATURE_PROBE = "temperature-probe"
    CONDUCTIVITY_PROBE = "conductivity-probe"
    LOGGER = "logger"
    REAGENT = "reagent"
    RESIDUAL_CURRENT_DEVICE = "residual-current-device"
    INCUBATOR = "incubator"
    GENERATOR = "generator"
    BATTERY = "battery"
    OTHER = "other"


MEDIA_KINDS = (EquipmentKind.MECHANICAL_MEDIA, EquipmentKind.BIOLOGICAL_MEDIA, EquipmentKind.CARBON_MEDIA)
"""Filter media: on one life-support system each item is a lot, and no two lots are changed within the system's least gap."""


class CheckPlan(BaseModel):
    """A check that every item of a model needs, and its interval in months or in days."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    kind: CheckKind
    interval_months: Months | None = None
    interval_days: Days | None = None

    @model_validator(mode="after")
    def _has_one_interval(self) -> CheckPlan:
        if (self.interval_months is None) == (self.interval_days is None):
            raise misstated("interval_days", "say interval_months or interval_days, one of them")
        return self


Caution = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=64)]


class EquipmentModelStated(Stated):
    """A maker's model: its life rules, when to warn, where and how fast to get it, what it costs, and what to be careful of.

    ``output_minimum`` is absolute, in ``output_unit``; ``output_minimum_share`` is a share of the first reading after
    ``burn_in_hours`` [fraction]. ``unit_cost_minor`` is in the organisation's currency, in its minor unit (cents).
    """

    name: Name
    kind: EquipmentKind = Field(sa_type=words_of(EquipmentKind))
    life_months: Months | None = None
    life_weeks: Weeks | None = None
    life_days: Days | None = None
    life_hours: PositiveHours | None = None
    shelf_life_months: Months | None = None
    opened_life_days: Days | None = None
    output_unit: Name | None = None
    output_minimum: Annotated[float, Field(gt=0, le=1e12)] | None = None
    output_minimum_share: Annotated[float, Field(gt=0, lt=1)] | None = None
    burn_in_hours: Hours | None = None
    checks: list[CheckPlan] = Field(default_factory=list, sa_type=JsonColumn, max_length=3)
    warn_days: Annotated[int, Field(ge=0, le=3650)] = DUE_SOON_DAYS
    supplier: Name | None = None
    lead_days: Annotated[int, Field(ge=0, le=3650)] | None = None
    unit_cost_minor: Annotated[int, Field(ge=0, le=2**53 - 1)] | None = Field(default=None, sa_type=sa.BigInteger)
    cautions: list[Caution] = Field(default_factory=list, sa_type=JsonColumn, max_length=12)
    note: Note = ""

    @model_validator(mode="after")
    def _one_unit_of_age(self) -> EquipmentModelStated:
        limits = [name for name in ("life_months", "life_weeks", "life_days") if getattr(self, name) is not None]
        if len(limits) > 1:
            raise misstated(limits[1], "say the age limit once: life_months, life_weeks or life_days")
        if len({plan.kind for plan in self.checks}) != len(self.checks):
            raise misstated("checks", "each kind of check may be planned once", code="repeated")
        return self


class EquipmentModel(Record, EquipmentModelStated, table=True):
    """A stored equipment model."""

    __tablename__ = "equipment_model"
    __table_args__ = (owned_by_organisation(), unique_while_kept("equipment_model", "name_key"))
    noun: ClassVar[str] = "equipment_model"

    checks: Any = Field(default_factory=list, sa_type=JsonColumn)
    cautions: Any = Field(default_factory=list, sa_type=JsonColumn)
    name_key: str


class SeasonStated(BaseModel):
    """Hours a day from a month and day on, every year."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    from_month: Annotated[int, Field(ge=1, le=12)]
    from_day: Annotated[int, Field(ge=1, le=31)]
    hours_per_day: HoursPerDay

    @model_validator(mode="after")
    def _is_a_day_of_the_year(self) -> SeasonStated:
        try:
            date(2024, self.from_month, self.from_day)
        except ValueError as impossible:
            raise misstated("from_day", f"there is no day {self.from_day} in month {self.from_month}", code="not-date") from impossible
        return self


class RunPeriodStated(BaseModel):
    """Hours a day from ``starts_on`` (absent: since installation) until the next period: constant, or by season."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    starts_on: Day | None = None
    hours_per_day: HoursPerDay | None = None
    seasons: Annotated[list[SeasonStated], Field(max_length=12)] = []

    @model_validator(mode="after")
    def _constant_or_seasonal(self) -> RunPeriodStated:
        if (self.hours_per_day is None) == (not self.seasons):
            raise misstated("hours_per_day", "say hours_per_day or seasons, one of them")
        if len({(one.from_month, one.from_day) for one in self.seasons}) != len(self.seasons):
            raise misstated("seasons", "two seasons begin on the same day", code="repeated")
        return self


class EquipmentStated(Stated):
    """An installed item: its tag, model, place, position, dates, run schedule, and limits of its own where it has any.

    A limit of its own (``override_...``) takes the place of the model's and needs ``override_reason``.
    ``counter_at_installation_h`` is what the hour counter showed when the item was fitted [h].
    """

    tag: Name
    model_id: Id = Field(sa_type=UuidColumn)
    site_id: Id = Field(sa_type=UuidColumn)
    enclosure_id: Id | None = Field(default=None, sa_type=UuidColumn)
    life_support_system_id: Id | None = Field(default=None, sa_type=UuidColumn)
    position: Name | None = None
    serial: Name | None = None
    installed_on: Day | None = None
    manufactured_on: Day | None = None
    expires_on: Day | None = None
    opened_on: Day | None = None
    run_schedule: list[RunPeriodStated] = Field(default_factory=list, sa_type=JsonColumn, max_length=100)
    counter_at_installation_h: Hours = 0.0
    override_life_months: Months | None = None
    override_life_hours: PositiveHours | None = None
    override_output_minimum: Annotated[float, Field(gt=0, le=1e12)] | None = None
    override_reason: Name | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _makes_sense(self) -> EquipmentStated:
        overrides = (self.override_life_months, self.override_life_hours, self.override_output_minimum)
        if any(limit is not None for limit in overrides) and not self.override_reason:
            raise misstated("override_reason", "a limit of the item's own needs override_reason", code="required")
        starts = [period.starts_on for period in self.run_schedule]
        if len(set(starts)) != len(starts):
            raise misstated("run_schedule", "two periods of run_schedule begin on the same day", code="repeated")
        return self


class Equipment(Record, EquipmentStated, table=True):
    """A stored item. ``hours_per_day`` repeats a run schedule of one constant period, for reading a million items at once."""

    __tablename__ = "equipment"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("equipment_model", "model_id"),
        refers_to("site", "site_id"),
        refers_to("enclosure", "enclosure_id"),
        refers_to("life_support_system", "life_support_system_id"),
        refers_to("equipment", "replaces_id"),
        unique_while_kept("equipment", "tag_key"),
        sa.Index("ix_equipment_site", "organisation_id", "site_id", "id"),
    )
    noun: ClassVar[str] = "equipment"

    run_schedule: Any = Field(default_factory=list, sa_type=JsonColumn)
    tag_key: str
    hours_per_day: float | None = None
    replaces_id: UUID | None = Field(default=None, sa_type=UuidColumn)


class HourReadingStated(Stated):
    """What an item's hour counter showed on a day at the site [h]; like the day of installation, that day's own hours are still to come."""

    read_on: Day
    counter_h: Hours
    note: Note = ""


class HourReading(Record, HourReadingStated, table=True):
    """A stored hour-counter reading."""

    __tablename__ = "hour_reading"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("equipment", "equipment_id"),
        sa.Index("ix_hour_reading_equipment", "organisation_id", "equipment_id", "read_on"),
    )
    noun: ClassVar[str] = "hour_reading"

    equipment_id: UUID = Field(sa_type=UuidColumn)


class OutputReadingStated(Stated):
    """An item's measured output, in its model's ``output_unit``, and how it was measured (meter, distance, place)."""

    measured_on: Day
    value: Annotated[float, Field(ge=0, le=1e12)]
    method: Note = ""
    note: Note = ""


class OutputReading(Record, OutputReadingStated, table=True):
    """A stored output reading."""

    __tablename__ = "output_reading"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("equipment", "equipment_id"),
        sa.Index("ix_output_reading_equipment", "organisation_id", "equipment_id", "measured_on"),
    )
    noun: ClassVar[str] = "output_reading"

    equipment_id: UUID = Field(sa_type=UuidColumn)


class CheckResult(StrEnum):
    """How a check ended."""

    PASSED = "passed"
    FAILED = "failed"


class EquipmentCheckStated(Stated):
    """A check that was made, its result, and the interval to the next where it is not the model's."""

    kind: CheckKind = Field(sa_type=words_of(CheckKind))
    done_on: Day
    result: CheckResult = Field(sa_type=words_of(CheckResult))
    interval_months: Months | None = None
    interval_days: Days | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _has_at_most_one_interval(self) -> EquipmentCheckStated:
        if self.interval_months is not None and self.interval_days is not None:
            raise misstated("interval_days", "say interval_months or interval_days, not both")
        return self


class EquipmentCheck(Record, EquipmentCheckStated, table=True):
    """A stored check."""

    __tablename__ = "equipment_check"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("equipment", "equipment_id"),
        sa.Index("ix_equipment_check_equipment", "organisation_id", "equipment_id", "done_on"),
    )
    noun: ClassVar[str] = "equipment_check"

    equipment_id: UUID = Field(sa_type=UuidColumn)


class SpareStated(Stated):
    """Spare parts of one model on one shelf of a site: on hand, on order, kept back, and when to order again."""

    site_id: Id = Field(sa_type=UuidColumn)
    model_id: Id = Field(sa_type=UuidColumn)
    shelf: Name
    on_hand: Count = 0
    on_order: Count = 0
    reserved: Count = 0
    reorder_point: Count = 0
    note: Note = ""


class Spare(Record, SpareStated, table=True):
    """A stored count of spares."""

    __tablename__ = "spare"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        refers_to("equipment_model", "model_id"),
        unique_while_kept("spare", "site_id", "model_id", "shelf_key"),
    )
    noun: ClassVar[str] = "spare"

    shelf_key: str
