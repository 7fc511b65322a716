"""What the guards cost: the database's own, and the journal; and the two ways to tell PostgreSQL whose rows a read may see.

All sides of a comparison run in turns, request by request, in one process, so whatever else the machine does falls on all alike.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest
from sqlalchemy import make_url

from domain.actions.equipment import change_equipment, register_equipment
from domain.records.engine import PostgresStore, SqliteStore, Store, open_store
from domain.records.equipment import Equipment, EquipmentStated
from domain.records.lists import one
from domain.records.statements import Statement
from domain.records.tables import make_ready
from domain.records.tenancy import Whose
from domain.records.unit import Unit
from tests import makers
from tests.benchmarks.collection import load
from tests.benchmarks.figures import Figure, median
from tests.postgres_server import url_for

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(900)]

ITEMS = 10_000
READS, WRITES = 2000, 300
MOST_OF_A_READ = 1.25
"""What a read may take with the guards, as a multiple of one without."""
MOST_OF_A_WRITE_MS = 2.0
"""What the guards, or the journal, may add to a write [ms]."""
AT_ONCE = one(Equipment)


class BareSqlite(SqliteStore):
    """A file without views and triggers."""

    def furnish(self, connection: Any) -> Whose:  # noqa: ARG002 - nothing is put on it
        """Put nothing on a connection."""
        return Whose()


class Unjournalled(Unit):
    """A transaction that forgets what it should write in the journal."""

    def seal(self) -> None:
        """Leave no entry."""
        self._changes.clear()


class PipelinedPostgres(PostgresStore):
    """Reads each in a transaction that is told the organisation, all sent at once."""

    async def read(self, statement: Statement, *, organisation_id: int, **parameters: Any) -> list[Any]:
        """Read in a pipelined transaction."""
        compiled = self.compiled(statement)
        parameters["organisation_id"] = organisation_id
        async with self._reading.connection() as connection, connection.pipeline():
            await connection.execute("BEGIN")
            await connection.execute("SELECT set_config('reedbed.organisation', %s, true)", [str(organisation_id)])
            cursor = await connection.execute(compiled.sql, compiled.bound(parameters))
            await connection.execute("COMMIT")
            return compiled.own(await cursor.fetchall(), organisation_id)


@contextmanager
def opened(store: Store) -> Iterator[Store]:
    """Yield a store and close it."""
    try:
        yield store
    finally:
        store.close()


def bare(url: str, server_url: str | None) -> Store:
    """Return the store without the database's guards."""
    make_ready()
    if server_url is None:
        return BareSqlite(Path(str(make_url(url).database)))
    return open_store(url_for(server_url, database=str(make_url(url).database)), pool_size=2)


