"""Reading the facts of service life for all items of a site at once, in batches of columns.

What nearly every item has (model, installation date, constant hours a day) is read as columns: by binary COPY on PostgreSQL, in chunks of
rows on SQLite. What only some have (dates of their own, limits of their own, richer schedules, readings, checks) is read beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.equipment import (
    MEDIA_KINDS,
    CheckResult,
    Equipment,
    EquipmentCheck,
    EquipmentModel,
    HourReading,
    OutputReading,
)
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import Days, as_days
from domain.rules.output import OutputReadings
from domain.rules.run_hours import Pieces, RunPeriod, Season, constant, laid_out
from domain.rules.service_life import CHECK_KINDS, CheckKind, Integers, ServiceColumns

BATCH = 50_000
"""Items read and judged at a time; keeps memory level however many a site has."""

_item, _model = table_of(Equipment), table_of(EquipmentModel)
_hour, _output, _check = table_of(HourReading), table_of(OutputReading), table_of(EquipmentCheck)


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


@dataclass(slots=True)
class _Beside:
    """What only some items have, by the item's id as bytes."""

    extras: dict[bytes, dict[str, Any]] = field(default_factory=dict)
    counters: dict[bytes, list[tuple[date, float]]] = field(default_factory=lambda: defaultdict(list))
    outputs: dict[bytes, list[tuple[date, float]]] = field(default_factory=lambda: defaultdict(list))
    checks: dict[bytes, list[dict[str, Any]]] = field(default_factory=lambda: defaultdict(list))

    def of_interest(self) -> set[bytes]:
        """Return the ids that have anything beside the columns."""
        return {*self.extras, *self.counters, *self.outputs, *self.checks}


def site_batches(unit: Unit, site_id: UUID, *, size: int = BATCH) -> Iterator[ServiceBatch]:
    """Yield the facts of every item that is in service at a site."""
    models = _models(unit)
    beside = _beside(unit, _SITE, site_id=site_id)
    for ids, model_ids, installed, hours in _site_columns(unit, site_id, size=size):
        yield from _batches(ids, model_ids, installed=installed, hours=hours, models=models, beside=beside)


def item_batches(unit: Unit, equipment_id: UUID) -> Iterator[ServiceBatch]:
    """Yield the facts of one item, in service or not."""
    yield from _few(unit, _ITEM, equipment_id=equipment_id)


def system_media_batches(unit: Unit, system_id: UUID) -> Iterator[ServiceBatch]:
    """Yield the facts of the filter media lots of a life-support system."""
    yield from _few(unit, _SYSTEM, system_id=system_id)


@dataclass(frozen=True, slots=True)
class _Scope:
    """The statements that read one choice of items."""

    columns: Statement
    extras: Statement
    counters: Statement
    outputs: Statement
    checks: Statement


