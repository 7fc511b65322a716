"""Items of one site as columns for the rules: what their models say, what is stated of each, and what was read on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from uuid import UUID

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.equipment import CheckResult, EquipmentModel
from domain.records.outlooks.beside import Beside
from domain.records.outlooks.packed import Columns
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import Days, as_date_or_none, as_days
from domain.rules.output import OutputReadings
from domain.rules.run_hours import Pieces, RunPeriod, Season, constant, laid_out, passed_on
from domain.rules.service_life import CHECK_KINDS, CheckKind, Integers, ServiceColumns

_model = table_of(EquipmentModel)
ALL_MODELS = Statement(sa.select(_model).where(_model.c.organisation_id == sa.bindparam("organisation_id")).order_by(_model.c.id))


@dataclass(frozen=True, slots=True)
class ServiceBatch:
    """The facts of some items of one site; row i of ``facts`` is the item ``ids[i]`` of the model ``models[model[i]]``."""

    ids: npt.NDArray[np.void]
    model: Integers
    models: Sequence[EquipmentModel]
    facts: ServiceColumns
    schedules: Mapping[int, Sequence[RunPeriod]]
    hours_per_day: npt.NDArray[np.float64]

    def id_of(self, i: int) -> UUID:
        """Return the id of item ``i``."""
        return UUID(bytes=self.ids[i].tobytes())

    def model_of(self, i: int) -> EquipmentModel:
        """Return the model of item ``i``."""
        return self.models[int(self.model[i])]

    def schedule_of(self, i: int) -> Sequence[RunPeriod]:
        """Return the run schedule of item ``i``; empty where none is on record."""
        if i in self.schedules:
            return self.schedules[i]
        hours = float(self.hours_per_day[i])
        return () if np.isnan(hours) else (RunPeriod(None, hours),)

    @property
    def warn_days(self) -> Integers:
        """Warning days of each item's model [days]."""
        return np.array([one.warn_days for one in self.models], dtype=np.int64)[self.model]


@dataclass(frozen=True, slots=True)
class Models:
    """The models in the order of the last eight bytes of their ids, which ``_model_index`` searches by, and their limits as columns."""

    known: Sequence[EquipmentModel]
    ids: npt.NDArray[np.uint64]
    numbers: Mapping[str, npt.NDArray[np.float64]]
    integers: Mapping[str, Integers]
    check_months: Integers
    check_days: Integers


_NUMBERS = ("life_hours", "output_minimum", "output_minimum_share", "burn_in_hours")
_INTEGERS = ("life_months", "life_weeks", "life_days", "shelf_life_months", "opened_life_days")


def models_of(unit: Unit) -> Models:
    """Return the organisation's models, ready to be looked up by many items."""
    known = sorted(unit.all(EquipmentModel, ALL_MODELS), key=lambda one: one.id.bytes[8:])
    planned = [[_plan(one, kind) for kind in CHECK_KINDS] for one in known]
    return Models(
        known,
        _halves(b"".join(one.id.bytes for one in known)),
        {name: np.array([getattr(one, name) for one in known], dtype=np.float64) for name in _NUMBERS},
        {name: np.array([getattr(one, name) or 0 for one in known], dtype=np.int64) for name in _INTEGERS},
        np.array([[plan.get("interval_months") or 0 for plan in plans] for plans in planned], dtype=np.int64),
        np.array([[plan.get("interval_days") or 0 for plan in plans] for plans in planned], dtype=np.int64),
    )


def _halves(ids: bytes) -> npt.NDArray[np.uint64]:
    """Return ids of 16 bytes each as (n, 2) numbers."""
    return np.frombuffer(ids, dtype=">u8").reshape(-1, 2).astype(np.uint64)


