"""Planning the import of equipment models."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import partial
from typing import Any

from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.plans import Plan, plan_row, started_plan
from domain.actions.imports.rows import CellFault
from domain.actions.imports.sheet import Sheet, checked_value
from domain.actions.organisations import ORGANISATION
from domain.errors import Fault, RuleBroken
from domain.records.equipment import EquipmentModel, EquipmentModelStated
from domain.records.organisations import Organisation
from domain.records.unit import Unit
from domain.rules.money import minor_units
from domain.rules.service_life import CheckKind
from domain.rules.text import same_name

_COMPOSED = ("checks", "cautions", "unit_cost_minor")
_PLAIN = tuple(name for name in EquipmentModelStated.model_fields if name not in _COMPOSED)


def plan_equipment_models(unit: Unit, sheet: Sheet) -> Plan:
    """Return what is to be done with a list of models; a model is known again by its name, whose spelling on record is kept."""
    sheet.check(EquipmentModelStated, *_PLAIN, "unit_cost_minor")
    sheet.resolve("cautions", _cautions)
    _resolve_costs(unit, sheet)
    keys = sheet.keys("name")
    sheet.refuse_repeated(keys, name="name")
    found = {row["name_key"]: row for row in kept_by_key(unit, EquipmentModel, "name_key", keys)}
    plan = started_plan(unit, EquipmentModel, EquipmentModelStated, derived=lambda made: {"name_key": same_name(made.name)})
    for position in sheet.sound():
        old = found.get(keys[position])
        plan_row(unit, plan, sheet, position, old=old, facts=partial(_facts, sheet, position, old))
    return plan


def _facts(sheet: Sheet, position: int, old: Mapping[str, Any] | None) -> dict[str, Any]:
    said = sheet.said(position, *_PLAIN, "cautions", but=("name",) if old else ())
    if "cautions" in said:
        said["cautions"] = list(said["cautions"])
    costs = {sheet.column(name)[position] for name in ("unit_cost", "unit_cost_minor")} - {None}
    if len(costs) > 1:
        raise _fault("unit_cost", "cost-twice", "unit_cost and unit_cost_minor say different costs")
    checks = _checks(sheet, position, old)
    return {**said, **({"unit_cost_minor": costs.pop()} if costs else {}), **({"checks": checks} if checks else {})}


def _checks(sheet: Sheet, position: int, old: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    plans = {plan["kind"]: plan for plan in (old["checks"] if old else ())}
    stated = False
    for kind in CheckKind:
        name = kind.value.replace("-", "_")
        months, days = (sheet.column(f"{name}_{unit}")[position] for unit in ("months", "days"))
        if months is not None and days is not None:
            raise _fault(f"{name}_days", "interval-twice", "say the interval in months or in days, one of them")
        if months is not None or days is not None:
            plans[kind] = {"kind": kind, "interval_months": months, "interval_days": days}
            stated = True
    return list(plans.values()) if stated else []


def _cautions(words: tuple[str, ...]) -> Any:  # noqa: ANN401 - the words or a fault
    return tuple(dict.fromkeys(words))


def _resolve_costs(unit: Unit, sheet: Sheet) -> None:
    if "unit_cost" not in sheet.columns:
        return
    organisation = unit.first(Organisation, ORGANISATION)
    currency = organisation.base_currency if organisation else ""

    def in_minor_units(amount: Decimal) -> Any:  # noqa: ANN401 - whole units or a fault
        try:
            minor = minor_units(amount, currency=currency)
        except ValueError as refused:
            return CellFault("too-many-decimals", f"unit_cost {amount} {currency}: {refused}")
        return checked_value(EquipmentModelStated, "unit_cost_minor", minor)

    sheet.resolve("unit_cost", in_minor_units)


def _fault(column: str, code: str, detail: str) -> RuleBroken:
    return RuleBroken(detail, code=code, faults=(Fault(f"/{column}", code, detail),))
