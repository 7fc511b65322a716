"""Reading what was stated, merging corrections, and naming the field at fault."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from domain.errors import RuleBroken
from domain.records.animals import AnimalStated
from domain.records.enclosures import Enclosure, EnclosureStated
from domain.records.equipment import EquipmentCheckStated, EquipmentModelStated, EquipmentStated
from domain.records.stated import merged, read_stated
from domain.records.statements import json_text
from domain.records.tables import make_ready

AN_ID = "01890a5d-ac96-774b-bcce-b302099a8057"
BOX = {"kind": "box-outside", "length_m": 2.0, "width_m": 1.0, "water_depth_m": 0.5, "wall_m": 0.01}
ITEM = {"tag": "RE-1", "model_id": AN_ID, "site_id": AN_ID}
MODEL = {"name": "Probe", "kind": "ph-probe"}
TWICE = [{"hours_per_day": 5}, {"hours_per_day": 6}]


@pytest.fixture(autouse=True, scope="module")
def records() -> None:
    make_ready()


def enclosure(shape: dict[str, Any] | None) -> Enclosure:
    return Enclosure.model_construct(site_id=UUID(AN_ID), name="Pool", note="deep", shape=shape)


def shape_after(patch: dict[str, Any], *, of: dict[str, Any] | None = BOX) -> Any:
    made = merged(EnclosureStated, enclosure(of), {"shape": patch}).shape
    return made.model_dump() if made else None


def faults(act: Any, *given: Any) -> list[tuple[str, str]]:
    with pytest.raises(RuleBroken) as refused:
        act(*given)
    return [(fault.pointer, fault.code) for fault in refused.value.faults]


def test_a_correction_reaches_into_an_object():
    assert shape_after({"length_m": 3.0}) == {**BOX, "length_m": 3.0}
    assert shape_after({"kind": "box-outside", "length_m": 3.0}) == {**BOX, "length_m": 3.0}


def test_null_takes_a_member_out_of_an_object():
    assert faults(shape_after, {"wall_m": None}) == [("/shape/wall_m", "required")]
    assert shape_after({"spacing_m": None}) == BOX
    assert shape_after({**BOX, "spacing_m": None}, of=None) == BOX


def test_another_kind_takes_the_place_of_the_whole_object():
    other = {"kind": "cylinder", "diameter_m": 1.0, "water_depth_m": 0.5}

    assert shape_after(other) == other
    assert faults(shape_after, {"kind": "cylinder", "diameter_m": 1.0}) == [("/shape/water_depth_m", "required")]


def test_null_puts_a_field_back_to_its_default():
    made = merged(EnclosureStated, enclosure(BOX), {"shape": None, "note": None})

    assert (made.shape, made.note, made.name) == (None, "", "Pool")


@pytest.mark.parametrize("value", [None, 5])
def test_a_field_that_there_is_not_is_named_in_a_correction_too(value):
    assert faults(merged, EnclosureStated, enclosure(None), {"colour": value}) == [("/colour", "unknown-field")]


@pytest.mark.parametrize(
    ("shape", "pointer", "code"),
    [
        ({**BOX, "length_m": -1}, "/shape/length_m", "greater-than-equal"),
        ({**BOX, "kind": "cylinder", "diameter_m": 1}, "/shape/length_m", "unknown-field"),
        ({"kind": "contours", "areas_m2": [1, -1], "interval_m": 1}, "/shape/areas_m2/1", "greater-than-equal"),
        ({**BOX, "wall_m": 0.9}, "/shape", "shape-impossible"),
        ({**BOX, "kind": "oval"}, "/shape/kind", "not-one-of"),
        ({"length_m": 1}, "/shape/kind", "required"),
        (5, "/shape", "not-object"),
    ],
)
def test_a_fault_within_a_shape_is_where_the_caller_wrote_it(shape, pointer, code):
    found = faults(read_stated, EnclosureStated, json_text({"site_id": AN_ID, "name": "Pool", "shape": shape}))

    assert (pointer, code) in found
    assert {where for where, _ in found} <= {pointer, "/shape/width_m", "/shape/wall_m"}


@pytest.mark.parametrize(
    ("kind", "stated", "pointer", "code"),
    [
        (EquipmentStated, {**ITEM, "override_life_hours": 5}, "/override_reason", "required"),
        (EquipmentStated, {**ITEM, "run_schedule": TWICE}, "/run_schedule", "repeated"),
        (EquipmentStated, {**ITEM, "run_schedule": [{}]}, "/run_schedule/0/hours_per_day", "not-together"),
        (
            EquipmentStated,
            {**ITEM, "run_schedule": [{"seasons": [{"from_month": 2, "from_day": 30, "hours_per_day": 5}]}]},
            "/run_schedule/0/seasons/0/from_day",
            "not-date",
        ),
        (
            EquipmentStated,
            {**ITEM, "run_schedule": [{"seasons": [{"from_month": 2, "from_day": 3, "hours_per_day": 5}] * 2}]},
            "/run_schedule/0/seasons",
            "repeated",
        ),
        (EquipmentModelStated, {**MODEL, "life_months": 6, "life_weeks": 26}, "/life_weeks", "not-together"),
        (EquipmentModelStated, {**MODEL, "life_months": 6, "life_days": 180}, "/life_days", "not-together"),
        (EquipmentModelStated, {**MODEL, "checks": [{"kind": "calibration", "interval_days": 1}] * 2}, "/checks", "repeated"),
        (
            EquipmentModelStated,
            {**MODEL, "checks": [{"kind": "calibration", "interval_days": 1, "interval_months": 1}]},
            "/checks/0/interval_days",
            "not-together",
        ),
        (
            EquipmentCheckStated,
            {"kind": "calibration", "done_on": "2025-01-01", "result": "passed", "interval_days": 1, "interval_months": 1},
            "/interval_days",
            "not-together",
        ),
        (AnimalStated, {"taxon_id": AN_ID, "tag": "G-1", "count": 5}, "/count", "not-together"),
    ],
)
def test_a_rule_between_fields_names_the_field_to_mend(kind, stated, pointer, code):
    assert faults(read_stated, kind, json_text(stated)) == [(pointer, code)]
