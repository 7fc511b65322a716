"""Measurements: what is asked back, what is compared with what, and on which days something is measured."""

from __future__ import annotations

from typing import Any

import pytest

from domain.actions.lives import EVENTS_OF, withdraw_event
from domain.actions.measurements import change_measurement, end_measurement, record_measurement
from domain.actions.staff import end_staff, register_staff
from domain.errors import NotFound, RuleBroken, Stale
from domain.records.animals import AnimalEvent
from domain.records.engine import Store
from domain.records.measurements import Measurement, MeasurementEntered
from domain.records.staff import Staff, StaffStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.permissions import Role
from tests import makers
from tests.actions.of_animals import MISTAKE, an_animal, mass, refusal, refused_by

pytestmark = pytest.mark.usefixtures("organisation")

SLIP = ("unit-slip", "/mass_g")


def length(length_mm: float, measured_on: str, kind: str = "snout_vent_length", **stated: Any) -> MeasurementEntered:
    return read_stated(MeasurementEntered, json_text({"kind": kind, "length_mm": length_mm, "measured_on": measured_on} | stated))


def corrected(unit: Unit, found: Measurement, **patch: Any) -> Measurement:
    now = unit.fetch(Measurement, found.id)
    return change_measurement(unit, found.id, patch, owner_id=found.animal_id, expected_version=now.version)


