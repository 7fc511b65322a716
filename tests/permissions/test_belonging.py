"""No record is written at a site that is not reached, by whatever way it is written."""

from __future__ import annotations

from dataclasses import replace
from uuid import UUID, uuid4

import pytest

from domain.errors import NotAllowed
from domain.records.animals import Animal
from domain.records.base import row_of
from domain.records.belonging import refuse_beyond_reach, site_of
from domain.records.enclosures import Enclosure
from domain.records.equipment import EquipmentCheck, EquipmentModel
from domain.records.sites import Site
from domain.rules.permissions import EVERYWHERE, Reach
from tests import makers


@pytest.fixture
def places(store, organisation):
    """Return two sites, the first of them with an enclosure."""
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Saltings Hall")
        return here, there, makers.enclosure(unit, here)


def bound_to(*sites):
    return replace(makers.origin(), reach=Reach(frozenset(site.id for site in sites)))


def test_many_at_once_are_refused_for_one_that_is_elsewhere(store, places):
    here, there, enclosure = places
    rows = [
        {**row_of(enclosure), "id": uuid4(), "name": name, "name_key": name, "site_id": at.id} for name, at in (("b", here), ("c", there))
    ]

    with pytest.raises(NotAllowed), store.transaction(bound_to(here)) as unit:
        unit.add_many(Enclosure, rows, action="import_enclosure")
    with store.transaction(bound_to(here, there)) as unit:
        unit.add_many(Enclosure, rows, action="import_enclosure")
    with store.snapshot(makers.origin()) as unit:
        assert {unit.fetch(Enclosure, row["id"]).site_id for row in rows} == {here.id, there.id}


def test_a_record_is_moved_neither_from_where_nor_to_where_one_does_not_reach(store, places):
    here, there, enclosure = places

    for reached in (here, there):
        with pytest.raises(NotAllowed) as refusal, store.transaction(bound_to(reached)) as unit:
            unit.change(enclosure, {"site_id": there.id}, action="change_enclosure")
        assert refusal.value.code == "other-site"


def test_a_site_is_changed_by_whoever_reaches_it_and_made_by_whoever_reaches_all(store, places):
    here, there, _ = places

    with store.transaction(bound_to(here)) as unit:
        unit.change(here, {"note": "leaks"}, action="change_site")
    with pytest.raises(NotAllowed), store.transaction(bound_to(here)) as unit:
        unit.change(there, {"note": "leaks"}, action="change_site")
    with pytest.raises(NotAllowed), store.transaction(bound_to(here, there)) as unit:
        makers.site(unit, name="Third")


def test_what_is_fetched_to_be_shown_is_within_reach(store, places):
    here, there, enclosure = places

    with store.snapshot(bound_to(here)) as unit:
        assert unit.fetch_reached(Enclosure, enclosure.id).id == enclosure.id
        with pytest.raises(NotAllowed):
            unit.fetch_reached(Site, there.id)


def test_an_animal_is_where_its_enclosure_is_and_without_one_the_whole_organisations(store, places):
    here, _, enclosure = places

    with store.snapshot(makers.origin()) as unit:
        assert site_of(unit, Animal, {"enclosure_id": enclosure.id}) == here.id
        assert site_of(unit, Animal, {"enclosure_id": None}) is None
        assert site_of(unit, EquipmentCheck, {"equipment_id": uuid4()}) is None
        assert site_of(unit, EquipmentModel, {}) is None


def test_a_class_of_record_without_a_place_is_out_of_reach(store, places):
    class Unheard:
        """A class of record that does not say where it belongs."""

    with store.snapshot(bound_to(places[0])) as unit, pytest.raises(KeyError):
        refuse_beyond_reach(unit, Unheard, {})


def test_whoever_reaches_everywhere_is_asked_nothing(store, places):
    assert makers.origin().reach == EVERYWHERE
    with store.transaction(makers.origin()) as unit:
        refuse_beyond_reach(unit, Site, {"id": UUID(int=7)})