def _scope(*choice: sa.ColumnElement[bool]) -> _Scope:
    own = (_item.c.organisation_id == sa.bindparam("organisation_id"), *choice)
    return _Scope(
        columns=Statement(
            sa.select(_item.c.id, _item.c.model_id, _item.c.installed_on, _item.c.hours_per_day)
            .where(*own)
            .order_by(_item.c.id)
        ),
        extras=Statement(sa.select(*_EXTRA_COLUMNS).where(*own, _HAS_EXTRAS)),
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
    joined = sa.and_(table.c.organisation_id == _item.c.organisation_id, table.c.equipment_id == _item.c.id)
    return (
        sa.select(table.c.equipment_id, on, *columns)
        .join(_item, joined)
        .where(*own, table.c.ended_on.is_(None))
        .order_by(table.c.equipment_id, on, table.c.id)
    )


_EXTRA_COLUMNS = (
    _item.c.id,
    _item.c.manufactured_on,
    _item.c.expires_on,
    _item.c.opened_on,
    _item.c.run_schedule,
    _item.c.counter_at_installation_h,
    _item.c.override_life_months,
    _item.c.override_life_hours,
    _item.c.override_output_minimum,
)
_HAS_EXTRAS = sa.or_(
    *(column.is_not(None) for column in (*_EXTRA_COLUMNS[1:4], *_EXTRA_COLUMNS[6:])),
    sa.and_(_item.c.hours_per_day.is_(None), _item.c.run_schedule != sa.literal_column("'[]'")),
    _item.c.counter_at_installation_h != sa.literal_column("0"),
)
_IN_SERVICE = _item.c.ended_on.is_(None)
_SITE = _scope(_item.c.site_id == sa.bindparam("site_id"), _IN_SERVICE)
_ITEM = _scope(_item.c.id == sa.bindparam("equipment_id"))
_SYSTEM = _scope(
    _item.c.life_support_system_id == sa.bindparam("system_id"),
    _IN_SERVICE,
    sa.exists().where(
        _model.c.organisation_id == _item.c.organisation_id,
        _model.c.id == _item.c.model_id,
        _model.c.kind.in_([sa.literal_column(f"'{kind.value}'") for kind in MEDIA_KINDS]),
    ),
)
_SITE_COPY = Statement(
    sa.select(
        _item.c.id,
        _item.c.model_id,
        sa.func.coalesce(_item.c.installed_on, sa.literal_column("'-infinity'::date")),
        sa.func.coalesce(_item.c.hours_per_day, sa.literal_column("'NaN'::float8")),
    )
    .where(
        _item.c.organisation_id == sa.bindparam("organisation_id"),
        _item.c.site_id == sa.bindparam("site_id"),
        _IN_SERVICE,
    )
    .order_by(_item.c.id)
)
ALL_MODELS = Statement(
    sa.select(_model).where(_model.c.organisation_id == sa.bindparam("organisation_id")).order_by(_model.c.id)
)

_COPY_HEADER_BYTES = 19
_COPY_ROW = np.dtype(
    [
        ("fields", ">i2"),
        ("id_size", ">i4"),
        ("id", "V16"),
        ("model_size", ">i4"),
        ("model_id", "V16"),
        ("installed_size", ">i4"),
        ("installed", ">i4"),
        ("hours_size", ">i4"),
        ("hours", ">f8"),
    ]
)
_COPY_EPOCH = np.datetime64("2000-01-01", "D")
_COPY_NO_DATE = -(2**31)

_Columns = tuple[npt.NDArray[np.void], npt.NDArray[np.void], Days, npt.NDArray[np.float64]]


def _site_columns(unit: Unit, site_id: UUID, *, size: int) -> Iterator[_Columns]:
    if unit.dialect == "postgresql":
        yield from _copied(unit, site_id, size=size)
        return
    compiled = _SITE.columns.on(unit.dialect)
    cursor: Any = unit.second_cursor()
    cursor.execute(compiled.sql, compiled.bound({"organisation_id": unit.organisation_id, "site_id": site_id}))
    while rows := cursor.fetchmany(size):
        yield _as_columns(rows)
    cursor.close()


def _as_columns(rows: Sequence[Sequence[Any]]) -> _Columns:
    ids, model_ids, installed, hours = zip(*rows, strict=True)
    return (
        np.frombuffer(b"".join(ids), dtype="V16"),
        np.frombuffer(b"".join(model_ids), dtype="V16"),
        np.array(installed, dtype="datetime64[D]"),
        np.array(hours, dtype=np.float64),
    )


def _copied(unit: Unit, site_id: UUID, *, size: int) -> Iterator[_Columns]:
    """Yield the columns as PostgreSQL's binary COPY gives them: rows of one width, since no field is null."""
    compiled = _SITE_COPY.on(unit.dialect)
    cursor: Any = unit.second_cursor()
    parameters = compiled.bound({"organisation_id": unit.organisation_id, "site_id": site_id})
    wanted, held = size * _COPY_ROW.itemsize, bytearray()
    with cursor.copy(f"COPY ({compiled.sql}) TO STDOUT (FORMAT BINARY)", parameters) as copy:
        for first, block in enumerate(copy):
            held += block[_COPY_HEADER_BYTES:] if first == 0 else block
            if len(held) >= wanted:
                yield _parsed(bytes(held[:wanted]))
                del held[:wanted]
    whole = len(held) // _COPY_ROW.itemsize * _COPY_ROW.itemsize
    if whole:
        yield _parsed(bytes(held[:whole]))
    cursor.close()


def _parsed(block: bytes) -> _Columns:
    rows = np.frombuffer(block, dtype=_COPY_ROW)
    days = rows["installed"].astype(np.int64)
    installed = np.where(days == _COPY_NO_DATE, np.datetime64("NaT", "D"), _COPY_EPOCH + days.astype("timedelta64[D]"))
    return rows["id"].copy(), rows["model_id"].copy(), installed, rows["hours"].astype(np.float64)


def _few(unit: Unit, scope: _Scope, **parameters: Any) -> Iterator[ServiceBatch]:  # noqa: ANN401 - column values
    rows = unit.rows(scope.columns, **parameters)
    if not rows:
        return
    packed = [(one.bytes, model.bytes, installed, hours) for one, model, installed, hours in rows]
    ids, model_ids, installed, hours = _as_columns(packed)
    beside = _beside(unit, scope, **parameters)
    yield from _batches(ids, model_ids, installed=installed, hours=hours, models=_models(unit), beside=beside)


def _models(unit: Unit) -> list[EquipmentModel]:
    """Return the models in the order of the last eight bytes of their ids, which ``_model_index`` searches by."""
    return sorted(unit.all(EquipmentModel, ALL_MODELS), key=lambda one: one.id.bytes[8:])


def _beside(unit: Unit, scope: _Scope, **parameters: Any) -> _Beside:  # noqa: ANN401 - column values
    found = _Beside()
    for row in unit.named(scope.extras, **parameters):
        found.extras[row["id"].bytes] = row
    for equipment_id, on, counter in unit.rows(scope.counters, **parameters):
        found.counters[equipment_id.bytes].append((on, counter))
    for equipment_id, on, value in unit.rows(scope.outputs, **parameters):
        found.outputs[equipment_id.bytes].append((on, value))
    for row in unit.named(scope.checks, **parameters):
        found.checks[row["equipment_id"].bytes].append(row)
    return found


def _batches(
    ids: npt.NDArray[np.void],
    model_ids: npt.NDArray[np.void],
    *,
    installed: Days,
    hours: npt.NDArray[np.float64],
    models: Sequence[EquipmentModel],
    beside: _Beside,
) -> Iterator[ServiceBatch]:
    """Yield the items with a constant schedule, then those with a richer one, whose pieces are many columns wide."""
    model = _model_index(model_ids, models)
    interesting = beside.of_interest()
    places = {raw: i for i, raw in enumerate(ids.tolist()) if raw in interesting} if interesting else {}
    rich = np.zeros(len(ids), dtype=bool)
    rich[[i for raw, i in places.items() if beside.extras.get(raw, {}).get("run_schedule") and np.isnan(hours[i])]] = (
        True
    )
    for chosen in (np.flatnonzero(~rich), np.flatnonzero(rich)):
        if len(chosen):
            renumbered = {
                raw: int(np.searchsorted(chosen, i)) for raw, i in places.items() if rich[i] == rich[chosen[0]]
            }
            yield _batch(
                ids[chosen],
                model[chosen],
                installed=installed[chosen],
                hours=hours[chosen],
                models=models,
                beside=beside,
                places=renumbered,
            )


def _model_index(model_ids: npt.NDArray[np.void], models: Sequence[EquipmentModel]) -> Integers:
    known = np.frombuffer(b"".join(one.id.bytes for one in models), dtype=">u8").reshape(-1, 2)
    asked = np.frombuffer(model_ids.tobytes(), dtype=">u8").reshape(-1, 2)
    index = np.searchsorted(known[:, 1], asked[:, 1]).clip(0, len(models) - 1)
    if np.array_equal(known[index], asked):
        return index.astype(np.int64)
    by_id = {one.id.bytes: i for i, one in enumerate(models)}
    return np.array([by_id[raw.tobytes()] for raw in model_ids], dtype=np.int64)


def _batch(
    ids: npt.NDArray[np.void],
    model: Integers,
    *,
    installed: Days,
    hours: npt.NDArray[np.float64],
    models: Sequence[EquipmentModel],
    beside: _Beside,
    places: Mapping[bytes, int],
) -> ServiceBatch:
    n = len(ids)
    own = {raw: beside.extras[raw] for raw in places if raw in beside.extras}
    schedules = {
        places[raw]: _periods(row["run_schedule"])
        for raw, row in own.items()
        if row["run_schedule"] and np.isnan(hours[places[raw]])
    }
    life_hours = _from_models(models, model, "life_hours")
    life_months = _integers_from_models(models, model, "life_months")
    life_days = _integers_from_models(models, model, "life_days") + 7 * _integers_from_models(
        models, model, "life_weeks"
    )
    output_minimum = _from_models(models, model, "output_minimum")
    output_share = _from_models(models, model, "output_minimum_share")
    for raw, row in own.items():
        i = places[raw]
        if row["override_life_months"] is not None:
            life_months[i], life_days[i] = row["override_life_months"], 0
        if row["override_life_hours"] is not None:
            life_hours[i] = row["override_life_hours"]
        if row["override_output_minimum"] is not None:
            output_minimum[i], output_share[i] = row["override_output_minimum"], np.nan
    counted_on, counted_h, passed_on = _counters(n, beside, places, own=own, life_hours=life_hours)
    check_months, check_days, checked_on, failed_on = _checks(model, models, beside, places)
    facts = ServiceColumns(
        installed_on=installed,
        life_months=life_months,
        life_days=life_days,
        life_hours=life_hours,
        counted_on=counted_on,
        counted_h=counted_h,
        passed_on=passed_on,
        pieces=_pieces(hours, schedules, anchors=np.where(np.isnat(installed), counted_on, installed)),
        expires_on=_own_days(n, own, places, "expires_on"),
        manufactured_on=_own_days(n, own, places, "manufactured_on"),
        shelf_months=_integers_from_models(models, model, "shelf_life_months"),
        opened_on=_own_days(n, own, places, "opened_on"),
        opened_days=_integers_from_models(models, model, "opened_life_days"),
        output_minimum=output_minimum,
        output_share=output_share,
        burn_in_hours=_from_models(models, model, "burn_in_hours"),
        readings=_outputs(beside, places),
        check_months=check_months,
        check_days=check_days,
        checked_on=checked_on,
        failed_on=failed_on,
    )
    return ServiceBatch(ids, model, models, facts, schedules, hours)


def _from_models(models: Sequence[EquipmentModel], model: Integers, name: str) -> npt.NDArray[np.float64]:
    return np.array([getattr(one, name) for one in models], dtype=np.float64)[model]


def _integers_from_models(models: Sequence[EquipmentModel], model: Integers, name: str) -> Integers:
    return np.array([getattr(one, name) or 0 for one in models], dtype=np.int64)[model]


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
            tuple(
                Season(season["from_month"], season["from_day"], season["hours_per_day"])
                for season in one.get("seasons", ())
            ),
        )
        for one in stated
    ]


