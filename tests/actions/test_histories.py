"""Whose names a life tells to whom."""

from __future__ import annotations

import pytest

from domain.actions.histories import history
from domain.actions.kinship import record_parent
from domain.records.enclosures import Enclosure
from domain.rules.permissions import EVERYWHERE, Reach
from tests import makers
from tests.actions.of_animals import an_animal, parent


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


def test_relatives_at_sites_that_a_paper_is_not_for_are_not_named_on_it(unit):
    child, dam = an_animal(unit, "T-1"), an_animal(unit, "T-2")
    record_parent(unit, child.id, parent(dam))
    own, elsewhere = (unit.fetch(Enclosure, one.enclosure_id).site_id for one in (child, dam))

    named = {reach: set(history(unit, child.id, shown_at=reach).related) for reach in (EVERYWHERE, Reach(frozenset((own,))))}

    assert own != elsewhere
    assert named == {EVERYWHERE: {dam.id}, Reach(frozenset((own,))): set()}
    assert [one.parent_id for one in history(unit, child.id, shown_at=Reach(frozenset((own,)))).parents] == [dam.id]
