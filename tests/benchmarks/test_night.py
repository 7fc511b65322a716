"""The whole night at one site: judged, stored, and its paper made in every form. Plain figures, without a limit to compare with."""

from __future__ import annotations

from contextlib import closing
from datetime import timedelta

import pytest

from api.nightly import run_nights
from domain.records.engine import open_store
from tests.benchmarks.collection import load
from tests.benchmarks.figures import Figure, measured
from tests.makers import NOON

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(1800)]

ITEMS = 10_000


def test_a_second_night_of_the_same_date_adds_nothing(house, figures):
    collection = load(house.new(), items=ITEMS, server_url=house.server_url)
    with closing(open_store(collection.url, pool_size=2)) as store:
        first, spent_first = run(store, collection)
        again, spent_again = run(store, collection)
        following, spent_following = run(store, collection, days=1)

    assert (first.added, again.added, following.added) == (True, False, True)
    assert sum(first.due.counts.values()) > 0.8 * ITEMS
    assert {file.form for file in first.files} == {"pdf", "csv", "json", "orders"}
    for name, spent in (("first", spent_first), ("same date again", spent_again), ("next date", spent_following)):
        note = f"{len(first.due.items)} on the list; peak memory over start {spent.peak_mb:.0f} MB"
        figures.add(Figure(f"night of {ITEMS} items, {name}", house.name, f"{spent.wall_s:.2f} s", note=note))


def run(store, collection, *, days=0):
    """Run the night of a day and return how it went at the site, and what it took."""
    with measured() as spent:
        [night] = run_nights(
            store, collection.organisation_id, now=NOON + timedelta(days=days), actor="benchmark", request_id=f"night-{days}"
        )
    assert night.error is None
    return night, spent