def _counters(
    n: int,
    beside: _Beside,
    places: Mapping[bytes, int],
    *,
    own: Mapping[bytes, Mapping[str, Any]],
    life_hours: npt.NDArray[np.float64],
) -> tuple[Days, npt.NDArray[np.float64], Days]:
    counted_on, passed_on = np.full(n, np.datetime64("NaT", "D")), np.full(n, np.datetime64("NaT", "D"))
    counted_h = np.full(n, np.nan)
    for raw, i in places.items():
        readings = beside.counters.get(raw)
        if not readings:
            continue
        at_start = own[raw]["counter_at_installation_h"] if raw in own else 0.0
        counted_on[i], counted_h[i] = readings[-1][0], readings[-1][1] - at_start
        above = [on for on, counter in readings if counter - at_start > life_hours[i]]
        if above:
            passed_on[i] = above[0]
    return counted_on, counted_h, passed_on


def _outputs(beside: _Beside, places: Mapping[bytes, int]) -> OutputReadings:
    """Return the readings by item and date; those of one date stay in the order in which they were recorded."""
    of_items = ((i, on, value) for raw, i in places.items() for on, value in beside.outputs.get(raw, ()))
    found = sorted(of_items, key=lambda one: one[:2])
    return OutputReadings(
        np.array([i for i, _, _ in found], dtype=np.int64),
        as_days([on for _, on, _ in found]),
        np.array([value for _, _, value in found], dtype=np.float64),
    )


