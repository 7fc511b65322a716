"""What is due at a site on a day, in which order, when, and what has to be ordered for it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from domain.actions.due_list import DueItem, DueList, due_list, every_item, item_forecast, judge_site, judged_items
from domain.actions.equipment import ReplacementStated, end_equipment, replace_equipment
from domain.actions.readings import record_check
from domain.actions.recording import Ending
from domain.errors import Conflict
from domain.records.engine import Store
from domain.records.equipment import Equipment, EquipmentCheckStated
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.forecast import Need
from domain.rules.service_life import Standing
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")

TODAY = date(2026, 3, 1)


def listed(unit: Unit, at: Site, *, today: date = TODAY, ahead_days: int = 14) -> DueList:
    return due_list(unit, at, judge_site(unit, at, today=today), ahead_days=ahead_days)


def tags(of: DueList) -> list[str]:
    return [one.tag for one in of.items]


def by_tag(of: DueList) -> dict[str, DueItem]:
    return {one.tag: one for one in of.items}


def aged(unit: Unit, at: Site, **installed: str) -> dict[str, Equipment]:
    """Register items of a model that lasts twelve months, by tag and installation date."""
    of = makers.model(unit, life_months=12)
    return {tag: makers.equipment(unit, of, at, tag=tag, installed_on=on) for tag, on in installed.items()}


def test_the_list_holds_what_is_overdue_due_and_due_within_the_days_ahead(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        aged(unit, at, A="2025-02-28", B="2025-03-01", C="2025-03-02", D="2025-03-15", E="2025-03-16")

        found = listed(unit, at)

        assert {one.tag: (one.forecast.standing, one.forecast.due_on, one.do_on) for one in found.items} == {
            "A": (Standing.OVERDUE, date(2026, 2, 28), TODAY),
            "B": (Standing.DUE, TODAY, TODAY),
            "C": (Standing.DUE_SOON, date(2026, 3, 2), date(2026, 3, 2)),
            "D": (Standing.DUE_SOON, date(2026, 3, 15), date(2026, 3, 15)),
        }
        assert tags(listed(unit, at, ahead_days=0)) == ["A", "B"]
        assert tags(listed(unit, at, ahead_days=15)) == ["A", "B", "C", "D", "E"]
        assert found.counts == {Standing.OVERDUE: 1, Standing.DUE: 1, Standing.DUE_SOON: 2, Standing.GOOD: 1, Standing.UNKNOWN: 0}
        assert [one.tag for one in every_item(unit, at, judge_site(unit, at, today=TODAY))] == ["A", "B", "C", "D", "E"]


def test_what_cannot_be_dated_is_on_every_list_with_what_is_missing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        makers.equipment(unit, makers.model(unit, name="M1", life_months=12), at, tag="A", installed_on=None)
        makers.equipment(unit, makers.model(unit, name="M2", life_months=120, life_hours=500), at, tag="B")
        makers.equipment(unit, makers.model(unit, name="M3"), at, tag="C")

        found = by_tag(listed(unit, at, ahead_days=0))

    assert {tag: (one.forecast.standing, one.forecast.missing, one.do_on) for tag, one in found.items()} == {
        "A": (Standing.UNKNOWN, ("installed_on",), None),
        "B": (Standing.UNKNOWN, ("run_schedule",), date(2035, 3, 1)),
        "C": (Standing.UNKNOWN, ("life_rules",), None),
    }
    assert found["B"].forecast.no_later_than == date(2035, 3, 1)


def test_the_list_follows_the_way_a_person_walks(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of = makers.model(unit, life_months=12)
        places = {
            "second": makers.enclosure(unit, at, name="Aviary", walking_order=2),
            "first": makers.enclosure(unit, at, name="Zoo pond", walking_order=1),
            "unordered": makers.enclosure(unit, at, name="Attic"),
        }
        for tag, place, position in (
            ("1", "unordered", "a"),
            ("2", "second", "b"),
            ("3", "second", "a"),
            ("4", "first", "a"),
            ("5", "second", "a"),
        ):
            makers.equipment(unit, of, at, tag=tag, enclosure_id=places[place].id, position=position)
        makers.equipment(unit, of, at, tag="6", life_support_system_id=makers.system(unit, at).id)
        makers.equipment(unit, of, at, tag="7")

        found = listed(unit, at)

    assert tags(found) == ["4", "2", "3", "5", "7", "1", "6"]
    assert [one.place for one in found.items] == ["Zoo pond", "Aviary", "Aviary", "Aviary", "", "Attic", "Hall loop"]


def test_items_of_other_sites_and_items_that_ended_are_not_on_the_list(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, elsewhere = makers.site(unit), makers.site(unit, name="Elsewhere")
        items = aged(unit, at, A="2025-03-01", B="2025-03-01")
        end_equipment(unit, items["B"].id, Ending(reason="cracked"))

        assert tags(listed(unit, at)) == ["A"]
        assert tags(listed(unit, elsewhere)) == []
        assert sum(listed(unit, elsewhere).counts.values()) == 0


def media_lots(unit: Unit, at: Site, **installed: str) -> dict[str, Equipment]:
    """Register lots of filter media that last a year, on one system with a least gap of fourteen days."""
    of = makers.model(unit, name="Ceramic rings", kind="biological-media", life_months=12, lead_days=10)
    loop = makers.system(unit, at)
    return {tag: makers.equipment(unit, of, at, tag=tag, installed_on=on, life_support_system_id=loop.id) for tag, on in installed.items()}


def test_two_media_lots_of_one_system_are_never_proposed_for_one_visit(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        lots = media_lots(unit, at, F1="2025-03-20", F2="2025-03-25", F3="2025-06-01")

        found = by_tag(listed(unit, at, ahead_days=120))
        alone = item_forecast(unit, lots["F1"], today=TODAY)

    assert {tag: (one.forecast.due_on, one.do_on, one.conflict) for tag, one in found.items()} == {
        "F1": (date(2026, 3, 20), date(2026, 3, 11), None),
        "F2": (date(2026, 3, 25), date(2026, 3, 25), None),
        "F3": (date(2026, 6, 1), date(2026, 6, 1), None),
    }
    assert "before its own date" in found["F1"].because
    assert (alone.do_on, alone.conflict, alone.because, alone.forecast) == (
        found["F1"].do_on, None, found["F1"].because, found["F1"].forecast,
    )  # fmt: skip


def test_a_clash_that_today_cannot_solve_is_said_on_both_lots(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        media_lots(unit, at, F1="2025-03-03", F2="2025-03-05")

        found = by_tag(listed(unit, at))

    assert {tag: (one.forecast.due_on, one.do_on) for tag, one in found.items()} == {
        "F1": (date(2026, 3, 3), TODAY),
        "F2": (date(2026, 3, 5), date(2026, 3, 15)),
    }
    assert found["F1"].conflict == found["F2"].conflict
    assert "within 14 days of F1" in (found["F2"].conflict or "")


def test_only_media_that_is_in_service_on_the_same_system_keeps_a_lot_apart(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        lots = media_lots(unit, at, F1="2025-03-10", F2="2025-03-10")
        end_equipment(unit, lots["F2"].id, Ending(reason="torn"))
        media, loop = lots["F1"].model_id, lots["F1"].life_support_system_id
        pump = makers.model(unit, name="Pump", kind="circulation-pump", life_months=12)
        other = makers.system(unit, at, name="Other loop")
        makers.equipment(unit, pump, at, tag="P1", installed_on="2025-03-10", life_support_system_id=loop)
        makers.equipment(unit, pump, at, tag="F3", model_id=media, installed_on="2025-03-10", life_support_system_id=other.id)
        makers.equipment(unit, pump, at, tag="F4", model_id=media, installed_on="2025-03-10")

        found = listed(unit, at)

    assert {one.tag: (one.do_on, one.conflict) for one in found.items} == dict.fromkeys(("F1", "P1", "F3", "F4"), (date(2026, 3, 10), None))


def test_a_lot_brought_forward_into_the_days_ahead_is_on_the_list(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        media_lots(unit, at, F1="2025-03-20", F2="2025-03-25")

        assert tags(listed(unit, at, ahead_days=9)) == []
        assert tags(listed(unit, at, ahead_days=10)) == ["F1"]


def orders(of: DueList) -> list[tuple[str, int, date | None, tuple[str, ...]]]:
    return [(one.model.name, one.quantity, one.order_by, one.tags) for one in of.orders]


def test_what_the_shelf_does_not_cover_is_ordered_for_the_items_that_can_wait_longest(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of = makers.model(unit, name="Tube", life_months=12, lead_days=5)
        for tag, on in (("A", "2025-03-01"), ("B", "2025-03-05"), ("C", "2025-03-10")):
            makers.equipment(unit, of, at, tag=tag, installed_on=on)
        assert orders(listed(unit, at)) == [("Tube", 3, date(2026, 2, 24), ("A", "B", "C"))]

        makers.spare(unit, of, at, on_hand=1, on_order=1, reserved=1)
        assert orders(listed(unit, at)) == [("Tube", 2, date(2026, 2, 28), ("B", "C"))]

        makers.spare(unit, of, at, shelf="B5", on_hand=2)
        assert orders(listed(unit, at)) == []


def test_a_part_with_a_long_lead_time_is_ordered_before_its_item_is_on_the_list(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        slow = makers.model(unit, name="Slow", life_months=12, lead_days=60, supplier="Brook & Sons")
        quick = makers.model(unit, name="Quick", life_months=12, lead_days=2)
        makers.equipment(unit, slow, at, tag="A", installed_on="2025-05-01")
        makers.equipment(unit, quick, at, tag="B", installed_on="2025-05-01")

        found = listed(unit, at)

    assert tags(found) == []
    assert orders(found) == [("Slow", 1, date(2026, 3, 2), ("A",))]


def test_a_shelf_below_its_mark_is_filled_up(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of = makers.model(unit, name="Tube", life_months=12)
        makers.equipment(unit, of, at, tag="A", installed_on="2025-03-01")
        makers.spare(unit, of, at, on_hand=2, reorder_point=4)

        assert orders(listed(unit, at)) == [("Tube", 3, None, ())]


def test_a_check_to_be_made_asks_for_no_part_and_a_failed_one_does(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of = makers.model(unit, name="Probe", kind="ph-probe", checks=[{"kind": "calibration", "interval_days": 30}])
        item = makers.equipment(unit, of, at, tag="A", installed_on="2026-02-01")
        before = listed(unit, at)
        failed: dict[str, Any] = {"kind": "calibration", "done_on": "2026-02-20", "result": "failed"}
        record_check(unit, item.id, read_stated(EquipmentCheckStated, json_text(failed)))
        after = listed(unit, at)

    assert (by_tag(before)["A"].forecast.needs, orders(before)) == (Need.CHECK, [])
    assert (by_tag(after)["A"].forecast.needs, orders(after)) == (Need.REPLACEMENT, [("Probe", 1, None, ("A",))])


def test_what_a_night_stores_is_what_the_list_and_the_single_forecast_say(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        items = {
            **media_lots(unit, at, F1="2025-03-03", F2="2025-03-05", F3="2025-09-01"),
            **aged(unit, at, A="2025-01-01", B="2025-12-01"),
            "U": makers.equipment(unit, makers.model(unit, name="M", life_hours=500, life_months=24, lead_days=9), at, tag="U"),
        }
        judged = judge_site(unit, at, today=TODAY)

        results = {one.equipment_id: one for one in judged_items(judged)}

        assert set(results) == {item.id for item in items.values()}
        for worded in every_item(unit, at, judged):
            result = results[worded.equipment_id]
            seen = worded.forecast
            assert (result.standing, result.binding, result.due_on) == (seen.standing, seen.binding, seen.due_on)
            assert (result.no_later_than, result.order_by) == (seen.no_later_than, seen.order_by)
            assert (result.do_on, result.conflict) == (worded.do_on, worded.conflict)
            assert item_forecast(unit, items[worded.tag], today=TODAY) == worded


def test_an_ended_item_has_a_forecast_as_of_the_days_before_only(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        item = aged(unit, at, A="2025-03-05")["A"]
        gone = end_equipment(unit, item.id, Ending(reason="cracked"))

        assert item_forecast(unit, gone, today=TODAY - timedelta(days=1)).forecast.due_on == date(2026, 3, 5)
        with pytest.raises(Conflict, match="ended on 2026-03-01: cracked"):
            item_forecast(unit, gone, today=TODAY)


def test_after_a_lot_is_changed_the_next_waits_for_the_gap(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        media = makers.model(unit, name="Sponge", kind="biological-media", life_months=18)
        loop = makers.system(unit, at, least_gap_days=14)
        first = makers.equipment(unit, media, at, tag="F-1", life_support_system_id=loop.id, installed_on="2024-09-01")
        makers.equipment(unit, media, at, tag="F-2", life_support_system_id=loop.id, installed_on="2024-09-02")
        replace_equipment(unit, first.id, ReplacementStated(installed_on=TODAY, reason="due", no_spare=True))

        found = {item.tag: item for item in listed(unit, at).items}

    assert found["F-2"].do_on == date(2026, 3, 15)
    assert found["F-2"].forecast.due_on == date(2026, 3, 2)
    assert "the last change (1 March 2026)" in (found["F-2"].conflict or "")


def test_as_of_a_past_day_the_item_of_that_day_is_judged(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, lamp = makers.site(unit), makers.model(unit, life_months=12)
        old = makers.equipment(unit, lamp, at, tag="L-1", installed_on="2025-02-10")
        replace_equipment(unit, old.id, ReplacementStated(installed_on=TODAY, reason="due", no_spare=True))

        then = due_list(unit, at, judge_site(unit, at, today=date(2026, 2, 20)))
        now = due_list(unit, at, judge_site(unit, at, today=TODAY))

    assert [(item.equipment_id, item.forecast.standing) for item in then.items] == [(old.id, Standing.OVERDUE)]
    assert now.items == ()


def test_a_shelf_below_its_mark_is_ordered_though_nothing_is_due(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, lamp = makers.site(unit), makers.model(unit, life_months=12)
        makers.spare(unit, lamp, at, on_hand=1, reorder_point=3)

        found = listed(unit, at)

    assert [(order.model.id, order.quantity, order.tags) for order in found.orders] == [(lamp.id, 2, ())]
