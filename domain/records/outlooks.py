"""Reading the facts of service life for all items of a site at once, in batches of columns.

What nearly every item has (model, installation date, constant hours a day) is read as columns: packed by the database on PostgreSQL, in
small pieces of rows on SQLite. What only some have (dates of their own, limits of their own, richer schedules, readings, checks) is read
beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
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
from domain.rules.calendar import Days, as_date_or_none, as_days
from domain.rules.output import OutputReadings
from domain.rules.run_hours import Pieces, RunPeriod, Season, constant, laid_out, passed_on
from domain.rules.service_life import CHECK_KINDS, CheckKind, Integers, ServiceColumns

BATCH = 50_000
"""Items read and judged at a time; keeps memory level however many a site has."""
PIECE = 500
"""Rows taken from SQLite at a time: few enough to stay in the processor's cache until they are columns."""

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


@dataclass(frozen=True, slots=True)
class _Models:
    """The models in the order of the last eight bytes of their ids, which ``_model_index`` searches by, and their limits as columns."""

    known: Sequence[EquipmentModel]
    ids: npt.NDArray[np.uint64]
    numbers: Mapping[str, npt.NDArray[np.float64]]
    integers: Mapping[str, Integers]
    check_months: Integers
    check_days: Integers


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
    for columns in _site_columns(unit, site_id, size=size):
        beside.extras = _extras_among(unit, site_id, columns) if columns.has_extras else {}
        yield from _batches(columns, models=models, beside=beside)


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
            sa.select(_item.c.id, _item.c.model_id, _item.c.installed_on, _item.c.hours_per_day).where(*own).order_by(_item.c.id)
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
_AT_SITE = (_item.c.organisation_id == sa.bindparam("organisation_id"), _item.c.site_id == sa.bindparam("site_id"), _IN_SERVICE)
_SITE_ROWS = Statement(
    sa.select(_item.c.id, _item.c.model_id, _item.c.installed_on, _item.c.hours_per_day, _HAS_EXTRAS).where(*_AT_SITE).order_by(_item.c.id)
)
_EXTRAS_BETWEEN = Statement(
    sa.select(*_EXTRA_COLUMNS).where(*_AT_SITE, _HAS_EXTRAS, _item.c.id >= sa.bindparam("first"), _item.c.id <= sa.bindparam("last"))
)


def _packed_columns() -> Statement:
    """Return PostgreSQL's statement for the next items of a site: each column as one value, its cells in binary one after the other."""
    following = (
        sa.select(
            _item.c.id,
            _item.c.model_id,
            sa.func.coalesce(_item.c.installed_on, sa.literal_column("'-infinity'::date")).label("installed"),
            sa.func.coalesce(_item.c.hours_per_day, sa.literal_column("'NaN'::float8")).label("hours"),
            _HAS_EXTRAS.label("extras"),
        )
        .where(*_AT_SITE, _item.c.id >= sa.bindparam("first"))
        .order_by(_item.c.id)
        .limit(sa.bindparam("size"))
        .subquery()
        .c
    )
    cells = (
        sa.func.uuid_send(following.id),
        sa.func.uuid_send(following.model_id),
        sa.func.date_send(following.installed),
        sa.func.float8send(following.hours),
    )
    packed = [sa.func.string_agg(cell, sa.literal_column("''::bytea")) for cell in cells]
    return Statement(sa.select(*packed, sa.func.bool_or(following.extras)))


_PACKED_COLUMNS = _packed_columns()
ALL_MODELS = Statement(sa.select(_model).where(_model.c.organisation_id == sa.bindparam("organisation_id")).order_by(_model.c.id))

_PACKED_EPOCH = np.datetime64("2000-01-01", "D")
"""The day that PostgreSQL's binary dates count from."""
_PACKED_NO_DATE = -(2**31)


@dataclass(frozen=True, slots=True)
class _Columns:
    """What nearly every item has, one array each. ``has_extras``: some of the items may have more than that."""

    ids: npt.NDArray[np.void]
    model_ids: npt.NDArray[np.void]
    installed: Days
    hours: npt.NDArray[np.float64]
    has_extras: bool


def _site_columns(unit: Unit, site_id: UUID, *, size: int) -> Iterator[_Columns]:
    if unit.dialect == "postgresql":
        yield from _unpacked(unit, site_id, size=size)
        return
    compiled = _SITE_ROWS.on(unit.dialect)
    cursor: Any = unit.second_cursor()
    cursor.execute(compiled.sql, compiled.bound({"organisation_id": unit.organisation_id, "site_id": site_id}))
    while pieces := list(_pieces_of(cursor, size=size)):
        yield _joined(pieces)
    cursor.close()


def _pieces_of(cursor: Any, *, size: int) -> Iterator[_Columns]:  # noqa: ANN401 - a cursor of either driver
    """Yield the next ``size`` rows of a cursor, or what is left of them."""
    for start in range(0, size, PIECE):
        rows = cursor.fetchmany(min(PIECE, size - start))
        if not rows:
            return
        yield _as_columns(rows)


def _joined(pieces: Sequence[_Columns]) -> _Columns:
    return _Columns(
        np.concatenate([piece.ids for piece in pieces]),
        np.concatenate([piece.model_ids for piece in pieces]),
        np.concatenate([piece.installed for piece in pieces]),
        np.concatenate([piece.hours for piece in pieces]),
        any(piece.has_extras for piece in pieces),
    )


