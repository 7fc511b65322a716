"""Whoever is killed while animals leave or arrive leaves them before or after, and never in between."""

from __future__ import annotations

import random
from typing import Any

import pytest

from domain.actions.lives import EVENTS_OF, PLACEMENTS_OF
from domain.actions.transfers.check import check_transfer
from domain.actions.transfers.lines import LINES_OF
from domain.actions.verify import prove
from domain.records.animals import Animal, AnimalEvent, Placement
from domain.records.transfers import Transfer, TransferAnimal
from domain.rules.law.requirements import Entry, Selector
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import TransferStage
from tests import makers
from tests.faults.moving import AFTER_COMMIT, statements_of

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]


@pytest.fixture
def transfer_id(store, organisation):
    """Approve a transfer of two animals from one site to another, and return its id."""
    with store.transaction(makers.origin()) as unit:
        makers.requirement(unit, selector=Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),)))
        here, there = (makers.site(unit, name=name, jurisdiction="XR") for name in ("Reedmere House", "Tern Point"))
        home, apart = makers.enclosure(unit, here), makers.enclosure(unit, there, name="Q1", quarantine=True)
        taxon = makers.taxon(unit, hazard="harmless")
        days = {"dispatch_on": "2026-03-01", "arrive_on": "2026-03-01"}
        transfer = makers.transfer(unit, here, there, quarantine_enclosure_id=str(apart.id), **days)
        for tag in ("T-1", "T-2"):
            animal = makers.animal(unit, taxon, tag=tag, enclosure_id=str(home.id), acquired_on="2025-01-10")
            makers.transfer_animal(unit, transfer, animal)
        checked, check = check_transfer(unit, transfer.id)
        assert check.items == ()
        return unit.change(checked, {"stage": TransferStage.APPROVED}, action="approve_transfer").id


def seen(store, transfer_id) -> Any:
    """Return all that a step changes: the transfer, its animals, what happened to them, and where they are."""
    with store.snapshot(makers.origin()) as unit:
        lines = unit.all(TransferAnimal, LINES_OF, transfer_id=transfer_id)
        animals = [unit.fetch(Animal, one.animal_id) for one in lines]
        return (
            unit.fetch(Transfer, transfer_id).stage,
            [(one.condition, one.quarantine_until) for one in lines],
            [(one.status, one.enclosure_id) for one in animals],
            [[each.kind for each in unit.all(AnimalEvent, EVENTS_OF, animal_id=one.id)] for one in animals],
            [[(each.from_on, each.until_on) for each in unit.all(Placement, PLACEMENTS_OF, animal_id=one.id)] for one in animals],
        )


def killed(forker, url, step, transfer_id, *, at):
    child = forker.fork("tests.faults.moving:run", url, step, str(transfer_id), at)
    child.wait(60)


def test_a_step_that_is_killed_has_not_begun_or_is_over(forker, store, database_url, transfer_id, rounds):
    chance = random.Random(20260301)  # noqa: S311 - repeatable, not secret

    for step in ("dispatch", "receive"):
        before, number = seen(store, transfer_id), statements_of(store, step, transfer_id)
        assert number > 20
        places = chance.sample(range(1, number + 1), min(number, rounds(5, full=25)))
        for place in places:
            killed(forker, database_url, step, transfer_id, at=place)
            assert seen(store, transfer_id) == before, f"{step} was killed at statement {place} of {number}"
        killed(forker, database_url, step, transfer_id, at=AFTER_COMMIT)
        after = seen(store, transfer_id)
        assert after[0] is (TransferStage.DISPATCHED if step == "dispatch" else TransferStage.RECEIVED)
        assert after != before
    with store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []
