"""A unit reads, changes and journals in one transaction."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from domain.errors import Conflict, NotFound
from domain.records import journal
from domain.records.base import table_of
from domain.records.engine import Store, run_unit
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Overtaken, Unit
from tests import makers

SITES = Statement(table_of(Site).select().where(table_of(Site).c.organisation_id == sa.bindparam("organisation_id")))
pytestmark = pytest.mark.usefixtures("organisation")


def entries(unit: Unit) -> list[dict[str, object]]:
    return unit.named(journal.ENTRIES_AFTER, after=0, limit=100)


def test_a_record_reads_back_as_it_was_written(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit, address="1 Łąka Street\n4000", jurisdiction="XR-LOW")

    with store.transaction(makers.origin()) as unit:
        assert unit.fetch(Site, made.id) == made


def test_every_change_leaves_its_entry_with_before_and_after(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        unit.change(made, {"note": "roof leaks"}, action="change_site")

    with store.transaction(makers.origin()) as unit:
        found = entries(unit)
    assert [entry["position"] for entry in found] == [1, 2, 3]
    assert '"action":"change_site"' in str(found[2]["content"])
    assert '"after":{"note":"roof leaks"}' in str(found[2]["content"])
    assert '"before":{"note":""}' in str(found[2]["content"])


def test_a_change_without_a_difference_leaves_nothing(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        same = unit.change(made, {"note": ""}, action="change_site")

        assert same.version == 1
        assert len(unit._changes) == 1


def test_a_failed_transaction_leaves_neither_record_nor_entry(store: Store) -> None:
    def fail(unit: Unit) -> None:
        makers.site(unit)
        raise RuntimeError

    with pytest.raises(RuntimeError):
        run_unit(store, fail, origin=makers.origin())

    with store.transaction(makers.origin()) as unit:
        assert unit.all(Site, SITES) == []
        assert len(entries(unit)) == 1


def test_a_record_changed_in_between_is_overtaken(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        unit.change(made, {"note": "first"}, action="change_site")

        with pytest.raises(Overtaken):
            unit.change(made, {"note": "second"}, action="change_site")


def test_two_spellings_of_one_name_are_one_name(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.site(unit)

    with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
        makers.site(unit, name="REEDMERE\u00a0house")


def test_another_organisations_record_is_not_there(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)

    with store.transaction(makers.origin(organisation_id=makers.OTHER_ORGANISATION)) as unit, pytest.raises(NotFound):
        unit.fetch(Site, made.id)


def test_a_statement_without_its_organisation_is_refused(store: Store) -> None:
    with pytest.raises(KeyError):
        journal.HEAD.on(store.dialect).bound({})
