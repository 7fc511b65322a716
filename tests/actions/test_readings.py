"""What was read, measured and checked on an item."""

from __future__ import annotations

from typing import Any

import pytest

from domain.actions.equipment import end_equipment
from domain.actions.readings import end_measured, record_check, record_hours, record_output
from domain.actions.recording import Ending
from domain.errors import Conflict, Refusal
from domain.records.engine import Store
from domain.records.equipment import EquipmentCheckStated, HourReading, HourReadingStated, OutputReadingStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")


def counter(read_on: str, counter_h: float) -> HourReadingStated:
    return read_stated(HourReadingStated, json_text({"read_on": read_on, "counter_h": counter_h}))


def refusal(work: Any) -> tuple[str, str]:
    with pytest.raises(Refusal) as refused:
        work()
    return refused.value.code, refused.value.faults[0].pointer


def test_a_counter_does_not_run_backwards(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        item = makers.equipment(unit, makers.model(unit), makers.site(unit), counter_at_installation_h=100)

        def read(read_on: str, counter_h: float) -> HourReading:
            return record_hours(unit, item.id, counter(read_on, counter_h))

        backwards = ("counter-backwards", "/counter_h")
        assert refusal(lambda: read("2025-04-01", 99.9)) == backwards
        assert read("2025-06-01", 500).counter_h == 500
        assert refusal(lambda: read("2025-07-01", 499)) == backwards
        assert refusal(lambda: read("2025-06-01", 499)) == backwards
        assert refusal(lambda: read("2025-05-01", 501)) == backwards
        assert read("2025-05-01", 500).counter_h == 500
        wrong = read("2025-12-01", 9000)
        assert refusal(lambda: read("2026-01-01", 1000)) == backwards
        end_measured(unit, HourReading, item.id, wrong.id, Ending(reason="misread"))
        assert read("2026-01-01", 1000).counter_h == 1000


def test_nothing_is_measured_before_installation_or_after_today(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        item = makers.equipment(unit, makers.model(unit, output_unit="UVI"), makers.site(unit))

        def measured(on: str) -> object:
            return record_output(unit, item.id, read_stated(OutputReadingStated, json_text({"measured_on": on, "value": 1})))

        assert refusal(lambda: measured("2025-02-28")) == ("before-installation", "/measured_on")
        assert refusal(lambda: measured("2026-03-02")) == ("in-future", "/measured_on")
        assert measured("2025-03-01")
        assert measured("2026-03-01")
        check = read_stated(EquipmentCheckStated, json_text({"kind": "calibration", "done_on": "2026-03-02", "result": "passed"}))
        assert refusal(lambda: record_check(unit, item.id, check)) == ("in-future", "/done_on")


def test_an_output_without_a_unit_is_refused(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        item = makers.equipment(unit, makers.model(unit), makers.site(unit))
        stated = read_stated(OutputReadingStated, json_text({"measured_on": "2026-03-01", "value": 1}))

        assert refusal(lambda: record_output(unit, item.id, stated)) == ("no-unit", "/value")


def test_nothing_is_measured_on_an_item_that_ended_nor_ended_under_another_item(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)
        gone, other = makers.equipment(unit, of, at, tag="A"), makers.equipment(unit, of, at, tag="B")
        read = record_hours(unit, gone.id, counter("2026-01-01", 10))
        end_equipment(unit, gone.id, Ending(reason="cracked"))

        with pytest.raises(Conflict, match="nothing is measured"):
            record_hours(unit, gone.id, counter("2026-02-01", 20))
        with pytest.raises(Conflict, match="another item"):
            end_measured(unit, HourReading, other.id, read.id, Ending(reason="misread"))
        assert end_measured(unit, HourReading, gone.id, read.id, Ending(reason="misread")).end_reason == "misread"
        with pytest.raises(Conflict, match="already"):
            end_measured(unit, HourReading, gone.id, read.id, Ending(reason="misread"))
