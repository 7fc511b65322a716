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
from tests.benchmarks.raw_database import OPTIONS
from tests.postgres_server import dsn

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

TODAY = date(2026, 3, 1)
ROUNDS = 3


def test_the_forecast_of_a_site_and_sql_give_the_same_due_dates(large, figures):
    taken = {"sums": [], "kept": [], "ours": []}
    with opened_sql(large) as ask, closing(open_store(large.url, pool_size=1)) as store:
        for _ in range(ROUNDS):
            with measured_alone() as spent:
                sums_by_sql = ask("sums")
            taken["sums"].append(spent)
            with measured_alone() as spent:
                ask("kept")
            taken["kept"].append(spent)
            sums_kept = ask("sums of kept")
            ask("forget kept")
            with measured_alone() as spent:
                sums_by_us, standings_by_us = forecast_sums(store, large)
            taken["ours"].append(spent)
        standings_by_sql = ask("standings")

    assert sums_by_us == sums_by_sql == sums_kept
    assert standings_by_us == standings_by_sql
    assert sums_by_us[0] > 0.8 * large.items
    our_s, our_mb = median([one.wall_s for one in taken["ours"]]), max(one.peak_mb for one in taken["ours"])
    for name, said in (("kept", "that keeps each item's date"), ("sums", "that keeps only count and sum")):
        sql_s, sql_mb = median([one.wall_s for one in taken[name]]), max(one.peak_mb for one in taken[name])
        note = f"limit: SQL {said}; peak memory over start {our_mb:.0f} MB, SQL {sql_mb:.0f} MB in this process"
        title = f"forecast of {large.items} items"
        figures.add(Figure(title, store.dialect, f"{our_s:.2f} s", f"{sql_s:.2f} s", ratio=sql_s / our_s, target=1.0, note=note))


@contextmanager
def measured_alone():
    """Measure a block that begins with nothing left to be collected."""
    gc.collect()
    with measured() as spent:
        yield spent


def forecast_sums(store, collection):
    """Judge every item and return (number of due dates, sum of due dates) and the number of items in each standing."""
    count, days, standings = 0, 0, np.zeros(len(Standing), dtype=np.int64)
    with store.snapshot(makers.origin(organisation_id=collection.organisation_id)) as unit:
        for batch in site_batches(unit, collection.site_id, on=TODAY):
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
        statements = {"sums": sql.SQLITE_SUMS, "standings": sql.SQLITE_STANDINGS, "kept": sql.SQLITE_KEPT}
        statements["sums of kept"] = sql.SQLITE_SUMS.replace(sql.SQLITE_DUE_DATES, "SELECT due_on FROM kept")
    else:
        connection = psycopg.connect(dsn(collection.url), autocommit=True, options=OPTIONS)
        statements = {"sums": sql.POSTGRES_SUMS, "standings": sql.POSTGRES_STANDINGS, "kept": sql.POSTGRES_KEPT}
        statements["sums of kept"] = sql.POSTGRES_SUMS.replace(sql.POSTGRES_DUE_DATES, "SELECT due_on FROM kept")

    statements["forget kept"] = "DROP TABLE kept"

    def ask(name):
        if name in {"kept", "forget kept"}:
            return connection.execute(statements[name], asked if name == "kept" else {})
        rows = connection.execute(statements[name], asked).fetchall()
        return Counter(dict(rows)) if name == "standings" else tuple(map(int, rows[0]))

    with closing(connection):
        yield ask
