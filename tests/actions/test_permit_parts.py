"""What a permit is made of: its taxa, its animals, its conditions, and what happened."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from domain.actions.permit_parts import (
    NOT_MET_AFTER_ALL,
    change_permit_condition,
    change_permit_event,
    change_permit_taxon,
    end_permit_animal,
    end_permit_condition,
    end_permit_event,
    end_permit_taxon,
)
from domain.actions.permits import end_permit
from domain.actions.taxa import end_taxon
from domain.errors import NotAllowed, NotFound, RuleBroken
from domain.records.base import row_of, table_of
from domain.records.engine import Store
from domain.records.permits import Permit, PermitCondition, PermitConditionStated
from domain.records.stated import read_stated
from domain.records.statements import Statement, json_text
from domain.records.unit import Unit
from tests import makers
from tests.actions.of_animals import MISTAKE, an_animal, bound_to, refusal
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")

CHANGES: dict[str, Any] = {
    "permit_taxon": change_permit_taxon,
    "permit_condition": change_permit_condition,
    "permit_event": change_permit_event,
}
ENDS: dict[str, Any] = {
    "permit_taxon": end_permit_taxon,
    "permit_animal": end_permit_animal,
    "permit_condition": end_permit_condition,
    "permit_event": end_permit_event,
}


def all_parts(unit: Unit, permit: Permit, tag: str = "T-1") -> list[Any]:
    """Record one part of every kind."""
    animal = an_animal(unit, tag)
    return [
        makers.permit_taxon(unit, permit, makers.taxon(unit, f"Emys {tag.lower()}")),
        makers.permit_animal(unit, permit, animal),
        makers.permit_condition(unit, permit),
        makers.permit_event(unit, permit),
    ]


def corrected(unit: Unit, found: Any, **patch: Any) -> Any:
    now = unit.fetch(type(found), found.id)
    return CHANGES[found.noun](unit, found.id, patch, owner_id=found.permit_id, expected_version=now.version)


def ended(unit: Unit, found: Any) -> Any:
    return ENDS[found.noun](unit, found.id, MISTAKE, owner_id=found.permit_id)


def conditions(unit: Unit) -> list[PermitCondition]:
    """Return every condition that is kept, in the order in which they were made."""
    table = table_of(PermitCondition)
    own = table.c.organisation_id == makers.ORGANISATION
    return unit.all(PermitCondition, Statement(table.select().where(own, table.c.ended_on.is_(None)).order_by(table.c.id)))


def test_parts_are_recorded_corrected_and_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit, any_taxon=False)
        taxon, animal, condition, event = all_parts(unit, permit)

        assert {one.permit_id for one in (taxon, animal, condition, event)} == {permit.id}
        assert corrected(unit, taxon, number=4).number == 4
        assert corrected(unit, condition, proof="Photograph of the lock.").proof == "Photograph of the lock."
        assert corrected(unit, event, happened_on="2026-02-03").happened_on == date(2026, 2, 3)
        for one in (taxon, animal, condition, event):
            assert ended(unit, one).end_reason == MISTAKE.reason
            assert refusal(ended, unit, one) == ("ended", "")
    assert proven(store).flaws == []


def test_a_part_belongs_to_its_permit_alone(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit, other = makers.permit(unit, any_taxon=False), makers.permit(unit, number="P-2")
        parts = all_parts(unit, permit)

        for one in parts:
            with pytest.raises(NotFound):
                ENDS[one.noun](unit, one.id, MISTAKE, owner_id=other.id)
            if one.noun in CHANGES:
                with pytest.raises(NotFound):
                    CHANGES[one.noun](unit, one.id, {}, owner_id=other.id, expected_version=1)


def test_nothing_more_is_said_of_a_permit_that_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit, any_taxon=False)
        parts = all_parts(unit, permit)
        end_permit(unit, permit.id, MISTAKE)

        with pytest.raises(Exception, match="ended on 2026-03-01"):
            all_parts(unit, permit, "T-2")
        for one in (one for one in parts if one.noun in CHANGES):
            assert refusal(corrected, unit, one, note="n") == ("ended", "")
        for make in (makers.permit_condition, makers.permit_event):
            assert refusal(make, unit, permit) == ("ended", "")
        assert [ended(unit, one).noun for one in parts] == list(ENDS)


def test_the_parts_of_a_permit_elsewhere_are_beyond_reach(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        own = makers.permit(unit, site_id=str(here.id), any_taxon=False)
        other = makers.permit(unit, number="P-2", site_id=str(there.id), any_taxon=False)
        animal, foreign = an_animal(unit, "T-1", at=here), an_animal(unit, "T-2", at=there)
        parts = all_parts(unit, other, "T-3")

    with store.transaction(bound_to(here)) as unit:
        assert makers.permit_animal(unit, own, animal).animal_id == animal.id
        with pytest.raises(NotAllowed):
            makers.permit_animal(unit, own, foreign)
        for make in (makers.permit_condition, makers.permit_event):
            with pytest.raises(NotAllowed):
                make(unit, other)
        for one in parts:
            with pytest.raises(NotAllowed):
                ended(unit, one)


def test_a_taxon_is_listed_once_and_is_one_that_there_is(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit, any_taxon=False)
        of, other = makers.taxon(unit), makers.taxon(unit, "Emys ficta")
        first, second = makers.permit_taxon(unit, permit, of), makers.permit_taxon(unit, permit, other)

        assert refusal(makers.permit_taxon, unit, permit, of) == ("already-there", "/taxon_id")
        assert refusal(corrected, unit, second, taxon_id=str(of.id)) == ("already-there", "/taxon_id")
        assert refusal(corrected, unit, second, taxon_id=str(unit.new_id())) == ("reference-unknown", "/taxon_id")
        assert corrected(unit, second, taxon_id=str(other.id), note="n").note == "n"
        ended(unit, first)
        assert makers.permit_taxon(unit, permit, of)


def test_a_taxon_that_a_permit_lists_is_not_ended(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        of = makers.taxon(unit)
        listed = makers.permit_taxon(unit, makers.permit(unit, any_taxon=False), of)

        assert refusal(end_taxon, unit, of.id, MISTAKE) == ("in-use", "")
        ended(unit, listed)
        assert end_taxon(unit, of.id, MISTAKE).ended_on is not None
        assert refusal(makers.permit_taxon, unit, makers.permit(unit, number="P-2", any_taxon=False), of)[0] == "reference-ended"


def test_an_animal_is_named_once_even_after_it_died_and_not_where_it_never_was(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit)
        dead, never = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        makers.event(unit, dead, "died", "2026-02-01")
        makers.behind(unit, "UPDATE animal SET ended_on = '2026-02-01' WHERE tag = 'T-2'")

        assert makers.permit_animal(unit, permit, dead).animal_id == dead.id
        assert refusal(makers.permit_animal, unit, permit, dead) == ("already-there", "/animal_id")
        assert refusal(makers.permit_animal, unit, permit, never) == ("reference-unknown", "/animal_id")


@pytest.mark.parametrize(
    ("said", "pointer", "code"),
    [
        ({"text": " \n "}, "/text", "required"),
        ({"every_months": 12}, "/first_due_on", "required"),
        ({"first_due_on": "2026-05-01"}, "/every_months", "required"),
        ({"every_months": 12, "first_due_on": "2026-05-01", "due_on": "2026-04-30"}, "/due_on", "not-together"),
        ({"met_by_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, "/met_on", "required"),
        ({"every_months": 0, "first_due_on": "2026-05-01"}, "/every_months", "greater-than-equal"),
    ],
)
def test_a_condition_that_does_not_hang_together_is_refused_by_its_field(said: dict[str, Any], pointer: str, code: str) -> None:
    with pytest.raises(RuleBroken) as refused:
        read_stated(PermitConditionStated, json_text({"text": "Lock the door.", **said}))

    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [(pointer, code)]


def test_a_condition_is_met_by_somebody_on_a_day_that_has_come(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        condition = makers.permit_condition(unit, makers.permit(unit), due_on="2026-05-01")
        keeper = makers.staff(unit)

        assert refusal(corrected, unit, condition, met_on="2026-03-02") == ("in-future", "/met_on")
        unknown = {"met_on": "2026-03-01", "met_by_id": str(unit.new_id())}
        assert refusal(corrected, unit, condition, **unknown) == ("reference-unknown", "/met_by_id")
        met = corrected(unit, condition, met_on="2026-03-01", met_by_id=str(keeper.id))
        assert (met.met_on, met.met_by_id, met.due_on) == (date(2026, 3, 1), keeper.id, date(2026, 5, 1))
        assert [one.id for one in conditions(unit)] == [condition.id]


def test_a_condition_that_recurs_opens_anew_each_time_that_it_is_met(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit)
        first = makers.permit_condition(unit, permit, every_months=12, first_due_on="2024-02-29", proof="Form 7")
        assert first.due_on == date(2024, 2, 29)

        corrected(unit, first, met_on="2025-12-01")

        _, second = conditions(unit)
        # Each time is owed, however late the one before it was met; and the series keeps to the last day of February.
        assert (second.due_on, second.first_due_on, second.every_months) == (date(2025, 2, 28), date(2024, 2, 29), 12)
        assert (second.text, second.met_on, second.proof, second.follows_id) == (first.text, None, "", first.id)
        corrected(unit, second, met_on="2025-12-02")
        third = conditions(unit)[-1]
        assert (third.due_on, third.follows_id) == (date(2026, 2, 28), second.id)
        corrected(unit, first, met_on="2025-11-30")
        assert len(conditions(unit)) == 3
    assert proven(store).flaws == []


def test_the_series_goes_on_from_its_own_days_where_one_time_was_put_off(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit)
        first = makers.permit_condition(unit, permit, every_months=6, first_due_on="2025-01-15", due_on="2025-02-15", met_on="2025-02-01")

        assert [one.due_on for one in conditions(unit)] == [date(2025, 2, 15), date(2025, 7, 15)]
        assert conditions(unit)[1].follows_id == first.id


def test_what_was_not_met_after_all_takes_back_what_opened_with_it(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        first = makers.permit_condition(unit, makers.permit(unit), every_months=1, first_due_on="2026-01-31", met_on="2026-01-30")
        second = conditions(unit)[-1]
        corrected(unit, second, met_on="2026-02-27")

        assert refusal(corrected, unit, first, met_on=None) == ("following-met", "/met_on")
        corrected(unit, second, met_on=None)
        corrected(unit, first, met_on=None)
        assert [one.id for one in conditions(unit)] == [first.id]
        assert unit.fetch(PermitCondition, second.id).end_reason == NOT_MET_AFTER_ALL
        corrected(unit, first, met_on="2026-01-30")
        assert [one.due_on for one in conditions(unit)] == [date(2026, 1, 31), date(2026, 2, 28)]


def test_the_database_itself_refuses_to_open_one_condition_anew_twice(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.permit_condition(unit, makers.permit(unit), every_months=1, first_due_on="2026-01-31", met_on="2026-01-30")
        following = conditions(unit)[-1]
    with pytest.raises(Exception, match="already a record"), store.transaction(makers.origin()) as unit:
        unit.add(PermitCondition(**{**row_of(following), "id": unit.new_id()}), action="register_permit_condition")


def test_what_would_be_due_after_the_last_year_that_is_taken_opens_no_more(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.permit_condition(unit, makers.permit(unit), every_months=12, first_due_on="2200-01-01", met_on="2026-01-30")

        assert len(conditions(unit)) == 1


def test_what_happened_is_neither_to_come_nor_before_the_issue(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        permit = makers.permit(unit)

        assert refusal(makers.permit_event, unit, permit, happened_on="2026-03-02") == ("in-future", "/happened_on")
        assert refusal(makers.permit_event, unit, permit, happened_on="2024-12-31") == ("before-issue", "/happened_on")
        event = makers.permit_event(unit, permit, happened_on="2025-01-01")
        assert refusal(corrected, unit, event, happened_on="2024-12-31") == ("before-issue", "/happened_on")
