"""The facts of service life, read from the records of either database."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any
from uuid import UUID

import numpy as np
import pytest

from domain.actions.equipment import end_equipment
from domain.actions.readings import end_measured, record_check, record_hours, record_output
from domain.actions.recording import Ending
from domain.errors import RuleBroken
from domain.records.engine import Store
from domain.records.equipment import (
    Equipment,
    EquipmentCheck,
    EquipmentCheckStated,
    HourReading,
    HourReadingStated,
    OutputReading,
    OutputReadingStated,
)
from domain.records.outlooks import ServiceBatch, item_batches, site_batches, system_media_batches
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.calendar import as_date_or_none
from domain.rules.run_hours import RunPeriod, Season
from domain.rules.service_life import CHECK_KINDS, CheckKind, rule_dates
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")

SEASONS = [
    {"from_month": 4, "from_day": 1, "hours_per_day": 14.0},
    {"from_month": 10, "from_day": 1, "hours_per_day": 8.0},
]
WRONG = Ending(reason="meter was broken")
TODAY = date(2026, 3, 1)


def first_due(batches: Iterable[ServiceBatch]) -> dict[UUID, date | None]:
    found: dict[UUID, date | None] = {}
    for batch in batches:
        dates = rule_dates(batch.facts)
        found |= {batch.id_of(i): as_date_or_none(dates.first_due[i]) for i in range(len(batch.ids))}
    return found


def undecided(batches: Iterable[ServiceBatch]) -> dict[UUID, bool]:
    return {batch.id_of(i): bool(rule_dates(batch.facts).undecided[i]) for batch in batches for i in range(len(batch.ids))}


def one(unit: Unit, item: Equipment) -> ServiceBatch:
    (batch,) = item_batches(unit, item.id)
    return batch


def due(unit: Unit, item: Equipment) -> date | None:
    return first_due([one(unit, item)])[item.id]


def hours(unit: Unit, item: Equipment, read_on: str, counter_h: float) -> HourReading:
    stated = read_stated(HourReadingStated, json_text({"read_on": read_on, "counter_h": counter_h}))
    return record_hours(unit, item.id, stated)


def output(unit: Unit, item: Equipment, measured_on: str, value: float) -> OutputReading:
    stated = read_stated(OutputReadingStated, json_text({"measured_on": measured_on, "value": value}))
    return record_output(unit, item.id, stated)


def check(unit: Unit, item: Equipment, done_on: str, result: str, **more: Any) -> EquipmentCheck:
    said = {"kind": "calibration", "done_on": done_on, "result": result, **more}
    return record_check(unit, item.id, read_stated(EquipmentCheckStated, json_text(said)))


def test_the_limits_of_a_model_hold_for_its_items(store: Store) -> None:
    limits: dict[str, tuple[dict[str, Any], dict[str, Any], date | None]] = {
        "months": ({"life_months": 6}, {"installed_on": "2025-08-31"}, date(2026, 2, 28)),
        "weeks": ({"life_weeks": 52}, {}, date(2026, 2, 28)),
        "days": ({"life_days": 365}, {}, date(2026, 3, 1)),
        "hours": ({"life_hours": 5000}, {"run_schedule": [{"hours_per_day": 12}]}, date(2026, 4, 21)),
        "printed": ({}, {"expires_on": "2026-05-31"}, date(2026, 5, 31)),
        "made": ({"shelf_life_months": 18}, {"manufactured_on": "2024-08-31"}, date(2026, 2, 28)),
        "opened": ({"opened_life_days": 90}, {"opened_on": "2026-01-01"}, date(2026, 4, 1)),
        "check": ({"checks": [{"kind": "calibration", "interval_days": 30}]}, {}, date(2025, 3, 31)),
        "no rule": ({}, {}, None),
        "no date": ({"life_months": 6}, {"installed_on": None}, None),
    }
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        expected = {}
        for name, (of_model, of_item, day) in limits.items():
            item = makers.equipment(unit, makers.model(unit, name=name, **of_model), at, tag=name, **of_item)
            expected[item.id] = day

        assert first_due(site_batches(unit, at.id, on=TODAY)) == expected


def test_a_limit_of_the_items_own_takes_the_place_of_the_models(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        by_weeks = makers.model(unit, name="weeks", life_weeks=4)
        by_hours = makers.model(unit, name="hours", life_hours=500)
        by_share = makers.model(unit, name="share", output_unit="UVI", output_minimum_share=0.7)
        own = {"override_reason": "maker's letter"}
        older = makers.equipment(unit, by_weeks, at, tag="A", override_life_months=12, **own)
        longer = makers.equipment(unit, by_hours, at, tag="B", override_life_hours=1200, run_schedule=[{"hours_per_day": 12}], **own)
        dimmer = makers.equipment(unit, by_share, at, tag="C", override_output_minimum=2, **own)
        plain = makers.equipment(unit, by_weeks, at, tag="D")
        output(unit, dimmer, "2025-04-01", 5.0)
        output(unit, dimmer, "2026-01-01", 2.0)

        assert first_due(site_batches(unit, at.id, on=TODAY)) == {
            older.id: date(2026, 3, 1),
            longer.id: date(2025, 6, 9),
            dimmer.id: None,
            plain.id: date(2025, 3, 29),
        }
        output(unit, dimmer, "2026-02-01", 1.9)
        assert due(unit, dimmer) == date(2026, 2, 1)


def test_a_limit_of_the_items_own_needs_a_reason(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)

        for limit in ("override_life_months", "override_life_hours", "override_output_minimum"):
            with pytest.raises(RuleBroken) as refused:
                makers.equipment(unit, of, at, **{limit: 6})
            assert "override_reason" in refused.value.faults[0].detail


def test_dated_and_seasonal_schedules_are_read_as_they_were_stated(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit, life_hours=1000)
        periods = [{"hours_per_day": 10}, {"starts_on": "2025-03-11", "hours_per_day": 5}]
        dated = makers.equipment(unit, of, at, tag="A", run_schedule=periods)
        seasonal = makers.equipment(unit, of, at, tag="B", run_schedule=[{"seasons": SEASONS}])
        constant = makers.equipment(unit, of, at, tag="C", run_schedule=[{"hours_per_day": 12}])
        unscheduled = makers.equipment(unit, of, at, tag="D")
        too_late = makers.equipment(unit, of, at, tag="E", run_schedule=[{"starts_on": "2025-03-02", "hours_per_day": 12}])

        # 1 March and 10 days at 10 h, then 180 days at 5 h; 31 days at 8 h, then 53 at 14 h; 83 days at 12 h.
        assert first_due(site_batches(unit, at.id, on=TODAY)) == {
            dated.id: date(2025, 9, 7),
            seasonal.id: date(2025, 5, 24),
            constant.id: date(2025, 5, 23),
            unscheduled.id: None,
            too_late.id: None,
        }
        assert undecided(site_batches(unit, at.id, on=TODAY)) == {
            dated.id: False,
            seasonal.id: False,
            constant.id: False,
            unscheduled.id: True,
            too_late.id: True,
        }
        assert one(unit, seasonal).schedule_of(0) == [RunPeriod(None, None, (Season(4, 1, 14.0), Season(10, 1, 8.0)))]
        assert one(unit, constant).schedule_of(0) == (RunPeriod(None, 12.0),)
        assert one(unit, unscheduled).schedule_of(0) == ()


def test_hours_go_on_from_the_latest_counter_reading(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit, life_hours=5000)
        daily = [{"hours_per_day": 12}]
        read = makers.equipment(unit, of, at, tag="A", run_schedule=daily)
        second_hand = makers.equipment(unit, of, at, tag="B", run_schedule=daily, counter_at_installation_h=1000)
        passed = makers.equipment(unit, of, at, tag="C")
        undated = makers.equipment(unit, of, at, tag="D", installed_on=None, run_schedule=[{"seasons": SEASONS}])
        hours(unit, read, "2025-06-01", 1000)
        hours(unit, read, "2026-01-10", 4000)
        hours(unit, second_hand, "2026-01-10", 5000)
        for read_on, counter_h in (("2026-01-10", 5000), ("2026-01-20", 5000.5), ("2026-02-01", 5600)):
            hours(unit, passed, read_on, counter_h)
        hours(unit, undated, "2026-02-20", 4900)

        # 83 days at 12 h are left of 1000 h; 12 days at 8 h of 100 h.
        expected = {
            read.id: date(2026, 4, 3),
            second_hand.id: date(2026, 4, 3),
            passed.id: date(2026, 1, 10),
            undated.id: date(2026, 3, 4),
        }
        assert first_due(site_batches(unit, at.id, on=TODAY)) == expected
        assert not any(undecided(site_batches(unit, at.id, on=TODAY)).values())


def test_a_counter_reading_taken_out_of_account_says_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit, life_hours=5000)
        item = makers.equipment(unit, of, at, run_schedule=[{"hours_per_day": 12}])
        wrong = hours(unit, item, "2026-01-10", 9000)
        # 315 days for 9000 h, evenly: 5000 h after 175 days.
        assert due(unit, item) == date(2025, 8, 23)

        end_measured(unit, HourReading, item.id, wrong.id, WRONG)

        assert due(unit, item) == date(2026, 4, 21)


def test_output_readings_are_read_in_order_and_those_taken_out_of_account_are_not(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of = makers.model(unit, output_unit="UVI", output_minimum_share=0.7, burn_in_hours=100)
        item = makers.equipment(unit, of, at, run_schedule=[{"hours_per_day": 12}])
        output(unit, item, "2026-02-10", 3.0)
        wrong = output(unit, item, "2025-03-10", 4.0)
        output(unit, item, "2025-03-02", 9.0)
        output(unit, item, "2025-03-20", 5.0)
        seen = rule_dates(one(unit, item).facts).output
        assert (seen.count[0], seen.first[0], seen.latest[0]) == (4, 4.0, 3.0)
        assert due(unit, item) is None

        end_measured(unit, OutputReading, item.id, wrong.id, WRONG)

        # 3.0 is above the share of 4.0, and below that of 5.0.
        assert rule_dates(one(unit, item).facts).output.first[0] == 5.0
        assert due(unit, item) == date(2026, 2, 10)


def test_of_two_readings_of_one_day_the_later_recorded_holds(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit, output_unit="UVI", output_minimum=2)
        item = makers.equipment(unit, of, at)
        output(unit, item, "2026-02-10", 3.0)
        output(unit, item, "2026-02-10", 1.0)

        assert due(unit, item) == date(2026, 2, 10)
        output(unit, item, "2026-02-10", 2.5)
        assert due(unit, item) is None


def test_a_check_that_failed_is_due_since_it_first_failed_until_it_passes(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit, checks=[{"kind": "calibration", "interval_months": 1}])
        item = makers.equipment(unit, of, at)
        check(unit, item, "2025-12-31", "passed")
        assert due(unit, item) == date(2026, 1, 31)

        check(unit, item, "2026-01-20", "failed")
        wrong = check(unit, item, "2026-01-25", "failed")
        assert due(unit, item) == date(2026, 1, 20)

        passed = check(unit, item, "2026-01-26", "passed")
        assert due(unit, item) == date(2026, 2, 26)
        check(unit, item, "2026-02-01", "failed", interval_days=7)
        assert due(unit, item) == date(2026, 2, 1)

        end_measured(unit, EquipmentCheck, item.id, passed.id, WRONG)
        assert due(unit, item) == date(2026, 1, 20)
        end_measured(unit, EquipmentCheck, item.id, wrong.id, WRONG)
        assert due(unit, item) == date(2026, 1, 20)


def test_an_interval_that_a_check_states_holds_until_the_next_check(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit, checks=[{"kind": "calibration", "interval_months": 1}])
        item, unplanned = makers.equipment(unit, of, at, tag="A"), makers.equipment(unit, makers.model(unit, name="other"), at, tag="B")
        check(unit, item, "2026-01-01", "passed", interval_days=90)
        check(unit, unplanned, "2026-01-01", "passed", interval_days=90)
        assert first_due(site_batches(unit, at.id, on=TODAY)) == {item.id: date(2026, 4, 1), unplanned.id: date(2026, 4, 1)}

        check(unit, item, "2026-02-01", "passed")

        assert due(unit, item) == date(2026, 3, 1)


def test_each_kind_of_check_has_its_own_results(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        plans = [{"kind": "calibration", "interval_days": 30}, {"kind": "residual-current-test", "interval_months": 6}]
        item = makers.equipment(unit, makers.model(unit, checks=plans), at)
        check(unit, item, "2026-02-01", "passed")
        check(unit, item, "2026-02-02", "failed", kind="electrical-inspection")

        dates = rule_dates(one(unit, item).facts).check_due[0]

    assert {kind: as_date_or_none(day) for kind, day in zip(CHECK_KINDS, dates, strict=True)} == {
        CheckKind.CALIBRATION: date(2026, 3, 3),
        CheckKind.RESIDUAL_CURRENT: date(2025, 9, 1),
        CheckKind.ELECTRICAL: date(2026, 2, 2),
    }


def test_only_items_in_service_at_the_site_are_read(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit:
        makers.equipment(unit, makers.model(unit), makers.site(unit))
    with store.transaction(makers.origin()) as unit:
        at, elsewhere, of = makers.site(unit), makers.site(unit, name="Elsewhere"), makers.model(unit, life_months=12)
        kept = makers.equipment(unit, of, at, tag="A")
        gone = makers.equipment(unit, of, at, tag="B")
        makers.equipment(unit, of, elsewhere, tag="C")
        end_equipment(unit, gone.id, Ending(reason="cracked"))

        assert first_due(site_batches(unit, at.id, on=TODAY)) == {kept.id: date(2026, 3, 1)}
        assert due(unit, gone) == date(2026, 3, 1)
        assert first_due(site_batches(unit, UUID(int=1), on=TODAY)) == {}


@pytest.mark.parametrize("size", [1, 2, 3, 50_000])
def test_batches_of_any_size_hold_every_item_once_and_say_the_same(store: Store, size: int) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        models = [makers.model(unit, name=f"M{n}", life_months=6 + n, life_hours=4000, warn_days=n) for n in range(3)]
        schedules: list[list[dict[str, Any]]] = [[{"hours_per_day": 12}], [{"seasons": SEASONS}], []]
        items = {}
        for n in range(7):
            stated = {"tag": f"T{n}", "run_schedule": schedules[n % 3], "installed_on": None if n == 5 else f"2025-0{n + 1}-15"}
            item = makers.equipment(unit, models[n % 2], at, **stated)
            items[item.id] = item
        hours(unit, next(iter(items.values())), "2026-02-01", 3990)

        batches = list(site_batches(unit, at.id, size=size, on=TODAY))

        assert sorted(batch.id_of(i) for batch in batches for i in range(len(batch.ids))) == sorted(items)
        assert all(len(batch.ids) <= size for batch in batches)
        assert first_due(batches) == {item.id: due(unit, item) for item in items.values()}
        for batch in batches:
            for i in range(len(batch.ids)):
                item = items[batch.id_of(i)]
                alone = one(unit, item)
                assert batch.model_of(i).id == item.model_id
                assert batch.warn_days[i] == alone.warn_days[0] == batch.model_of(i).warn_days
                assert list(batch.schedule_of(i)) == list(alone.schedule_of(0))
                np.testing.assert_array_equal(rule_dates(batch.facts).due[i], rule_dates(alone.facts).due[0])


def test_a_system_is_asked_for_its_media_lots_only(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        loop, other = makers.system(unit, at), makers.system(unit, at, name="Other loop")
        media = makers.model(unit, name="media", kind="biological-media", life_months=12)
        pump = makers.model(unit, name="pump", kind="circulation-pump", life_months=12)
        lot = makers.equipment(unit, media, at, tag="A", life_support_system_id=loop.id)
        gone = makers.equipment(unit, media, at, tag="B", life_support_system_id=loop.id)
        makers.equipment(unit, pump, at, tag="C", life_support_system_id=loop.id)
        makers.equipment(unit, media, at, tag="D", life_support_system_id=other.id)
        end_equipment(unit, gone.id, Ending(reason="torn"))

        assert first_due(system_media_batches(unit, loop.id, on=TODAY)) == {lot.id: date(2026, 3, 1)}
