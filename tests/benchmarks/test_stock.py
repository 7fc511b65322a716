"""The census of a past day and the statement of a year against the same counts in SQL written by hand, on the same database."""

from __future__ import annotations

import gc
from collections import Counter
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from uuid import UUID

import psycopg
import pytest

from domain.actions.census import Scope, census, statement
from domain.records.engine import SqliteStore, open_store
from domain.rules.lives import EventKind
from domain.rules.stock import column_of, out_of_balance, total
from tests import makers
from tests.benchmarks import stock_in_sql as sql
from tests.benchmarks.conftest import items_wanted
from tests.benchmarks.figures import Figure, measured, median
from tests.benchmarks.lives import load_lives
from tests.benchmarks.raw_database import OPTIONS
from tests.postgres_server import dsn

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

DAY, FIRST, LAST = date(2021, 6, 30), date(2021, 1, 1), date(2021, 12, 31)
EVE = date(2020, 12, 31)
ROUNDS = 5
TARGET = 3.0


@pytest.fixture(scope="session")
def collection(lasting_house):
    """Return a database with a hundred thousand animals, each of which has lived in ten places."""
    return load_lives(lasting_house.new(), animals=min(items_wanted(), 100_000), server_url=lasting_house.server_url)


def test_the_census_of_a_past_day_is_the_count_by_hand(collection, figures):
    with by_hand(collection) as ask, ours(collection) as unit:
        found, counted, taken = compared(
            lambda: ask(sql.CENSUS, day=DAY),
            lambda: census(unit, on=DAY, scope=Scope()),
        )

    said = {(one.line.site_id, one.line.taxon_id, one.line.sex, one.line.life_stage, one.status, one.number, one.records) for one in found}
    assert said == set(counted)
    assert sum(one.number for one in found) > collection.animals / 2
    add_figure(figures, collection, f"census of a past day, {len(found)} lines", taken)


def test_the_statement_of_a_year_is_the_sums_by_hand(collection, figures):
    with by_hand(collection) as ask, ours(collection) as unit:
        found, summed, taken = compared(
            lambda: [
                ask(sql.STOCK, day=EVE),
                ask(sql.STOCK, day=LAST),
                ask(sql.EVENTS, first=FIRST, last=LAST),
                ask(sql.TURNED, first=FIRST, last=LAST),
            ],
            lambda: statement(unit, from_on=FIRST, until_on=LAST, scope=Scope()),
        )

    opening, closing_, events, turned = summed
    assert columns_of(found) == columns_by_hand(opening, closing_, events, turned)
    assert out_of_balance(found) == []
    add_figure(figures, collection, f"statement of a year, {len(found)} lines", taken)


def test_the_statement_of_a_site_is_the_sums_by_hand(collection, figures):
    site_id = collection.site_ids[0]
    year = {"first": FIRST, "last": LAST}
    with by_hand(collection, site_id=site_id) as ask, ours(collection) as unit:
        found, summed, taken = compared(
            lambda: [
                ask(sql.STOCK_AT_SITE, day=EVE),
                ask(sql.STOCK_AT_SITE, day=LAST),
                ask(sql.EVENTS_AT_SITE, **year),
                ask(sql.TURNED_AT_SITE, **year),
                ask(sql.CAME_TO_SITE, **year),
                ask(sql.LEFT_SITE, **year),
            ],
            lambda: statement(unit, from_on=FIRST, until_on=LAST, scope=Scope(site_id=site_id)),
        )

    opening, closing_, events, turned, came, left = summed
    by_column = columns_by_hand(opening, closing_, events, turned)
    by_column += Counter({(*line, "moved_in"): number for *line, number in came})
    by_column += Counter({(*line, "moved_out"): number for *line, number in left})
    assert columns_of(found) == by_column
    assert total(found.values()).moved_in > 0
    assert out_of_balance(found) == []
    add_figure(figures, collection, f"statement of a year at one of {len(collection.site_ids)} sites, {len(found)} lines", taken)


@contextmanager
def by_hand(collection, **bound):
    """Yield a function that runs a statement written by hand on a connection of its own, opened as the service opens it."""
    asked = {"organisation_id": collection.organisation_id, **bound}
    is_sqlite = collection.url.startswith("sqlite")
    if is_sqlite:
        store = SqliteStore(Path(collection.url.removeprefix("sqlite:///")))
        connection = store.connect()
        store.close()
    else:
        connection = psycopg.connect(dsn(collection.url), autocommit=True, options=OPTIONS)

    def ask(text, **days):
        given = {**asked, **days}
        if is_sqlite:
            given = {
                name: value.bytes if isinstance(value, UUID) else str(value) if isinstance(value, date) else value
                for name, value in given.items()
            }
        return connection.execute(sql.written(text, sql.SQLITE if is_sqlite else sql.POSTGRESQL), given).fetchall()

    with closing(connection):
        yield ask


@contextmanager
def ours(collection):
    """Yield a unit as a door reads by it."""
    origin = makers.origin(organisation_id=collection.organisation_id)
    with closing(open_store(collection.url, pool_size=1)) as store, store.snapshot(origin) as unit:
        unit.take_time()
        yield unit


def compared(hand, our):
    """Run both in turn and return what ours gave, what the other gave as ids and words, and what each of them took."""
    taken = {"hand": [], "ours": []}
    for _ in range(ROUNDS):
        for name, act in (("hand", hand), ("ours", our)):
            gc.collect()
            with measured() as spent:
                result = act()
            taken[name].append(spent)
            if name == "hand":
                counted = result
    return result, readable(counted), taken


def readable(rows):
    """Return rows with their ids as ids, on either database."""
    if isinstance(rows, list):
        return [readable(row) for row in rows]
    return tuple(UUID(bytes=value) if isinstance(value, bytes) else value for value in rows)


def columns_of(found):
    """Return the numbers of a statement that are not zero, by taxon, sex, stage and column."""
    return Counter(
        {
            (line.taxon_id, line.sex, line.life_stage, column): number
            for line, account in found.items()
            for column, number in account_columns(account)
            if number
        }
    )


def account_columns(account):
    return [(name, getattr(account, name)) for name in account.__slots__]


def columns_by_hand(opening, closing_, events, turned):
    found = Counter({(*line, "opening"): number for *line, number in opening})
    found += Counter({(*line, "closing"): number for *line, number in closing_})
    for *line, kind, _, change in events:
        found[*line, column_of(EventKind(kind), change=change)] += abs(change)
    for taxon, sex_before, stage_before, sex, stage, number in turned:
        found[taxon, sex_before, stage_before, "changed_out"] += number
        found[taxon, sex, stage, "changed_in"] += number
    return +found


def add_figure(figures, collection, name, taken):
    """Print how long ours takes, by how many times as long the count by hand does."""
    our_s, hand_s = (median([one.wall_s for one in taken[who]]) for who in ("ours", "hand"))
    our_mb, hand_mb = (max(one.peak_mb for one in taken[who]) for who in ("ours", "hand"))
    size = f"{collection.animals} animals, ten placements each"
    note = f"limit: SQL by hand; peak memory over start {our_mb:.0f} MB, by hand {hand_mb:.0f} MB; {size}"
    dialect = collection.url.partition("+")[0].partition(":")[0]
    figures.add(Figure(name, dialect, f"{our_s:.2f} s", f"{hand_s:.2f} s", ratio=our_s / hand_s, target=TARGET, at_most=True, note=note))