def batches(columns: Columns, *, models: Models, beside: Beside) -> Iterator[ServiceBatch]:
    """Yield the items with a constant schedule, then those with a richer one, whose pieces are many columns wide."""
    model = _model_index(columns.model_ids, models)
    interesting = beside.of_interest()
    places = {raw: i for i, raw in enumerate(columns.ids.tolist()) if raw in interesting} if interesting else {}
    rich = [i for raw, i in places.items() if beside.extras.get(raw, {}).get("run_schedule") and np.isnan(columns.hours[i])]
    if not rich:
        yield _batch(columns, model, models=models, beside=beside, places=places)
        return
    is_rich = np.zeros(len(columns.ids), dtype=bool)
    is_rich[rich] = True
    for chosen in (np.flatnonzero(~is_rich), np.flatnonzero(is_rich)):
        if len(chosen):
            renumbered = {raw: int(np.searchsorted(chosen, i)) for raw, i in places.items() if is_rich[i] == is_rich[chosen[0]]}
            yield _batch(_chosen(columns, chosen), model[chosen], models=models, beside=beside, places=renumbered)


def _chosen(columns: Columns, chosen: npt.NDArray[np.intp]) -> Columns:
    return replace(
        columns,
        ids=columns.ids[chosen],
        model_ids=columns.model_ids[chosen],
        installed=columns.installed[chosen],
        hours=columns.hours[chosen],
    )


def _model_index(model_ids: npt.NDArray[np.void], models: Models) -> Integers:
    asked = _halves(model_ids.tobytes())
    index = np.searchsorted(models.ids[:, 1], asked[:, 1]).clip(0, len(models.known) - 1)
    if np.array_equal(models.ids[index], asked):
        return index.astype(np.int64)
    by_id = {one.id.bytes: i for i, one in enumerate(models.known)}
    return np.array([by_id[raw.tobytes()] for raw in model_ids], dtype=np.int64)


def _batch(columns: Columns, model: Integers, *, models: Models, beside: Beside, places: Mapping[bytes, int]) -> ServiceBatch:
    ids, installed, hours = columns.ids, columns.installed, columns.hours
    n = len(ids)
    own = {raw: beside.extras[raw] for raw in places if raw in beside.extras}
    schedules = {
        places[raw]: _periods(row["run_schedule"]) for raw, row in own.items() if row["run_schedule"] and np.isnan(hours[places[raw]])
    }
    numbers = {name: values[model] for name, values in models.numbers.items()}
    integers = {name: values[model] for name, values in models.integers.items()}
    life_hours, life_months = numbers["life_hours"], integers["life_months"]
    life_days = integers["life_days"] + 7 * integers["life_weeks"]
    output_minimum, output_share = numbers["output_minimum"], numbers["output_minimum_share"]
    for raw, row in own.items():
        i = places[raw]
        if row["override_life_months"] is not None:
            life_months[i], life_days[i] = row["override_life_months"], 0
        if row["override_life_hours"] is not None:
            life_hours[i] = row["override_life_hours"]
        if row["override_output_minimum"] is not None:
            output_minimum[i], output_share[i] = row["override_output_minimum"], np.nan
    counted_on, counted_h, passed = _counters(n, beside, places, own=own, life_hours=life_hours, installed=installed)
    check_months, check_days, checked_on, failed_on = _checks(model, models, beside, places)
    facts = ServiceColumns(
        installed_on=installed,
        life_months=life_months,
        life_days=life_days,
        life_hours=life_hours,
        counted_on=counted_on,
        counted_h=counted_h,
        passed_on=passed,
        pieces=_pieces(hours, schedules, anchors=np.where(np.isnat(installed), counted_on, installed)),
        expires_on=_own_days(n, own, places, "expires_on"),
        manufactured_on=_own_days(n, own, places, "manufactured_on"),
        shelf_months=integers["shelf_life_months"],
        opened_on=_own_days(n, own, places, "opened_on"),
        opened_days=integers["opened_life_days"],
        output_minimum=output_minimum,
        output_share=output_share,
        burn_in_hours=numbers["burn_in_hours"],
        readings=_outputs(beside, places),
        check_months=check_months,
        check_days=check_days,
        checked_on=checked_on,
        failed_on=failed_on,
    )
    return ServiceBatch(ids, model, models.known, facts, schedules, hours)