def reading_us(stores: dict[str, Store], ids: Any, organisation_id: int) -> dict[str, float]:
    """Return what one read takes on each store [µs], the median of many in turns."""
    taken: dict[str, list[float]] = {name: [] for name in stores}

    async def work() -> None:
        for store in stores.values():
            await store.open()
        for turn in range(READS):
            for name, store in stores.items():
                began = perf_counter()
                rows = await store.read(AT_ONCE, organisation_id=organisation_id, id=ids[turn % len(ids)])
                taken[name].append((perf_counter() - began) * 1e6)
                assert len(rows) == 1
        for store in stores.values():
            await store.close_reads()

    asyncio.run(work())
    return {name: median(values[READS // 10 :]) for name, values in taken.items()}


def writing_ms(stores: dict[str, Store], act: Callable[[Unit, int], Any], *, journalled: dict[str, bool]) -> dict[str, float]:
    """Return what one write takes on each store [ms], the median of many in turns."""
    taken: dict[str, list[float]] = {name: [] for name in stores}
    for turn in range(WRITES):
        for name, store in stores.items():
            began = perf_counter()
            with store.transaction(makers.origin(request_id=f"{name}-{turn}")) as unit:
                act(unit, turn)
                if not journalled[name]:
                    Unjournalled.seal(unit)  # type: ignore[arg-type]
            taken[name].append((perf_counter() - began) * 1e3)
    return {name: median(values[WRITES // 10 :]) for name, values in taken.items()}


def test_the_guards_and_the_journal_cost_little(house, figures):
    collection = load(house.new(), items=ITEMS, server_url=house.server_url)
    bare_url, unjournalled_url = house.copy(collection.url), house.copy(collection.url)
    with (
        opened(open_store(collection.url, pool_size=2)) as guarded,
        opened(bare(bare_url, house.server_url)) as unguarded,
        opened(open_store(unjournalled_url, pool_size=2)) as unjournalled,
    ):
        read = reading_us({"ours": guarded, "limit": unguarded}, collection.some_ids, collection.organisation_id)
        figures.add(
            Figure(
                "GET guarded by the database",
                house.name,
                f"{read['ours']:.0f} µs",
                f"{read['limit']:.0f} µs",
                ratio=read["ours"] / read["limit"],
                target=MOST_OF_A_READ,
                at_most=True,
                note="one statement on the event loop; limit: views or policies away",
            )
        )
        stores = {"ours": guarded, "bare": unguarded, "unjournalled": unjournalled}
        journalled = {"ours": True, "bare": True, "unjournalled": False}
        for name, act in writes_of(collection).items():
            took = writing_ms(stores, act, journalled=journalled)
            for limit, what in (("bare", "guarded by the database"), ("unjournalled", "journalled")):
                more = took["ours"] - took[limit]
                figures.add(
                    Figure(
                        f"{name} {what}", house.name, f"{took['ours']:.2f} ms", f"{took[limit]:.2f} ms", ratio=more,
                        target=MOST_OF_A_WRITE_MS, at_most=True, note="ratio: what is added [ms]",
                    )
                )  # fmt: skip


def writes_of(collection) -> dict[str, Callable[[Unit, int], Any]]:
    """Return what a POST and a PATCH do in their transactions."""

    def registered(unit: Unit, _: int) -> None:
        model_id = unit.fetch(Equipment, collection.some_ids[0]).model_id
        stated = EquipmentStated(tag=f"NEW-{unit.origin.request_id}", model_id=model_id, site_id=collection.site_id)
        register_equipment(unit, stated)

    def corrected(unit: Unit, turn: int) -> None:
        change_equipment(unit, collection.some_ids[turn], {"position": f"P-{turn}"}, expected_version=1)

    return {"POST": registered, "PATCH": corrected}


def test_the_way_of_telling_postgresql_whose_rows_are_read(house, figures):
    if house.name == "sqlite":
        pytest.skip("SQLite is told by an attribute")
    collection = load(house.new(), items=ITEMS, server_url=house.server_url)
    pipelined = PipelinedPostgres(make_url(collection.url), pool_size=2)
    with opened(open_store(collection.url, pool_size=2)) as remembered, opened(pipelined):
        took = reading_us({"remembered": remembered, "pipelined": pipelined}, collection.some_ids, collection.organisation_id)

    figures.add(
        Figure(
            "GET told once a connection", house.name, f"{took['remembered']:.0f} µs", f"{took['pipelined']:.0f} µs",
            ratio=took["pipelined"] / took["remembered"], note="limit: BEGIN, set_config, SELECT and COMMIT in one pipeline",
        )
    )  # fmt: skip


def test_looking_at_whose_rows_they_are_takes_less_than_a_few_microseconds(figures):
    compiled = AT_ONCE.on("sqlite")
    row = (*range(len(compiled.keys)), makers.ORGANISATION)
    for count in (1, 100):
        rows = [row] * count
        taken = []
        for _ in range(2000):
            began = perf_counter()
            own = compiled.own(rows, makers.ORGANISATION)
            taken.append((perf_counter() - began) * 1e6)
        assert own == [row[:-1]] * count
        figures.add(Figure(f"the guard on {count} row{'s' * (count > 1)}", "any", f"{median(taken):.2f} µs"))
