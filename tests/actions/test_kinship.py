"""Parents: who cannot be one, and how sure they are."""

from __future__ import annotations

from typing import Any

import pytest

from domain.actions.kinship import change_parent, end_parent, record_parent
from domain.actions.lives import EVENTS_OF, withdraw_event
from domain.errors import Conflict, NotFound, Stale
from domain.records.animals import AnimalEvent
from domain.records.engine import Store
from domain.records.kinship import Parent
from domain.records.unit import Unit
from tests import makers
from tests.actions.of_animals import MISTAKE, an_animal, parent, refusal

pytestmark = pytest.mark.usefixtures("organisation")


def corrected(unit: Unit, found: Parent, **patch: Any) -> Parent:
    now = unit.fetch(Parent, found.id)
    return change_parent(unit, found.id, patch, owner_id=found.animal_id, expected_version=now.version)


def test_a_parent_is_a_record_here_or_an_animal_elsewhere(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        child, dam = an_animal(unit, "T-1"), an_animal(unit, "T-2")

        assert record_parent(unit, child.id, parent(dam)).parent_id == dam.id
        assert record_parent(unit, child.id, parent(role="sire")).elsewhere == "a wild one"
        assert refusal(parent, elsewhere=None) == ("not-together", "/parent_id")
        assert refusal(parent, dam, elsewhere="x") == ("not-together", "/parent_id")


def test_no_animal_is_its_own_parent_nor_its_parents_parent(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, two, three = (an_animal(unit, tag) for tag in ("T-1", "T-2", "T-3"))
        record_parent(unit, one.id, parent(two, certainty="possible"))
        record_parent(unit, two.id, parent(three, role="sire"))

        assert refusal(record_parent, unit, one.id, parent(one)) == ("own-parent", "/parent_id")
        assert refusal(record_parent, unit, two.id, parent(one)) == ("circular", "/parent_id")
        assert refusal(record_parent, unit, three.id, parent(one, certainty="possible")) == ("circular", "/parent_id")
        elsewhere = record_parent(unit, three.id, parent())
        assert refusal(corrected, unit, elsewhere, elsewhere=None, parent_id=str(one.id)) == ("circular", "/parent_id")


def test_what_was_taken_out_of_account_closes_no_circle(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, two = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        wrong = record_parent(unit, one.id, parent(two))
        end_parent(unit, wrong.id, MISTAKE, owner_id=one.id)

        assert record_parent(unit, two.id, parent(one))
        assert refusal(end_parent, unit, wrong.id, MISTAKE, owner_id=one.id)[0] == "ended"


def test_two_ways_to_one_ancestor_are_no_circle(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        old, left, right, young = (an_animal(unit, tag) for tag in ("T-1", "T-2", "T-3", "T-4"))
        for child in (left, right):
            record_parent(unit, child.id, parent(old))
        record_parent(unit, young.id, parent(left))

        assert record_parent(unit, young.id, parent(right, role="sire"))
        assert refusal(record_parent, unit, old.id, parent(young)) == ("circular", "/parent_id")


@pytest.mark.parametrize(
    ("child", "older", "refused"),
    [
        ({"hatched_on": "2020-06-15"}, {"hatched_on": "2020-06-16"}, True),
        ({"hatched_on": "2020-06-15"}, {"hatched_on": "2020-06-15"}, False),
        ({"hatched_on": "2020-06-01", "hatched_precision": "month"}, {"hatched_on": "2020-06-30"}, False),
        ({"hatched_on": "2020-06-01", "hatched_precision": "month"}, {"hatched_on": "2020-07-01"}, True),
        ({"hatched_on": "2020-01-01", "hatched_precision": "year"}, {"hatched_on": "2020-12-31"}, False),
        ({"hatched_on": "2020-01-01", "hatched_precision": "year"}, {"hatched_on": "2021-01-01"}, True),
        ({"hatched_on": "2020-06-15"}, {"hatched_on": "2020-01-01", "hatched_precision": "year"}, False),
        ({"hatched_on": "2025-01-01", "hatched_precision": "year"}, {"hatched_on": "2025-05-02", "acquired_on": "2025-06-01"}, True),
        ({}, {"hatched_on": "2025-05-02", "acquired_on": "2025-06-01"}, True),
        ({}, {"hatched_on": "2025-05-01", "acquired_on": "2025-06-01"}, False),
        ({"hatched_on": "2020-06-15"}, {}, False),
    ],
)
def test_no_parent_hatched_after_its_child(store: Store, child: dict[str, str], older: dict[str, str], refused: Any) -> None:
    with store.transaction(makers.origin()) as unit:
        young, dam = an_animal(unit, "T-1", **child), an_animal(unit, "T-2", **older)

        if refused:
            assert refusal(record_parent, unit, young.id, parent(dam)) == ("born-later", "/parent_id")
        else:
            assert record_parent(unit, young.id, parent(dam))


def test_one_of_each_role_is_certain(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        child, dam, other = (an_animal(unit, tag) for tag in ("T-1", "T-2", "T-3"))
        sure = record_parent(unit, child.id, parent(dam))

        certain = ("certain-already", "/certainty")
        assert refusal(record_parent, unit, child.id, parent(other)) == certain
        assert refusal(record_parent, unit, child.id, parent(dam, certainty="possible")) == ("already-there", "/parent_id")
        assert record_parent(unit, child.id, parent(other, role="sire"))
        unsure = record_parent(unit, child.id, parent(other, certainty="probable"))
        assert refusal(corrected, unit, unsure, certainty="certain") == certain
        corrected(unit, sure, certainty="possible", known_by="a test of both")
        assert corrected(unit, unsure, certainty="certain").certainty == "certain"


def test_of_two_certain_parents_at_once_the_database_refuses_the_second(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        sure = record_parent(unit, an_animal(unit).id, parent())
    twin = Parent.model_construct(**{name: getattr(sure, name) for name in Parent.model_fields} | {"id": sure.animal_id})

    with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
        unit.add(twin, action="register_parent")


def test_the_dead_may_be_parents_and_have_them(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        child, dam = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        for animal in (child, dam):
            makers.event(unit, animal, "died", "2025-10-01")

        assert record_parent(unit, child.id, parent(dam, known_by="eggs under observation"))


def test_what_was_never_here_is_no_parent_and_has_none(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        child, mistake = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        (came,) = unit.all(AnimalEvent, EVENTS_OF, animal_id=mistake.id)
        withdraw_event(unit, came.id, MISTAKE, owner_id=mistake.id)

        assert refusal(record_parent, unit, child.id, parent(mistake)) == ("reference-unknown", "/parent_id")
        assert refusal(record_parent, unit, mistake.id, parent(child)) == ("ended", "")


def test_a_parent_is_corrected_under_its_own_animal_and_at_its_version(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        one, other = an_animal(unit, "T-1"), an_animal(unit, "T-2")
        made = record_parent(unit, one.id, parent())

        assert corrected(unit, made, note="n").note == "n"
        with pytest.raises(NotFound):
            change_parent(unit, made.id, {"note": "n"}, owner_id=other.id, expected_version=2)
        with pytest.raises(NotFound):
            end_parent(unit, made.id, MISTAKE, owner_id=other.id)
        with pytest.raises(Stale):
            change_parent(unit, made.id, {"note": "n"}, owner_id=one.id, expected_version=1)
