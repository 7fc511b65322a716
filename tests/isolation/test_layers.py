"""Each of the three layers stands alone: where two are taken away, the third still shows and changes nothing of another organisation."""

from __future__ import annotations

import io

import pytest

from domain.records.animals import Animal
from domain.records.lists import one
from tests.isolation.layers import DATABASE, GUARD, NONE, PREDICATE, Layers
from tests.isolation.outputs import everything_said
from tests.isolation.probing import marks_in, probe_everything
from tests.isolation.slots import slots
from tests.isolation.world import B, rows_of, serving

LOUD = "/v1/sites Idempotency-Key"
"""Where two organisations use one Idempotency-Key, a statement without its predicate means both their rows. SQLite's triggers and the guard
refuse it as a defect and undo everything; PostgreSQL does not see the other row."""
KEY = ("key",)


def leaks_with(place, layers):
    """Return what is learned through a store with some of the layers, the outputs that show something, and their tables that changed."""
    world, lines = place.world, io.StringIO()
    with place.stores(layers) as (store, whole):
        before = rows_of(whole, B)
        with serving(store, lines=lines) as service:
            leaks = probe_everything(service, world, by=KEY)
            said = everything_said(service, world, by=KEY)
        after = rows_of(whole, B)
    changed = [name for name in before if before[name] != after[name]]
    learned = [leak for leak in leaks if leak.request != LOUD or "500" not in leak.how]
    return learned, {name for name, text in said.items() if marks_in(world, text)}, changed


@pytest.mark.parametrize("layers", [PREDICATE, DATABASE, GUARD], ids=str)
def test_a_layer_alone_lets_nothing_through(place, layers):
    leaks, shown, changed = leaks_with(place, layers)

    assert [str(leak) for leak in leaks] == []
    assert (shown, changed) == (set(), [])


def test_without_any_layer_nearly_everything_is_learned(place):
    leaks, shown, changed = leaks_with(place, NONE)

    with place.store() as store, serving(store) as service:
        tried = {str(slot) for slot in slots(service.app.openapi()) if (slot.place, slot.name) != ("body", "id")}
    found = {leak.request for leak in leaks} & tried
    assert len(found) > 0.5 * len(tried), sorted(tried - found)
    assert len(shown) > 10
    assert len(changed) > 10


def test_one_route_without_its_predicate_is_found_where_nothing_else_holds(place):
    forgetful = Layers("one statement without its predicate", predicate=False, guard=False, database=False, open_for=lambda it: it is one(Animal))

    leaks, _, changed = leaks_with(place, forgetful)

    assert {leak.request.partition(" ")[0] for leak in leaks} >= {"get_animal"}
    assert {leak.request.partition(" ")[0] for leak in leaks} <= {"get_animal", "GET"}
    assert changed == []