def _checks(
    model: Integers, models: Sequence[EquipmentModel], beside: _Beside, places: Mapping[bytes, int]
) -> tuple[Integers, Integers, Days, Days]:
    """Return (n, 3) arrays; an interval that a check states holds until the next check, then the model's holds again."""
    months = np.array(
        [[_plan(one, kind).get("interval_months") or 0 for kind in CHECK_KINDS] for one in models], dtype=np.int64
    )[model]
    days = np.array(
        [[_plan(one, kind).get("interval_days") or 0 for kind in CHECK_KINDS] for one in models], dtype=np.int64
    )[model]
    checked_on = np.full(months.shape, np.datetime64("NaT", "D"))
    failed_on = checked_on.copy()
    for raw, i in places.items():
        for check in beside.checks.get(raw, ()):
            c = CHECK_KINDS.index(check["kind"])
            checked_on[i, c] = check["done_on"]
            own_interval = check["interval_months"] is not None or check["interval_days"] is not None
            interval = check if own_interval else _plan(models[int(model[i])], check["kind"])
            months[i, c], days[i, c] = interval.get("interval_months") or 0, interval.get("interval_days") or 0
            if check["result"] is CheckResult.PASSED:
                failed_on[i, c] = np.datetime64("NaT", "D")
            elif np.isnat(failed_on[i, c]):
                failed_on[i, c] = check["done_on"]
    return months, days, checked_on, failed_on


def _plan(model: EquipmentModel, kind: CheckKind) -> Mapping[str, Any]:
    """Return the model's plan for a kind of check, empty where it has none."""
    return next((plan for plan in model.checks if plan["kind"] == kind), {})
