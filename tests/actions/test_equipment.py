"""Registering, changing and replacing equipment."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID, uuid4

import msgspec
import pytest

from domain.actions.enclosures import end_enclosure
from domain.actions.equipment import (
    ReplacementStated,
    change_equipment,
    constant_hours,
    end_equipment,
    end_equipment_model,
    replace_equipment,
)
from domain.actions.readings import record_hours
from domain.actions.recording import Ending
from domain.actions.sites import end_site
from domain.errors import Conflict, NotFound, Refusal, RuleBroken, Stale
from domain.records import journal
from domain.records.engine import Store
from domain.records.equipment import Equipment, EquipmentModelStated, EquipmentStated, HourReadingStated, RunPeriodStated, Spare
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from tests import makers

TODAY = date(2026, 3, 1)
in_an_organisation = pytest.mark.usefixtures("organisation")


def replacement(**stated: Any) -> ReplacementStated:
    return read_stated(ReplacementStated, json_text({"installed_on": "2026-03-01", "reason": "age limit", **stated}))


def actions(unit: Unit) -> list[str]:
    unit.seal()
    return [msgspec.json.decode(entry["content"])["action"] for entry in unit.named(journal.ENTRIES_AFTER, after=0, limit=100)]


def refusal(work: Any) -> tuple[str, str]:
    """Return the code and the field of a refusal."""
    with pytest.raises(Refusal) as refused:
        work()
    return refused.value.code, refused.value.faults[0].pointer if refused.value.faults else ""


@in_an_organisation
def test_a_replacement_retires_the_old_item_and_takes_its_place_and_a_spare(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        of, place, loop = makers.model(unit), makers.enclosure(unit, at), makers.system(unit, at)
        shelf = makers.spare(unit, of, at, on_hand=2)
        old = makers.equipment(
            unit, of, at, enclosure_id=place.id, life_support_system_id=loop.id, position="left", serial="S1",
            expires_on="2027-01-01", run_schedule=[{"hours_per_day": 12}], override_life_months=6, override_reason="trial",
        )  # fmt: skip

        new = replace_equipment(unit, old.id, replacement(serial="S2"))

        gone, kept = unit.fetch(Equipment, old.id), unit.fetch(Equipment, new.id)
        assert (gone.ended_on, gone.end_reason) == (date(2026, 3, 1), "age limit")
        assert (kept.tag, kept.model_id, kept.site_id, kept.replaces_id) == (old.tag, of.id, at.id, old.id)
        assert (kept.enclosure_id, kept.life_support_system_id, kept.position) == (place.id, loop.id, "left")
        assert (kept.installed_on, kept.serial, kept.hours_per_day) == (date(2026, 3, 1), "S2", 12.0)
        assert kept.run_schedule == gone.run_schedule
        assert (kept.expires_on, kept.override_life_months, kept.override_reason) == (None, None, None)
        assert unit.fetch(Spare, shelf.id).on_hand == 1
        assert actions(unit)[-3:] == ["end_equipment", "take_spare", "register_equipment"]


@in_an_organisation
def test_a_replacement_may_be_of_another_model_with_another_tag_and_an_id_of_the_callers(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        old = makers.equipment(unit, makers.model(unit), at)
        other, own_id = makers.model(unit, name="Successor"), uuid4()
        shelf = makers.spare(unit, other, at, on_hand=1)

        new = replace_equipment(unit, old.id, replacement(model_id=other.id, tag="RE-2", id=own_id, counter_at_installation_h=5))

        assert (new.id, new.tag, new.model_id, new.counter_at_installation_h) == (own_id, "RE-2", other.id, 5)
        assert unit.fetch(Spare, shelf.id).on_hand == 0


@in_an_organisation
def test_the_part_is_taken_from_the_named_shelf_or_else_from_the_fullest(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)
        few, many = (makers.spare(unit, of, at, shelf=shelf, on_hand=count) for shelf, count in (("A", 2), ("B", 5)))
        elsewhere = makers.spare(unit, of, makers.site(unit, name="Elsewhere"), on_hand=9)
        item = makers.equipment(unit, of, at)

        item = replace_equipment(unit, item.id, replacement())
        assert [unit.fetch(Spare, shelf.id).on_hand for shelf in (few, many, elsewhere)] == [2, 4, 9]

        item = replace_equipment(unit, item.id, replacement(spare_id=few.id))
        assert [unit.fetch(Spare, shelf.id).on_hand for shelf in (few, many, elsewhere)] == [1, 4, 9]

        replace_equipment(unit, item.id, replacement(no_spare=True))
        assert [unit.fetch(Spare, shelf.id).on_hand for shelf in (few, many, elsewhere)] == [1, 4, 9]


@in_an_organisation
def test_without_a_spare_nothing_is_replaced(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)
        old = makers.equipment(unit, of, at)
        empty = makers.spare(unit, of, at, on_hand=0)
        of_other_model = makers.spare(unit, makers.model(unit, name="Other"), at)
        elsewhere = makers.spare(unit, of, makers.site(unit, name="Elsewhere"))

    def replaced(**stated: Any) -> None:
        with store.transaction(makers.origin()) as unit:
            replace_equipment(unit, old.id, replacement(**stated))

    assert refusal(replaced) == ("no-spare", "/spare_id")
    assert refusal(lambda: replaced(spare_id=empty.id)) == ("no-spare", "/spare_id")
    assert refusal(lambda: replaced(spare_id=of_other_model.id)) == ("other-spare", "/spare_id")
    assert refusal(lambda: replaced(spare_id=elsewhere.id)) == ("other-spare", "/spare_id")
    assert refusal(lambda: replaced(spare_id=uuid4())) == ("reference-unknown", "/spare_id")
    with store.transaction(makers.origin()) as unit:
        assert unit.fetch(Equipment, old.id).ended_on is None
        assert unit.fetch(Spare, elsewhere.id).on_hand == 2


@in_an_organisation
def test_what_was_replaced_or_ended_is_not_replaced_again(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)
        old = makers.equipment(unit, of, at)
        new = replace_equipment(unit, old.id, replacement(no_spare=True))

        with pytest.raises(Conflict, match="ended on 2026-03-01: age limit"):
            replace_equipment(unit, old.id, replacement(no_spare=True))
        with pytest.raises(NotFound):
            replace_equipment(unit, uuid4(), replacement(no_spare=True))
        end_equipment(unit, new.id, Ending(reason="sold"))
        with pytest.raises(Conflict, match="sold"):
            replace_equipment(unit, new.id, replacement(no_spare=True))


@in_an_organisation
def test_a_replacement_of_an_item_that_changed_since_it_was_read_is_stale(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        item = makers.equipment(unit, makers.model(unit), makers.site(unit))
        change_equipment(unit, item.id, {"position": "right"}, expected_version=1)

        with pytest.raises(Stale):
            replace_equipment(unit, item.id, replacement(no_spare=True), expected_version=1)

        assert replace_equipment(unit, item.id, replacement(no_spare=True), expected_version=2).position == "right"


@in_an_organisation
def test_a_replacement_is_installed_from_the_old_items_day_to_today(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)
        old = makers.equipment(unit, of, at, installed_on="2026-02-01")

    def replaced(installed_on: str) -> date | None:
        with store.transaction(makers.origin()) as unit:
            return replace_equipment(unit, old.id, replacement(no_spare=True, installed_on=installed_on)).installed_on

    assert refusal(lambda: replaced("2026-01-31")) == ("before-old", "/installed_on")
    assert refusal(lambda: replaced("2026-03-02")) == ("in-future", "/installed_on")
    assert replaced("2026-02-01") == date(2026, 2, 1)


@in_an_organisation
def test_a_date_that_has_not_come_yet_at_the_site_is_refused(store: Store) -> None:
    # Noon of 1 March in UTC is already 2 March in Auckland.
    with store.transaction(makers.origin()) as unit:
        of = makers.model(unit)
        auckland = makers.site(unit, name="Kauri Lodge", zone="Pacific/Auckland")
        lisbon = makers.site(unit)

        assert makers.equipment(unit, of, auckland, tag="A", installed_on="2026-03-02").installed_on == date(2026, 3, 2)
        assert makers.equipment(unit, of, lisbon, tag="B", installed_on="2026-03-01").installed_on == date(2026, 3, 1)
        for at, tomorrow in ((auckland, "2026-03-03"), (lisbon, "2026-03-02")):
            for field in ("installed_on", "manufactured_on", "opened_on"):
                assert refusal(lambda: makers.equipment(unit, of, at, tag="C", **{field: tomorrow})) == ("in-future", f"/{field}")  # noqa: B023 - called at once
            assert makers.equipment(unit, of, at, tag=f"E{tomorrow}", expires_on="2030-01-01").expires_on == date(2030, 1, 1)


@in_an_organisation
def test_an_item_hangs_only_on_what_is_kept_at_its_own_site(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, elsewhere, of = makers.site(unit), makers.site(unit, name="Elsewhere"), makers.model(unit)
        closed, retired = makers.site(unit, name="Closed"), makers.model(unit, name="Retired")
        torn_down = makers.enclosure(unit, at, name="Torn down")
        end_site(unit, closed.id, Ending(reason="sold"))
        end_equipment_model(unit, retired.id, Ending(reason="withdrawn"))
        end_enclosure(unit, torn_down.id, Ending(reason="rotten"))
        unknown = UUID(int=7)

        def registered(**stated: Any) -> tuple[str, str]:
            return refusal(lambda: makers.equipment(unit, of, at, **stated))

        assert registered(enclosure_id=makers.enclosure(unit, elsewhere).id) == ("other-site", "/enclosure_id")
        assert registered(life_support_system_id=makers.system(unit, elsewhere).id) == ("other-site", "/life_support_system_id")
        assert registered(site_id=closed.id) == ("reference-ended", "/site_id")
        assert registered(model_id=retired.id) == ("reference-ended", "/model_id")
        assert registered(enclosure_id=torn_down.id) == ("reference-ended", "/enclosure_id")
        for field in ("site_id", "model_id", "enclosure_id", "life_support_system_id"):
            assert registered(**{field: unknown}) == ("reference-unknown", f"/{field}")


@in_an_organisation
def test_a_tag_is_free_again_once_its_item_has_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, of = makers.site(unit), makers.model(unit)
        item = makers.equipment(unit, of, at, tag="RE-1")
    with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
        makers.equipment(unit, of, at, tag="re-1")

    with store.transaction(makers.origin()) as unit:
        end_equipment(unit, item.id, Ending(reason="cracked"))
        assert makers.equipment(unit, of, at, tag="re-1").tag == "re-1"


@in_an_organisation
def test_a_correction_keeps_what_follows_from_it_in_step(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        item = makers.equipment(unit, makers.model(unit), makers.site(unit), run_schedule=[{"hours_per_day": 12}])

        changed = change_equipment(
            unit, item.id, {"tag": "New Tag", "run_schedule": [{"starts_on": "2025-06-01", "hours_per_day": 10}]}, expected_version=1
        )

        assert (changed.version, changed.tag_key, changed.hours_per_day) == (2, "new tag", None)
        with pytest.raises(Stale):
            change_equipment(unit, item.id, {"tag": "Other"}, expected_version=1)


@pytest.mark.parametrize(
    ("schedule", "expected"),
    [
        ([], None),
        ([{"hours_per_day": 12.0}], 12.0),
        ([{"hours_per_day": 0.0}], 0.0),
        ([{"starts_on": date(2025, 1, 1), "hours_per_day": 12.0}], None),
        ([{"hours_per_day": 12.0}, {"starts_on": date(2025, 1, 1), "hours_per_day": 10.0}], None),
        ([{"seasons": [{"from_month": 4, "from_day": 1, "hours_per_day": 14.0}]}], None),
    ],
)
def test_only_hours_that_never_changed_are_constant(schedule, expected):
    assert constant_hours([RunPeriodStated.model_validate(one) for one in schedule]) == expected


def test_what_cannot_be_said_of_a_model_or_an_item_is_refused() -> None:
    id_text = str(uuid4())
    of_item = {"tag": "A", "model_id": id_text, "site_id": id_text}
    of_model = {"name": "M", "kind": "uvb-tube"}
    refused: list[tuple[type[Any], dict[str, Any]]] = [
        (EquipmentStated, {**of_item, "override_life_hours": 100.0}),
        (EquipmentStated, {**of_item, "run_schedule": [{}]}),
        (EquipmentStated, {**of_item, "run_schedule": [{"hours_per_day": 24.5}]}),
        (EquipmentStated, {**of_item, "run_schedule": [{"hours_per_day": 12}, {"hours_per_day": 10}]}),
        (EquipmentStated, {**of_item, "run_schedule": [{"seasons": [{"from_month": 2, "from_day": 30, "hours_per_day": 1}]}]}),
        (EquipmentStated, {**of_item, "installed_on": "2026-02-29"}),
        (EquipmentStated, {**of_item, "installed_on": "0202-03-01"}),
        (EquipmentStated, {**of_item, "replaces_id": id_text}),
        (EquipmentModelStated, {**of_model, "life_months": 12, "life_weeks": 52}),
        (EquipmentModelStated, {**of_model, "life_months": 0}),
        (EquipmentModelStated, {**of_model, "output_minimum_share": 1.0}),
        (EquipmentModelStated, {**of_model, "checks": [{"kind": "calibration"}]}),
        (EquipmentModelStated, {**of_model, "checks": [{"kind": "calibration", "interval_days": 1, "interval_months": 1}]}),
        (EquipmentModelStated, {**of_model, "checks": [{"kind": "calibration", "interval_days": 1}] * 2}),
        (EquipmentModelStated, {**of_model, "kind": "toaster"}),
    ]

    accepted = [stated for kind, stated in refused if not _is_refused(kind, stated)]

    assert accepted == []
    assert not _is_refused(EquipmentStated, of_item)
    assert not _is_refused(EquipmentModelStated, of_model)


def _is_refused(kind: type[Any], stated: dict[str, Any]) -> bool:
    try:
        read_stated(kind, json_text(stated))
    except RuleBroken as refused:
        return bool(refused.faults)
    return False


@in_an_organisation
def test_an_ended_model_does_not_freeze_its_items(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, lamp = makers.site(unit), makers.model(unit)
        item = makers.equipment(unit, lamp, at)
        end_equipment_model(unit, lamp.id, Ending(reason="not made any more"))

        changed = change_equipment(unit, item.id, {"note": "last of its kind"}, expected_version=1)
        new = replace_equipment(unit, item.id, ReplacementStated(installed_on=TODAY, reason="due", no_spare=True))

        assert (changed.note, new.model_id) == ("last of its kind", lamp.id)
        with pytest.raises(RuleBroken, match="ended"):
            makers.equipment(unit, lamp, at, tag="RE-2")


@in_an_organisation
@pytest.mark.parametrize(
    ("patch", "field"),
    [({"installed_on": "2025-06-02"}, "/installed_on"), ({"counter_at_installation_h": 200}, "/counter_at_installation_h")],
)
def test_a_correction_does_not_contradict_what_was_read(store: Store, patch: dict[str, object], field: str) -> None:
    with store.transaction(makers.origin()) as unit:
        item = makers.equipment(unit, makers.model(unit), makers.site(unit))
        record_hours(unit, item.id, HourReadingStated(read_on=date(2025, 6, 1), counter_h=100))

        with pytest.raises(RuleBroken) as refused:
            change_equipment(unit, item.id, patch, expected_version=1)

        assert refused.value.faults[0].pointer == field


@in_an_organisation
def test_a_spare_is_named_or_denied_and_not_both(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at, lamp = makers.site(unit), makers.model(unit)
        item, spare = makers.equipment(unit, lamp, at), makers.spare(unit, lamp, at)
        stated = ReplacementStated(installed_on=TODAY, reason="due", no_spare=True, spare_id=spare.id)

        with pytest.raises(RuleBroken, match="not both"):
            replace_equipment(unit, item.id, stated)


@in_an_organisation
def test_a_site_with_equipment_is_not_ended_behind_its_back(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        item = makers.equipment(unit, makers.model(unit), at)

        with pytest.raises(Conflict, match="1 equipment"):
            end_site(unit, at.id, Ending(reason="sold"))
        end_equipment(unit, item.id, Ending(reason="sold"))

        assert end_site(unit, at.id, Ending(reason="sold")).ended_on == TODAY
