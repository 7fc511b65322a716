"""Holdings and names: one on any day, each from a day until a day."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from domain.actions.holdings import (
    change_call_name,
    change_holding,
    end_call_name,
    end_holding,
    record_call_name,
    record_holding,
)
from domain.errors import Conflict, NotFound, Stale
from domain.records.animals import Animal
from domain.records.base import row_of
from domain.records.engine import Store
from domain.records.holdings import CallName, Holding
from domain.records.unit import Unit
from tests import makers
from tests.actions.of_animals import MISTAKE, an_animal, call_name, holding, refusal

pytestmark = pytest.mark.usefixtures("organisation")

OVERLAP = ("overlap", "/from_on")


def corrected(unit: Unit, found: Any, **patch: Any) -> Any:
    now = unit.fetch(type(found), found.id)
    change = change_holding if isinstance(found, Holding) else change_call_name
    return change(unit, found.id, patch, owner_id=found.animal_id, expected_version=now.version)


def days(unit: Unit, found: Any) -> tuple[str, str]:
    now = unit.fetch(type(found), found.id)
    return str(now.from_on), str(now.until_on)


def test_a_new_holding_ends_the_open_one_the_day_before(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        lent = record_holding(unit, animal.id, holding("loan_in", "2025-05-01", due_back_on="2027-05-01"))
        bought = record_holding(unit, animal.id, holding("owned", "2025-09-15"))

        assert days(unit, lent) == ("2025-05-01", "2025-09-14")
        assert days(unit, bought) == ("2025-09-15", "None")
        assert unit.fetch(Holding, lent.id).party == "Saltings Aquarium"


def test_days_that_another_holding_has_are_refused(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        first = record_holding(unit, animal.id, holding("owned", "2025-06-01", until_on="2025-07-31"))
        open_one = record_holding(unit, animal.id, holding("loan_out", "2025-09-01"))

        def record(from_on: str, until_on: str | None = None) -> Holding:
            return record_holding(unit, animal.id, holding("in_custody", from_on, until_on=until_on))

        assert refusal(record, "2025-09-01") == OVERLAP
        assert refusal(record, "2025-08-01") == OVERLAP
        assert refusal(record, "2025-07-31", "2025-08-01") == OVERLAP
        assert refusal(record, "2025-05-01", "2025-06-01") == OVERLAP
        assert refusal(record, "2025-10-01", "2025-10-31") == OVERLAP
        assert days(unit, open_one) == ("2025-09-01", "None")
        assert record("2025-08-01", "2025-08-31")
        assert record("2025-05-01", "2025-05-31")
        assert days(unit, first) == ("2025-06-01", "2025-07-31")


def test_holdings_of_other_animals_are_in_nobodys_way(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        kept = record_holding(unit, one.id, holding("owned", "2025-06-01"))
        record_holding(unit, other.id, holding("owned", "2025-07-01"))

        assert days(unit, kept) == ("2025-06-01", "None")


def test_a_holding_is_corrected_within_its_neighbours(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        first = record_holding(unit, animal.id, holding("loan_in", "2025-05-01"))
        second = record_holding(unit, animal.id, holding("owned", "2025-09-15"))

        assert refusal(corrected, unit, second, from_on="2025-09-14") == OVERLAP
        assert refusal(corrected, unit, first, until_on=None) == OVERLAP
        assert days(unit, corrected(unit, first, until_on="2025-09-01")) == ("2025-05-01", "2025-09-01")
        assert days(unit, corrected(unit, second, from_on="2025-09-02")) == ("2025-09-02", "None")
        assert corrected(unit, second, note="contract of 2 September").note == "contract of 2 September"


def test_a_withdrawn_holding_is_in_nobodys_way(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        wrong = record_holding(unit, animal.id, holding("owned", "2025-06-01"))
        assert end_holding(unit, wrong.id, MISTAKE, owner_id=animal.id).end_reason == "entered wrongly"

        assert record_holding(unit, animal.id, holding("loan_in", "2025-06-01"))
        assert refusal(end_holding, unit, wrong.id, MISTAKE, owner_id=animal.id)[0] == "ended"


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        ({"from_on": "2026-03-02"}, ("in-future", "/from_on")),
        ({"from_on": "2025-04-30"}, ("before-arrival", "/from_on")),
        ({"from_on": "2025-06-01", "until_on": "2026-03-02"}, ("in-future", "/until_on")),
        ({"from_on": "2025-06-01", "until_on": "2025-05-31"}, ("not-together", "/until_on")),
        ({"from_on": "2025-06-01", "due_back_on": "2027-01-01"}, ("not-together", "/due_back_on")),
        ({"from_on": "2025-06-01", "due_back_on": "2025-05-31", "kind": "loan_in"}, ("not-together", "/due_back_on")),
        ({"from_on": "2025-06-01", "kind": "loan_in", "party": None}, ("required", "/party")),
    ],
)
def test_a_holding_that_cannot_be_is_refused(store: Store, stated: dict[str, Any], expected: tuple[str, str]) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)

        assert refusal(lambda: record_holding(unit, animal.id, holding(**{"kind": "owned", **stated}))) == expected


def test_nothing_is_said_of_days_after_the_end(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        makers.event(unit, animal, "died", "2025-10-01")

        assert refusal(record_holding, unit, animal.id, holding("owned", "2025-10-02")) == ("after-end", "/from_on")
        assert refusal(record_call_name, unit, animal.id, call_name("Reed", "2025-10-02")) == ("after-end", "/from_on")
        late = record_holding(unit, animal.id, holding("owned", "2025-10-01"))
        assert refusal(corrected, unit, late, until_on="2025-10-02") == ("after-end", "/until_on")
        assert record_call_name(unit, animal.id, call_name("Reed", "2025-06-01"))


def test_the_record_shows_the_name_that_has_no_end(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit, name="Tilda")

        def shown() -> str | None:
            return unit.fetch(Animal, animal.id).name

        assert shown() == "Tilda"
        second = record_call_name(unit, animal.id, call_name("Reed", "2025-09-01"))
        assert shown() == "Reed"
        assert corrected(unit, second, name="Reeda").name_key == "reeda"
        assert shown() == "Reeda"
        corrected(unit, second, until_on="2025-10-01")
        assert shown() is None
        third = record_call_name(unit, animal.id, call_name("Sedge", "2025-11-01"))
        assert shown() == "Sedge"
        end_call_name(unit, third.id, MISTAKE, owner_id=animal.id)
        assert shown() is None
        corrected(unit, second, until_on=None)
        assert shown() == "Reeda"
        record_call_name(unit, animal.id, call_name("Dot", "2024-01-01", until_on="2025-04-30"))
        assert shown() == "Reeda"


def test_a_name_of_some_days_is_one_only(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        record_call_name(unit, animal.id, call_name("Reed", "2025-06-01"))

        assert refusal(record_call_name, unit, animal.id, call_name("Sedge", "2025-06-01")) == OVERLAP
        assert refusal(record_call_name, unit, animal.id, call_name("Sedge", "2025-07-01", until_on="2025-08-01")) == OVERLAP
        assert refusal(record_call_name, unit, animal.id, call_name("Sedge", "2026-03-02")) == ("in-future", "/from_on")
        assert refusal(call_name, "Sedge", "2025-06-01", until_on="2025-05-31") == ("not-together", "/until_on")


@pytest.mark.parametrize("record", [Holding, CallName])
def test_the_database_refuses_days_that_overlap(store: Store, record: Any) -> None:
    with store.transaction(makers.origin()) as unit:
        animal = an_animal(unit)
        if record is Holding:
            made: Any = record_holding(unit, animal.id, holding("owned", "2025-06-01"))
        else:
            made = record_call_name(unit, animal.id, call_name("Reed", "2025-06-01"))
    twin = record.model_construct(**row_of(made) | {"id": animal.id, "from_on": made.from_on + timedelta(days=9)})

    with pytest.raises(Conflict) as refused, store.transaction(makers.origin()) as unit:
        unit.add(twin, action=f"register_{record.noun}")
    assert refused.value.code == "overlap"


def test_they_are_corrected_under_their_own_animal_and_at_their_version(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        held = record_holding(unit, one.id, holding("owned", "2025-06-01"))
        called = record_call_name(unit, one.id, call_name("Reed", "2025-06-01"))

        for made, change, end in ((held, change_holding, end_holding), (called, change_call_name, end_call_name)):
            with pytest.raises(NotFound):
                change(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=1)
            with pytest.raises(NotFound):
                end(unit, made.id, MISTAKE, owner_id=other.id)
            with pytest.raises(Stale):
                change(unit, made.id, {"note": "n"}, owner_id=one.id, expected_version=2)
        assert unit.fetch(Animal, other.id).name is None