def test_a_slip_of_the_unit_is_asked_back_and_taken_once_it_is_confirmed(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        first = record_measurement(unit, animal.id, mass(1200.0, "2025-06-01"))
        assert (first.mass_g, first.length_mm, first.surprising) == (1200.0, None, False)

        refused = refused_by(record_measurement, unit, animal.id, mass(1.2, "2025-07-01"))
        assert isinstance(refused, RuleBroken)
        assert (refused.code, refused.faults[0].code, refused.faults[0].pointer) == ("unit-slip", *SLIP)
        assert "On 2025-06-01 it was 1200 g" in refused.detail
        assert "1.2 kilograms would be 1200 g" in refused.detail
        taken = record_measurement(unit, animal.id, mass(1.2, "2025-07-01", confirmed=True))
        assert (taken.mass_g, taken.surprising) == (1.2, True)
        assert not hasattr(taken, "confirmed")


def test_a_length_is_asked_back_on_its_own_field(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        record_measurement(unit, animal.id, length(305.0, "2025-06-01"))

        refused = refused_by(record_measurement, unit, animal.id, length(12.0, "2025-06-08"))
        assert refused.faults[0].pointer == "/length_mm"
        assert "12 inches would be 305 mm" in refused.detail


def test_what_is_confirmed_without_need_is_not_surprising(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        assert record_measurement(unit, animal.id, mass(1200.0, "2025-06-01", confirmed=True)).surprising is False
        assert record_measurement(unit, animal.id, mass(1250.0, "2025-06-02", confirmed=True)).surprising is False


def test_a_value_is_compared_with_its_own_kind_and_animal_only(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        record_measurement(unit, one.id, mass(1200.0, "2025-06-01"))
        record_measurement(unit, one.id, length(300.0, "2025-06-01"))

        assert record_measurement(unit, other.id, mass(1.2, "2025-06-02"))
        assert record_measurement(unit, one.id, length(30.0, "2025-06-02", kind="tail_length"))


def test_a_value_is_compared_with_the_nearest_by_date_and_of_two_with_the_earlier(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        record_measurement(unit, animal.id, mass(10.0, "2025-06-01"))
        record_measurement(unit, animal.id, mass(100.0, "2025-06-21", confirmed=True))

        assert refusal(record_measurement, unit, animal.id, mass(100.0, "2025-06-10")) == SLIP
        assert refusal(record_measurement, unit, animal.id, mass(100.0, "2025-06-11")) == SLIP
        assert refusal(record_measurement, unit, animal.id, mass(10.0, "2025-06-12")) == SLIP
        assert refusal(record_measurement, unit, animal.id, mass(10.0, "2025-06-21")) == SLIP
        assert refusal(record_measurement, unit, animal.id, mass(100.0, "2025-05-20")) == SLIP
        assert record_measurement(unit, animal.id, mass(10.0, "2025-06-11")).surprising is False
        assert record_measurement(unit, animal.id, mass(100.0, "2025-06-17")).surprising is False


def test_what_was_taken_out_of_account_is_compared_with_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        wrong = record_measurement(unit, animal.id, mass(1.2, "2025-06-01"))
        assert refusal(record_measurement, unit, animal.id, mass(1200.0, "2025-06-02")) == SLIP
        assert end_measurement(unit, wrong.id, MISTAKE, owner_id=animal.id).end_reason == "entered wrongly"

        assert record_measurement(unit, animal.id, mass(1200.0, "2025-06-02"))
        assert refusal(end_measurement, unit, wrong.id, MISTAKE, owner_id=animal.id)[0] == "ended"


def test_a_correction_of_the_value_is_judged_anew_without_the_value_itself(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        alone = record_measurement(unit, animal.id, mass(1200.0, "2025-06-01"))
        assert corrected(unit, alone, mass_g=1.2).surprising is False
        corrected(unit, alone, mass_g=1200.0)
        second = record_measurement(unit, animal.id, mass(1.2, "2025-06-02", confirmed=True))

        assert corrected(unit, second, note="a new scale").surprising is True
        assert refusal(corrected, unit, second, mass_g=1.3) == SLIP
        assert corrected(unit, second, mass_g=1.3, confirmed=True).surprising is True
        assert corrected(unit, second, mass_g=1300.0).surprising is False
        assert refusal(corrected, unit, second, confirmed="yes") == ("not-true-false", "/confirmed")


def test_a_correction_to_another_kind_says_the_value_that_belongs_to_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = record_measurement(unit, an_animal(unit).id, mass(120.0, "2025-06-01"))

        assert refusal(corrected, unit, made, kind="tail_length") == ("not-together", "/mass_g")
        changed = corrected(unit, made, kind="tail_length", mass_g=None, length_mm=120)
        assert (changed.mass_g, changed.length_mm) == (None, 120.0)


def test_a_kind_is_said_in_its_own_unit() -> None:
    assert refusal(read_stated, MeasurementEntered, json_text({"kind": "mass", "measured_on": "2025-06-01"})) == ("required", "/mass_g")
    assert refusal(length, 5.0, "2025-06-01", "mass") == ("not-together", "/length_mm")
    for value in (0, -1):
        assert refusal(mass, value, "2025-06-01")[1] == "/mass_g"


@pytest.mark.parametrize(
    ("measured_on", "expected"),
    [
        ("2026-03-02", ("in-future", "/measured_on")),
        ("2026-03-01", None),
        ("2025-04-01", None),
        ("2024-08-01", None),
        ("2024-07-31", ("before-hatching", "/measured_on")),
    ],
)
def test_days_are_those_since_it_hatched_also_before_it_came(store: Store, measured_on: str, expected: Any) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit, hatched_on="2024-08-01", hatched_precision="month")

        if expected is None:
            assert record_measurement(unit, animal.id, mass(120.0, measured_on))
        else:
            assert refusal(record_measurement, unit, animal.id, mass(120.0, measured_on)) == expected
            assert record_measurement(unit, animal.id, mass(120.0, "2026-03-01"))


def test_an_egg_is_measured_before_it_hatches(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit, hatched_on="2024-08-01")

        assert record_measurement(unit, animal.id, length(31.0, "2024-06-15", kind="egg_length"))


def test_nothing_is_measured_after_the_end_and_what_was_before_it_can_be_told(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        early = record_measurement(unit, animal.id, mass(120.0, "2025-06-01"))
        makers.event(unit, animal, "died", "2025-10-01")

        assert refusal(record_measurement, unit, animal.id, mass(120.0, "2025-10-02")) == ("after-end", "/measured_on")
        assert refusal(corrected, unit, early, measured_on="2025-10-02") == ("after-end", "/measured_on")
        assert record_measurement(unit, animal.id, mass(110.0, "2025-10-01"))
        assert corrected(unit, early, mass_g=125.0).mass_g == 125.0


def test_of_an_animal_that_was_never_here_nothing_is_said(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        (came,) = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)
        withdraw_event(unit, came.id, MISTAKE, owner_id=animal.id)

        assert refusal(record_measurement, unit, animal.id, mass(120.0, "2025-06-01")) == ("ended", "")


def test_of_a_group_it_is_the_mean_of_so_many_as_were_there(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        group = an_animal(unit, "G-1", grouping="group", count=12)
        makers.event(unit, group, "died", "2025-08-01", number=4)

        assert refusal(record_measurement, unit, group.id, mass(3.2, "2025-06-01")) == ("required", "/of_number")
        assert refusal(record_measurement, unit, group.id, mass(3.2, "2025-06-01", of_number=13)) == ("too-many", "/of_number")
        assert refusal(record_measurement, unit, group.id, mass(3.2, "2025-08-02", of_number=9)) == ("too-many", "/of_number")
        made = record_measurement(unit, group.id, mass(3.2, "2025-08-01", of_number=12))
        assert made.of_number == 12
        assert refusal(corrected, unit, made, measured_on="2025-08-02") == ("too-many", "/of_number")
        assert corrected(unit, made, measured_on="2025-08-02", of_number=8).of_number == 8
        assert record_measurement(unit, group.id, mass(3.1, "2025-04-01", of_number=40)).of_number == 40


def test_of_an_estimated_group_the_number_is_taken_as_said(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        group = an_animal(unit, "G-1", grouping="group", count=12)
        makers.event(unit, group, "estimated", "2025-06-01", number=8)

        assert record_measurement(unit, group.id, mass(3.2, "2025-06-02", of_number=10)).of_number == 10


def test_one_animal_is_measured_alone(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        assert refusal(record_measurement, unit, animal.id, mass(3.2, "2025-06-01", of_number=2)) == ("individual", "/of_number")
        assert record_measurement(unit, animal.id, mass(3.2, "2025-06-01", of_number=1))


def test_whoever_measured_is_of_the_staff_on_that_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        member = register_staff(unit, StaffStated(name="A. Keeper", role=Role.KEEPER))
        by = str(member.id)
        made = record_measurement(unit, animal.id, mass(120.0, "2025-06-01", staff_id=by))
        end_staff(unit, member.id, MISTAKE)
        left = unit.change(unit.fetch(Staff, member.id), {"ended_on": made.measured_on}, action="change_staff")

        absent = ("reference-unknown", "/staff_id")
        assert refusal(record_measurement, unit, animal.id, mass(120.0, "2025-06-02", staff_id=str(animal.id))) == absent
        assert refusal(record_measurement, unit, animal.id, mass(120.0, "2025-06-02", staff_id=by)) == ("reference-ended", "/staff_id")
        assert record_measurement(unit, animal.id, mass(120.0, "2025-06-01", staff_id=by)).staff_id == left.id
        assert refusal(corrected, unit, made, measured_on="2025-06-02") == ("reference-ended", "/staff_id")


def test_a_measurement_is_corrected_under_its_own_animal_and_at_its_version(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        made = record_measurement(unit, one.id, mass(120.0, "2025-06-01"))

        with pytest.raises(NotFound):
            change_measurement(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1)
        with pytest.raises(NotFound):
            end_measurement(unit, made.id, MISTAKE, owner_id=other.id)
        with pytest.raises(Stale):
            change_measurement(unit, made.id, {"note": "n"}, owner_id=one.id, expected_version=2)