def _own_days(n: int, own: Mapping[bytes, Mapping[str, Any]], places: Mapping[bytes, int], name: str) -> Days:
    days = np.full(n, np.datetime64("NaT", "D"))
    for raw, row in own.items():
        if row[name] is not None:
            days[places[raw]] = row[name]
    return days


def _pieces(hours: npt.NDArray[np.float64], schedules: Mapping[int, Sequence[RunPeriod]], *, anchors: Days) -> Pieces:
    if not schedules:
        return constant(hours)
    days = [day if isinstance(day, date) else None for day in anchors.tolist()]
    return laid_out([schedules.get(i, ()) for i in range(len(hours))], days)


def _periods(stated: Sequence[Mapping[str, Any]]) -> list[RunPeriod]:
    return [
        RunPeriod(
            date.fromisoformat(one["starts_on"]) if one.get("starts_on") else None,
            one.get("hours_per_day"),
            tuple(Season(season["from_month"], season["from_day"], season["hours_per_day"]) for season in one.get("seasons", ())),
        )
        for one in stated
    ]


def _counters(
    n: int,
    beside: Beside,
    places: Mapping[bytes, int],
    *,
    own: Mapping[bytes, Mapping[str, Any]],
    life_hours: npt.NDArray[np.float64],
    installed: Days,
) -> tuple[Days, npt.NDArray[np.float64], Days]:
    counted_on, passed = np.full(n, np.datetime64("NaT", "D")), np.full(n, np.datetime64("NaT", "D"))
    counted_h = np.full(n, np.nan)
    for raw, i in places.items():
        readings = beside.counters.get(raw)
        if not readings:
            continue
        at_start = own[raw]["counter_at_installation_h"] if raw in own else 0.0
        counted_on[i], counted_h[i] = readings[-1][0], readings[-1][1] - at_start
        run = [(on, counter - at_start) for on, counter in readings]
        passed[i] = passed_on(run, limit_h=life_hours[i], installed_on=as_date_or_none(installed[i]))
    return counted_on, counted_h, passed


def _outputs(beside: Beside, places: Mapping[bytes, int]) -> OutputReadings:
    """Return the readings by item and date; those of one date stay in the order in which they were recorded."""
    of_items = ((i, on, value) for raw, i in places.items() for on, value in beside.outputs.get(raw, ()))
    found = sorted(of_items, key=lambda one: one[:2])
    return OutputReadings(
        np.array([i for i, _, _ in found], dtype=np.int64),
        as_days([on for _, on, _ in found]),
        np.array([value for _, _, value in found], dtype=np.float64),
    )


def _checks(model: Integers, models: Models, beside: Beside, places: Mapping[bytes, int]) -> tuple[Integers, Integers, Days, Days]:
    """Return (n, 3) arrays; an interval that a check states holds until the next check, then the model's holds again."""
    months, days = models.check_months[model], models.check_days[model]
    checked_on = np.full(months.shape, np.datetime64("NaT", "D"))
    failed_on = checked_on.copy()
    for raw, i in places.items():
        for check in beside.checks.get(raw, ()):
            c = CHECK_KINDS.index(check["kind"])
            checked_on[i, c] = check["done_on"]
            own_interval = check["interval_months"] is not None or check["interval_days"] is not None
            interval = check if own_interval else _plan(models.known[int(model[i])], check["kind"])
            months[i, c], days[i, c] = interval.get("interval_months") or 0, interval.get("interval_days") or 0
            if check["result"] is CheckResult.PASSED:
                failed_on[i, c] = np.datetime64("NaT", "D")
            elif np.isnat(failed_on[i, c]):
                failed_on[i, c] = check["done_on"]
    return months, days, checked_on, failed_on


def _plan(model: EquipmentModel, kind: CheckKind) -> Mapping[str, Any]:
    """Return the model's plan for a kind of check, empty where it has none."""
    return next((plan for plan in model.checks if plan["kind"] == kind), {})
