"""A part of a transaction is undone with its journal entries, and what was before and comes after stays."""

from __future__ import annotations

import json

import pytest

from domain.actions.verify import prove
from domain.records.journal import JournalEntry
from domain.records.sites import Site
from tests import makers
from tests.importing.conftest import stored

__all__ = ["stored"]


class UndoneError(Exception):
    """What a test raises."""


def undone(unit, *names, within=lambda: None):
    """Register sites in an attempt that fails after another thing was done."""
    with unit.attempt():
        for name in names:
            makers.site(unit, name=name)
        within()
        raise UndoneError


def test_what_was_written_in_an_attempt_that_failed_is_undone_with_its_entries(store, organisation, stored):
    with store.transaction(makers.origin()) as unit:
        first = makers.site(unit, name="First")
        with pytest.raises(UndoneError):
            undone(unit, "Second", within=lambda: unit.change(first, {"note": "changed"}, action="change_site"))
        with unit.attempt():
            makers.site(unit, name="Third")

    assert {row["name"]: row["note"] for row in stored(Site)} == {"First": "", "Third": ""}
    subjects = [json.loads(row["content"])["action"] for row in stored(JournalEntry)]
    assert subjects.count("register_site") == 2
    assert "change_site" not in subjects
    with store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []


def test_attempts_nest(store, organisation, stored):
    left = []

    def within():
        with unit.attempt():
            makers.site(unit, name="Inner")
        with pytest.raises(UndoneError):
            undone(unit, "Innermost")
        left.append(unit.unsealed)

    with store.transaction(makers.origin()) as unit:
        with pytest.raises(UndoneError):
            undone(unit, "Outer", within=within)
        left.append(unit.unsealed)
        makers.site(unit, name="After")

    assert left == [2, 0]
    assert [row["name"] for row in stored(Site)] == ["After"]


def twice(unit, site):
    with unit.attempt():
        unit.add(Site(**{**site.model_dump(), "id": unit.new_id()}), action="register_site")


def test_after_a_statement_that_the_database_refused_the_transaction_goes_on(store, organisation, stored):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit, name="Twice")
        with pytest.raises(Exception, match=r"(?i)unique|duplicate"):
            twice(unit, site)
        makers.site(unit, name="After")

    assert {row["name"] for row in stored(Site)} == {"Twice", "After"}


def test_statements_are_planned_anew_in_the_midst_of_a_transaction(store, organisation, stored):
    with store.transaction(makers.origin()) as unit:
        makers.animal(unit, makers.taxon(unit))
        unit.plan_anew()
        makers.site(unit)

    assert len(stored(Site)) == 1
