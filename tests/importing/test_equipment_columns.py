"""The column-by-column way and the stated class agree on every row, and leave the same record as a registration does."""

from __future__ import annotations

from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from domain.actions.equipment import derived_of, register_equipment
from domain.actions.imports.equipment import PLAIN, _check_overrides, plan_equipment
from domain.actions.imports.rows import CellFault, ImportRows
from domain.actions.imports.schedules import constant_schedule
from domain.actions.imports.sheet import Sheet, checked_value
from domain.records.base import row_of
from domain.records.equipment import Equipment, EquipmentStated, RunPeriodStated
from domain.records.nights import ImportKind
from domain.records.statements import json_text
from tests import makers

SOME_ID = UUID(int=7)
TEXTS = st.one_of(st.text(max_size=130), st.sampled_from(["", " ", "x", "a\x00b", " A ", "\N{RIGHT-TO-LEFT OVERRIDE}", "x" * 121, "=1"]))
NUMBERS = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from([0.0, -0.0, 24.0, 24.000001, 1e7, 1e12])
WHOLE = st.integers(min_value=-5, max_value=100_005)
DAYS = st.dates()
CELLS = {
    **dict.fromkeys(("tag", "position", "serial", "override_reason", "note"), TEXTS),
    **dict.fromkeys(("installed_on", "manufactured_on", "expires_on", "opened_on"), DAYS),
    **dict.fromkeys(("counter_at_installation_h", "override_life_hours", "override_output_minimum", "hours_per_day"), NUMBERS),
    "override_life_months": WHOLE,
}


def import_rows(columns):
    count = len(columns["tag"])
    return ImportRows(ImportKind.EQUIPMENT, columns, columns, {name: name for name in columns}, range(2, count + 2), range(count))


def stated_of(row):
    hours = row.get("hours_per_day")
    said = {name: value for name, value in row.items() if name != "hours_per_day"}
    schedule = [] if hours is None else [RunPeriodStated(hours_per_day=hours)]
    return EquipmentStated(**said, model_id=SOME_ID, site_id=SOME_ID, run_schedule=schedule)


@given(st.fixed_dictionaries({"tag": TEXTS}, optional={name: cells for name, cells in CELLS.items() if name != "tag"}))
def test_a_row_is_taken_exactly_where_the_stated_class_takes_it(row):
    try:
        wanted = stated_of(row)
    except ValidationError:
        wanted = None

    sheet = Sheet(import_rows({name: [value] for name, value in row.items()}))
    sheet.check(EquipmentStated, *PLAIN)
    sheet.check(RunPeriodStated, "hours_per_day")
    if not sheet.refusals:
        _check_overrides(sheet)

    assert bool(sheet.refusals) == (wanted is None)
    if wanted is not None:
        assert sheet.said(0, *PLAIN) == {name: getattr(wanted, name) for name in row if name in PLAIN}


@pytest.mark.parametrize("name", [name for name in CELLS if name != "hours_per_day"])
@given(st.data())
def test_a_field_is_taken_as_the_stated_class_takes_it(name, data):
    value = data.draw(CELLS[name])
    reason = {"override_reason": "wet room"} if name.startswith("override_") else {}
    row = {"tag": "A-1", **reason, name: value}

    found = checked_value(EquipmentStated, name, value)

    try:
        assert found == getattr(stated_of(row), name)
    except ValidationError:
        assert isinstance(found, CellFault)


@given(st.floats(min_value=0, max_value=24))
def test_a_constant_schedule_is_written_as_a_stated_one(hours):
    stated = stated_of({"tag": "A-1", "hours_per_day": hours})

    assert json_text(constant_schedule(hours)) == json_text(stated.run_schedule)
    assert derived_of(stated)["hours_per_day"] == hours


def test_an_imported_item_is_the_very_record_that_a_registration_makes(store, organisation):
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        site, model = makers.site(unit), makers.model(unit)
        place = makers.enclosure(unit, site, name="Hall A 01")
        loop = makers.system(unit, site, name="Hall loop")
        said = {
            "tag": " RE-1 ",
            "position": "left",
            "serial": "7",
            "installed_on": date(2025, 1, 2),
            "counter_at_installation_h": 3.0,
            "note": "a\r\nb",
        }
        names = {"site": site.name, "model": model.name, "enclosure": place.name, "life_support_system": loop.name, "hours_per_day": 12.0}
        sheet = Sheet(import_rows({name: [value] for name, value in {**said, **names}.items()}))
        (planned,) = plan_equipment(unit, sheet, create_enclosures=False).created
        ids = {"site_id": site.id, "model_id": model.id, "enclosure_id": place.id, "life_support_system_id": loop.id}
        stated = EquipmentStated(**said, **ids, run_schedule=[RunPeriodStated(hours_per_day=12.0)])
        registered = row_of(register_equipment(unit, stated))

    assert sheet.refusals == {}
    assert {**planned, "id": None} | {"run_schedule": json_text(planned["run_schedule"])} == {
        **registered,
        "id": None,
        "run_schedule": json_text(registered["run_schedule"]),
    }
    assert planned["created_at"] == datetime(2026, 3, 1, 12, tzinfo=UTC)
    assert list(planned) == list(row_of(Equipment(**planned)))