def _as_columns(rows: Sequence[Sequence[Any]]) -> _Columns:
    ids, model_ids, installed, hours, has_extras = zip(*rows, strict=True)
    return _Columns(
        np.frombuffer(b"".join(ids), dtype="V16"),
        np.frombuffer(b"".join(model_ids), dtype="V16"),
        np.array(installed, dtype="datetime64[D]"),
        np.array(hours, dtype=np.float64),
        any(has_extras),
    )


def _unpacked(unit: Unit, site_id: UUID, *, size: int) -> Iterator[_Columns]:
    compiled = _PACKED_COLUMNS.on(unit.dialect)
    cursor: Any = unit.cursor.connection.cursor(binary=True)
    asked = {"organisation_id": unit.organisation_id, "site_id": site_id, "size": size}
    first, beyond = 0, 1 << 128
    while first < beyond:
        cursor.execute(compiled.sql, compiled.bound({**asked, "first": UUID(int=first)}))
        ids, model_ids, installed, hours, has_extras = cursor.fetchone()
        if ids is None:
            break
        days = np.frombuffer(installed, dtype=">i4").astype(np.int64)
        yield _Columns(
            np.frombuffer(ids, dtype="V16"),
            np.frombuffer(model_ids, dtype="V16"),
            np.where(days == _PACKED_NO_DATE, np.datetime64("NaT", "D"), _PACKED_EPOCH + days.astype("timedelta64[D]")),
            np.frombuffer(hours, dtype=">f8").astype(np.float64),
            has_extras,
        )
        first = int.from_bytes(ids[-16:], "big") + 1 if len(days) == size else beyond
    cursor.close()


def _extras_among(unit: Unit, site_id: UUID, columns: _Columns) -> dict[bytes, dict[str, Any]]:
    first, last = (UUID(bytes=columns.ids[i].tobytes()) for i in (0, -1))
    return _by_id(unit.named(_EXTRAS_BETWEEN, site_id=site_id, first=first, last=last))


def _few(unit: Unit, scope: _Scope, **parameters: Any) -> Iterator[ServiceBatch]:  # noqa: ANN401 - column values
    rows = unit.rows(scope.columns, **parameters)
    if not rows:
        return
    packed = [(one.bytes, model.bytes, installed, hours, True) for one, model, installed, hours in rows]
    beside = _beside(unit, scope, **parameters)
    beside.extras = _by_id(unit.named(scope.extras, **parameters))
    yield from _batches(_as_columns(packed), models=_models(unit), beside=beside)


_NUMBERS = ("life_hours", "output_minimum", "output_minimum_share", "burn_in_hours")
_INTEGERS = ("life_months", "life_weeks", "life_days", "shelf_life_months", "opened_life_days")


def _models(unit: Unit) -> _Models:
    known = sorted(unit.all(EquipmentModel, ALL_MODELS), key=lambda one: one.id.bytes[8:])
    planned = [[_plan(one, kind) for kind in CHECK_KINDS] for one in known]
    return _Models(
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


def _by_id(rows: Iterable[dict[str, Any]]) -> dict[bytes, dict[str, Any]]:
    return {row["id"].bytes: row for row in rows}


def _beside(unit: Unit, scope: _Scope, **parameters: Any) -> _Beside:  # noqa: ANN401 - column values
    """Return the readings and checks of a choice of items; what else only some have is still to be put in."""
    found = _Beside()
    for equipment_id, on, counter in unit.rows(scope.counters, **parameters):
        found.counters[equipment_id.bytes].append((on, counter))
    for equipment_id, on, value in unit.rows(scope.outputs, **parameters):
        found.outputs[equipment_id.bytes].append((on, value))
    for row in unit.named(scope.checks, **parameters):
        found.checks[row["equipment_id"].bytes].append(row)
    return found


def _batches(columns: _Columns, *, models: _Models, beside: _Beside) -> Iterator[ServiceBatch]:
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


def _chosen(columns: _Columns, chosen: npt.NDArray[np.intp]) -> _Columns:
    return replace(
        columns,
        ids=columns.ids[chosen],
        model_ids=columns.model_ids[chosen],
        installed=columns.installed[chosen],
        hours=columns.hours[chosen],
    )


def _model_index(model_ids: npt.NDArray[np.void], models: _Models) -> Integers:
    asked = _halves(model_ids.tobytes())
    index = np.searchsorted(models.ids[:, 1], asked[:, 1]).clip(0, len(models.known) - 1)
    if np.array_equal(models.ids[index], asked):
        return index.astype(np.int64)
    by_id = {one.id.bytes: i for i, one in enumerate(models.known)}
    return np.array([by_id[raw.tobytes()] for raw in model_ids], dtype=np.int64)


def _batch(columns: _Columns, model: Integers, *, models: _Models, beside: _Beside, places: Mapping[bytes, int]) -> ServiceBatch:
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
    beside: _Beside,
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


def _outputs(beside: _Beside, places: Mapping[bytes, int]) -> OutputReadings:
    """Return the readings by item and date; those of one date stay in the order in which they were recorded."""
    of_items = ((i, on, value) for raw, i in places.items() for on, value in beside.outputs.get(raw, ()))
    found = sorted(of_items, key=lambda one: one[:2])
    return OutputReadings(
        np.array([i for i, _, _ in found], dtype=np.int64),
        as_days([on for _, on, _ in found]),
        np.array([value for _, _, value in found], dtype=np.float64),
    )


def _checks(model: Integers, models: _Models, beside: _Beside, places: Mapping[bytes, int]) -> tuple[Integers, Integers, Days, Days]:
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
