"""Reads stay as quick when the table grows: one item, and a page of a hundred from anywhere in the list."""

from __future__ import annotations

import asyncio
from contextlib import closing
from time import perf_counter

import pytest

from domain.records.engine import open_store
from domain.records.equipment import Equipment
from domain.records.lists import Period, one, page
from tests.benchmarks.figures import Figure, median

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

READS, PAGES, ROUNDS = 1000, 200, 3
TARGET = 1.2
PAGE_OF_ALL = page(Equipment, filters=frozenset(), period=Period.KEPT, goes_on=True)


def test_reads_of_a_large_table_find_what_they_ask_for_as_those_of_a_small_one_do(large, small, figures):
    with closing(open_store(large.url, pool_size=2)) as at_large, closing(open_store(small.url, pool_size=2)) as at_small:
        taken = asyncio.run(rounds({"large": (at_large, large), "small": (at_small, small)}))

    for name in ("GET one", "list of 100"):
        large_us, small_us = median(taken["large", name]), median(taken["small", name])
        figures.add(
            Figure(
                f"growth: {name}", at_large.dialect, f"{large_us:.0f} µs", f"{small_us:.0f} µs", ratio=large_us / small_us, target=TARGET,
                at_most=True, note=f"median latency of the statement at {large.items} rows against {small.items}",
            )
        )  # fmt: skip


async def rounds(sides):
    """Read from each side in turn and return the latencies by side and kind [µs]."""
    taken = {(side, name): [] for side in sides for name in ("GET one", "list of 100")}
    for store, _ in sides.values():
        await store.open()
    try:
        for number in range(ROUNDS + 1):
            for side, (store, collection) in sides.items():
                single, listed = await items_read(store, collection), await pages_read(store, collection)
                if number > 0:
                    taken[side, "GET one"] += single
                    taken[side, "list of 100"] += listed
    finally:
        for store, _ in sides.values():
            await store.close_reads()
    return taken


async def items_read(store, collection):
    wanted = (collection.some_ids * READS)[:READS]
    took = []
    for item_id in wanted:
        began = perf_counter()
        rows = await store.read(one(Equipment), organisation_id=collection.organisation_id, id=item_id)
        took.append(1e6 * (perf_counter() - began))
        assert len(rows) == 1
    return took


async def pages_read(store, collection):
    """Read pages that begin after items from the first nine tenths of the list, so that each is full."""
    earlier = collection.some_ids[: len(collection.some_ids) * 9 // 10]
    took = []
    for item_id in earlier[:: max(1, len(earlier) // PAGES)][:PAGES]:
        began = perf_counter()
        rows = await store.read(PAGE_OF_ALL, organisation_id=collection.organisation_id, after_id=item_id, limit=101)
        took.append(1e6 * (perf_counter() - began))
        assert len(rows) == 101
    return took
