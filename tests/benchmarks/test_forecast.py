"""The nightly forecast of a whole site against set-based SQL in the same database."""

from __future__ import annotations

import gc
from collections import Counter
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path

import numpy as np
import psycopg
import pytest

from domain.records.engine import SqliteStore, open_store
from domain.records.outlooks import site_batches
from domain.rules.forecast import outlook
from domain.rules.service_life import Standing
from tests import makers
from tests.benchmarks import forecast_in_sql as sql
from tests.benchmarks.figures import Figure, measured, median
from tests.postgres_server import dsn

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

TODAY = date(2026, 3, 1)
ROUNDS = 3


def test_the_forecast_of_a_site_and_sql_give_the_same_due_dates(large, figures):
    store = open_store(large.url, pool_size=1)
    ours, theirs = [], []
    with opened_sql(large) as ask, closing(store):
        for _ in range(ROUNDS):
            gc.collect()
            with measured() as spent_by_sql:
                sums_by_sql = ask("sums")
            gc.collect()
            with measured() as spent_by_us:
                sums_by_us, standings_by_us = forecast_sums(store, large)
            theirs.append(spent_by_sql)
            ours.append(spent_by_us)
        standings_by_sql = ask("standings")

    assert sums_by_us == sums_by_sql
    assert standings_by_us == standings_by_sql
    assert sums_by_us[0] > 0.8 * large.items
    our_s, sql_s = median([one.wall_s for one in ours]), median([one.wall_s for one in theirs])
    figures.add(
        Figure(
            f"forecast of {large.items} items",
            store.dialect,
            f"{our_s:.2f} s",
            f"{sql_s:.2f} s",
            ratio=sql_s / our_s,
            target=1.0,
            note=f"against SQL in it; peak memory over start {max(one.peak_mb for one in ours):.0f} MB, "
            f"SQL {max(one.peak_mb for one in theirs):.0f} MB here",
        )
    )


def forecast_sums(store, collection):
    """Judge every item and return (number of due dates, sum of due dates) and the number of items in each standing."""
    count, days, standings = 0, 0, np.zeros(len(Standing), dtype=np.int64)
    with store.snapshot(makers.origin(organisation_id=collection.organisation_id)) as unit:
        for batch in site_batches(unit, collection.site_id):
            view = outlook(batch.facts, today=TODAY, warn_days=batch.warn_days)
            known = view.first_due[~np.isnat(view.first_due)]
            count += len(known)
            days += int(known.astype(np.int64).sum())
            standings += np.bincount(view.standing, minlength=len(Standing))
    found = {standing.value: int(number) for standing, number in zip(Standing, standings, strict=True) if number}
    return (count, days), Counter(found)


@contextmanager
def opened_sql(collection):
    """Yield a function that runs one of the statements on a connection of its own, opened as the service opens it."""
    asked = {"organisation_id": collection.organisation_id, "site_id": collection.site_id, "today": TODAY}
    if collection.url.startswith("sqlite"):
        store = SqliteStore(Path(collection.url.removeprefix("sqlite:///")))
        connection = store.connect()
        store.close()
        asked |= {"site_id": collection.site_id.bytes, "today": TODAY.isoformat()}
        statements = {"sums": sql.SQLITE_SUMS, "standings": sql.SQLITE_STANDINGS}
    else:
        connection = psycopg.connect(dsn(collection.url), autocommit=True)
        statements = {"sums": sql.POSTGRES_SUMS, "standings": sql.POSTGRES_STANDINGS}

    def ask(name):
        rows = connection.execute(statements[name], asked).fetchall()
        return tuple(map(int, rows[0])) if name == "sums" else Counter(dict(rows))

    with closing(connection):
        yield ask
