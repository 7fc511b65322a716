"""What is asked for before animals of a hazard class are kept, as dated rules."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.containments import change_containment, end_containment
from domain.actions.recording import Ending
from domain.errors import Conflict, Stale
from domain.records.engine import Store
from domain.records.taxa import Containment
from tests import makers

pytestmark = pytest.mark.usefixtures("organisation")


def test_a_new_rule_ends_the_open_one_of_its_class_the_day_before(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first, other = makers.containment(unit), makers.containment(unit, "dangerous")
        second = makers.containment(unit, from_on="2026-04-01", least_closure="locked_twice", competence_needed=True)

        assert unit.fetch(Containment, first.id).until_on == date(2026, 3, 31)
        assert unit.fetch(Containment, other.id).until_on is None
        assert (unit.fetch(Containment, second.id).until_on, second.competence_needed) == (None, True)


def test_two_rules_of_a_class_never_hold_on_one_day(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first = makers.containment(unit, from_on="2025-01-01", until_on="2025-12-31")
        second = makers.containment(unit, from_on="2026-01-01")

        with pytest.raises(Conflict, match="holds from 1 January 2025 until 31 December 2025"):
            makers.containment(unit, from_on="2025-12-31")
        with pytest.raises(Conflict, match="until further notice") as refused:
            change_containment(unit, first.id, {"until_on": "2026-01-01"}, expected_version=1)
        assert (refused.value.code, refused.value.faults[0].pointer) == ("overlap", "/from_on")
        with pytest.raises(Conflict):
            change_containment(unit, makers.containment(unit, "dangerous").id, {"hazard": "venomous"}, expected_version=1)
        end_containment(unit, second.id, Ending(reason="entered by mistake"))
        assert change_containment(unit, first.id, {"until_on": None}, expected_version=1).until_on is None


def test_a_correction_is_of_the_version_that_was_read(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.containment(unit)
        changed = change_containment(unit, made.id, {"least_closure": "latched"}, expected_version=1)

        assert (changed.least_closure, changed.from_on) == ("latched", date(2025, 1, 1))
        with pytest.raises(Stale):
            change_containment(unit, made.id, {"note": "n"}, expected_version=1)
