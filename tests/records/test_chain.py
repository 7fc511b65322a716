"""The chain holds whoever writes at the same time: no break, no gap, no entry twice; in one organisation and in several."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any

import pytest

from domain.actions.sites import register_site
from domain.actions.verify import prove
from domain.errors import Conflict
from domain.records.engine import Store, open_store, run_unit
from domain.records.journal import ENTRIES_AFTER, LOCK_HEAD
from domain.records.sites import Site, SiteStated
from domain.records.statements import Row, Statement
from domain.records.unit import Unit
from tests import makers

WRITERS = 8
EACH = int(os.environ.get("REEDBED_ROUNDS", "12"))
SHARED = ("hot", "several")


@pytest.fixture
def wide(database_url: str) -> Iterator[Store]:
    """Yield a store with a connection for each writer."""
    opened = open_store(database_url, pool_size=WRITERS)
    yield opened
    opened.close()


def organisations(wide: Store, count: int) -> list[int]:
    return [makers.organisation(wide, organisation_id=makers.ORGANISATION + number, name=f"Trust {number}") for number in range(count)]


def write(wide: Store, writer: int, *, organisation_id: int, ready: threading.Barrier) -> int:
    """Register and correct sites, one after another, and return how many entries that should have left."""
    ready.wait(30)
    for number in range(EACH):
        origin = makers.origin(organisation_id=organisation_id, request_id=f"{writer}-{number}")
        made: Site = run_unit(wide, partial(_registered, name=f"Hall {writer}-{number}"), origin=origin)
        run_unit(wide, partial(_corrected, made=made), origin=origin)
    return 3 * EACH


def _registered(unit: Unit, *, name: str) -> Site:
    return register_site(unit, SiteStated(name=name, zone="UTC"))


def _corrected(unit: Unit, *, made: Site) -> None:
    """Leave two entries in one transaction."""
    once = unit.change(made, {"note": "leaks"}, action="change_site")
    unit.change(once, {"note": "mended"}, action="change_site")


@pytest.mark.parametrize("count", [1, 4], ids=SHARED)
def test_eight_writers_leave_one_chain_without_a_gap(wide: Store, count: int) -> None:
    own = organisations(wide, count)
    ready = threading.Barrier(WRITERS)

    with ThreadPoolExecutor(WRITERS) as pool:
        tasks = [pool.submit(write, wide, writer, organisation_id=own[writer % count], ready=ready) for writer in range(WRITERS)]
        left = [task.result() for task in tasks]

    for number, organisation_id in enumerate(own):
        expected = 1 + sum(left[number::count])
        with wide.snapshot(makers.origin(organisation_id=organisation_id)) as unit:
            assert prove(unit).flaws == []
            positions = [row["position"] for row in unit.named(ENTRIES_AFTER, after=0, limit=expected + 100)]
        assert positions == list(range(1, expected + 1))


class Impatient(Unit):
    """A unit that goes on from an end that it read before, without waiting for the present one."""

    def row(self, statement: Statement, **parameters: Any) -> Row | None:
        return (1, "0" * 64) if statement is LOCK_HEAD else super().row(statement, **parameters)


@pytest.mark.usefixtures("organisation")
def test_two_who_go_on_from_the_same_end_cannot_both_be_kept(store: Store) -> None:
    with store.transaction(makers.origin()) as unit:
        makers.site(unit)

    with pytest.raises(Conflict), store.transaction(makers.origin()) as unit:
        sealed_without_waiting(unit)

    with store.snapshot(makers.origin()) as unit:
        assert (prove(unit).flaws, prove(unit).records) == ([], 2)


def sealed_without_waiting(unit: Unit) -> None:
    impatient = Impatient(unit.cursor, dialect=unit.dialect, origin=unit.origin)
    makers.site(impatient, name="Elsewhere")
    impatient.seal()
