"""Importing measurements: each with its unit, and in the order of the days, since one is judged by the one before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from math import isclose
from typing import Any
from uuid import UUID

from domain.actions.imports.named_animals import resolve_animals
from domain.actions.imports.named_staff import resolve_staff
from domain.actions.imports.sheet import Sheet
from domain.actions.imports.tried import Came, Tally, day_order, differing, ever_of, fault_in, note_withdrawn, try_rows
from domain.actions.measurements import change_measurement, record_measurement
from domain.errors import RuleBroken
from domain.records.measurements import Measurement, MeasurementEntered
from domain.records.unit import Unit
from domain.rules.measures import MeasureKind

MASSES: Mapping[str, Decimal] = {"g": Decimal(1), "kg": Decimal(1000), "oz": Decimal("28.349523125"), "lb": Decimal("453.59237")}
LENGTHS: Mapping[str, Decimal] = {"mm": Decimal(1), "cm": Decimal(10), "m": Decimal(1000), "in": Decimal("25.4")}
SIZES = {**MASSES, **LENGTHS}
"""The units that a measurement may be said in, with the factor to grams or millimetres.

Source:
    The pound is 0.453 592 37 kg and has 16 ounces, the inch is 25.4 mm (NIST Special Publication 811, appendix B).
"""

_PLAIN = ("measured_on", "method", "of_number", "note")
_COLUMNS = {"mass_g": "value", "length_mm": "value", "staff_id": "measured_by"}
_ASKS = "send it again with confirmed true"
"""How a value is asked back of whoever sent it; a list says it in a column."""
_SAME = 1e-9
"""The share by which two values may differ that are the same in other units."""
EVER_MEASURED = ever_of(Measurement, "animal_id", "kind", "measured_on")


@dataclass(frozen=True, slots=True)
class _Known:
    """Which animal and which member of staff each row names."""

    animals: Sequence[Any]
    staff: Sequence[UUID | None]


def import_measurements(unit: Unit, sheet: Sheet) -> Tally:
    """Do what a list of measurements states; one is known again by its animal, what was measured, and the day."""
    sheet.check(MeasurementEntered, *_PLAIN)
    animals = resolve_animals(unit, sheet, day="measured_on")
    for name in ("kind", "value", "measured_on"):
        sheet.refuse_blank(name)
    known = _Known(animals, resolve_staff(unit, sheet, "measured_by"))
    kinds, days = sheet.column("kind"), sheet.column("measured_on")
    keys = [key if all(key) else None for key in zip(animals, kinds, days, strict=True)]
    sheet.refuse_repeated(keys, name="measured_on")
    act = partial(_act, unit, sheet, known)
    return try_rows(unit, sheet, day_order(sheet, "measured_on"), act=act, columns=_COLUMNS)


def _act(unit: Unit, sheet: Sheet, known: _Known, position: int) -> Came:
    kind: MeasureKind = sheet.column("kind")[position]
    animal_id, value, staff_id = known.animals[position], _value(sheet, position, kind=kind), known.staff[position]
    said: dict[str, Any] = {**sheet.said(position, *_PLAIN), kind.field: value, **({"staff_id": staff_id} if staff_id else {})}
    confirmed: dict[str, Any] = {"confirmed": True} if sheet.column("confirmed")[position] else {}
    ever = unit.all(Measurement, EVER_MEASURED, animal_id=animal_id, kind=kind, measured_on=said["measured_on"])
    kept, same = [one for one in ever if one.ended_on is None], [one for one in ever if isclose(_of(one), value, rel_tol=_SAME)]
    if not kept and same:
        return note_withdrawn(sheet, position, same[-1])
    try:
        if kept:
            return _corrected(unit, animal_id, kept, said, confirmed, kind=kind)
        record_measurement(unit, animal_id, MeasurementEntered(kind=kind, **said, **confirmed))
    except RuleBroken as refused:
        if refused.code != "unit-slip":
            raise
        raise fault_in("value", refused.code, refused.detail.replace(_ASKS, "say yes in the column confirmed")) from None
    return Came.CREATED


def _corrected(
    unit: Unit, animal_id: UUID, kept: Sequence[Measurement], said: dict[str, Any], confirmed: Mapping[str, Any], *, kind: MeasureKind
) -> Came:
    """Let one of the measurements of a day say what a row says: the one of the row's value, else the only one.

    Raises:
        RuleBroken: There are several on that day and none of this value, so that it cannot be told which is meant.
    """
    same = [one for one in kept if isclose(_of(one), said[kind.field], rel_tol=_SAME)]
    if not same and len(kept) > 1:
        reason = f"there are {len(kept)} of this kind on record for that day, and none has this value; correct the one that is wrong"
        raise fault_in("value", "several-that-day", reason)
    found = (same or kept)[0]
    patch = differing(found, {name: value for name, value in said.items() if not (same and name == kind.field)})
    if not patch:
        return Came.UNCHANGED
    change_measurement(unit, found.id, {**patch, **confirmed}, owner_id=animal_id, expected_version=found.version)
    return Came.CHANGED


def _value(sheet: Sheet, position: int, *, kind: MeasureKind) -> float:
    """Return what was measured [g or mm].

    Raises:
        RuleBroken: Its unit is not said, or is none of what was measured.
    """
    amount, own_unit = sheet.column("value")[position]
    unit = own_unit or sheet.column("unit")[position]
    units = MASSES if kind is MeasureKind.MASS else LENGTHS
    measured = kind.value.replace("_", " ")
    if unit is None:
        reason = f"unit missing: say in which unit {measured} is, behind the number, in the heading, or in the column unit"
        raise fault_in("unit", "unit-missing", reason)
    if unit not in units:
        raise fault_in("value", "unit-unfit", f"{measured} is said in {', '.join(units)}, and this is in {unit}")
    return float(amount * units[unit])


def _of(one: Measurement) -> float:
    return float(getattr(one, one.kind.field))
