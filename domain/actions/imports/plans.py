"""What an import will do, worked out before anything is written; and doing it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from pydantic import ValidationError

from domain.actions.imports.sheet import Sheet
from domain.errors import Fault, RuleBroken
from domain.records.base import Record, Stated, columns_of
from domain.records.enclosures import Enclosure
from domain.records.stated import faults_of, merged
from domain.records.unit import Unit

_CHUNK = 5000
_COLUMNS_OF_FIELDS = {
    "site_id": "site",
    "model_id": "model",
    "enclosure_id": "enclosure",
    "parent_id": "parent",
    "life_support_system_id": "life_support_system",
    "run_schedule": "hours_per_day",
}


@dataclass(slots=True)
class Plan:
    """New rows, changes (the record as it is, and its columns as they are to be), and how many rows say what is on record already.

    ``derived`` gives the columns that follow from what is stated.
    """

    record: type[Record]
    stated: type[Stated]
    derived: Callable[[Any], Mapping[str, Any]]
    blank: Mapping[str, Any]
    created: list[Mapping[str, Any]] = field(default_factory=list)
    changed: list[tuple[Record, Mapping[str, Any]]] = field(default_factory=list)
    unchanged: int = 0
    new_enclosures: list[Mapping[str, Any]] = field(default_factory=list)


def started_plan(unit: Unit, record: type[Record], stated: type[Stated], *, derived: Callable[[Any], Mapping[str, Any]]) -> Plan:
    """Return an empty plan for records of one class."""
    return Plan(record, stated, derived, blank_row(unit, record))


def blank_row(unit: Unit, record: type[Record]) -> dict[str, Any]:
    """Return the columns of a new row of which nothing was stated; the id is still to be given."""
    defaults = {
        name: facts.get_default(call_default_factory=True) for name, facts in record.model_fields.items() if not facts.is_required()
    }
    stated_none = {name: defaults.get(name) for name in columns_of(record)}
    return {**stated_none, "organisation_id": unit.organisation_id, "created_at": unit.origin.at}


def plan_row(
    unit: Unit,
    plan: Plan,
    sheet: Sheet,
    position: int,
    *,
    old: Mapping[str, Any] | None,
    facts: Callable[[], Mapping[str, Any]],
) -> UUID | None:
    """Plan one row through the stated class and return its record's id; ``None`` where it is refused.

    ``old`` is the record on file, ``facts`` what the row states in the stated class's own fields.
    """
    try:
        said = facts()
        if old is None:
            return _plan_new(unit, plan, said)
        if agrees(old, said):
            plan.unchanged += 1
        else:
            plan.changed.append(change_of(plan, old, said))
    except (RuleBroken, ValidationError) as refused:
        sheet.refuse_faults(position, [(_column(fault.pointer), fault) for fault in _faults(refused)])
        return None
    found: UUID = old["id"]
    return found


def change_of(plan: Plan, old: Mapping[str, Any], said: Mapping[str, Any]) -> tuple[Record, Mapping[str, Any]]:
    """Return a record and its columns as they are to be once what is said is merged into it.

    Raises:
        RuleBroken: With one fault for each field that cannot be taken.
    """
    now = plan.record(**old)
    made = merged(plan.stated, now, said)
    return now, {**_facts_of(made), **plan.derived(made)}


def agrees(old: Mapping[str, Any], said: Mapping[str, Any]) -> bool:
    """Return whether a record says already all that is said."""
    return all(old[name] == (value.model_dump(mode="json") if hasattr(value, "model_dump") else value) for name, value in said.items())


def carry_out(unit: Unit, plan: Plan) -> None:
    """Write what is planned, with a journal entry for every record."""
    _add(unit, Enclosure, plan.new_enclosures)
    _add(unit, plan.record, plan.created)
    for record, values in plan.changed:
        unit.change(record, values, action=f"import_{plan.record.noun}")


def _plan_new(unit: Unit, plan: Plan, said: Mapping[str, Any]) -> UUID:
    made = plan.stated(**said)
    record_id = unit.new_id()
    plan.created.append({**plan.blank, **_facts_of(made), **plan.derived(made), "id": record_id})
    return record_id


def _add(unit: Unit, record: type[Record], rows: list[Mapping[str, Any]]) -> None:
    for start in range(0, len(rows), _CHUNK):
        unit.add_many(record, rows[start : start + _CHUNK], action=f"import_{record.noun}")


def _facts_of(made: Stated) -> dict[str, Any]:
    return {name: getattr(made, name) for name in type(made).model_fields}


def _faults(refused: RuleBroken | ValidationError) -> tuple[Fault, ...]:
    if isinstance(refused, ValidationError):
        return faults_of(refused.errors())
    return refused.faults or (Fault("", refused.code, refused.detail),)


def _column(pointer: str) -> str:
    names = pointer.split("/")
    # A fault within a shape is one of the shape's own columns.
    name = names[2] if names[1:2] == ["shape"] and len(names) > 2 else names[min(1, len(names) - 1)]  # noqa: PLR2004 - /shape/width_m
    return _COLUMNS_OF_FIELDS.get(name, name)
