"""Writers of one record come between each other, and every one of them has the effect that was confirmed, once."""

from __future__ import annotations

import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import psycopg
import pytest

from domain.errors import StorageBusy, TookTooLong
from domain.records import engine
from domain.records.engine import Store, run_unit
from domain.records.equipment import Spare
from domain.records.unit import Unit
from tests import makers
from tests.faults.in_process import running
from tests.postgres_server import dsn, url_for

pytestmark = [pytest.mark.fault, pytest.mark.timeout(1800)]

THREADS = 8


@pytest.fixture
def shelf(store: Store, organisation: int) -> Spare:
    """Return a shelf with nothing on it."""
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        return makers.spare(unit, makers.model(unit), site, on_hand=0)


def count_one(unit: Unit, shelf: Spare) -> None:
    found = unit.fetch(Spare, shelf.id)
    unit.change(found, {"on_hand": found.on_hand + 1}, action="change_spare")


def counted(store: Store, shelf: Spare) -> int:
    with store.snapshot(makers.origin()) as unit:
        return unit.fetch(Spare, shelf.id).on_hand


def confirmed_by_all(act: Any, *, each: int) -> int:
    """Have several threads do something a number of times, and return how often it was confirmed; what is refused is tried again."""

    def one(_: int) -> int:
        done = 0
        while done < each:
            try:
                act()
            except StorageBusy:
                continue
            done += 1
        return done

    with ThreadPoolExecutor(THREADS) as pool:
        return sum(pool.map(one, range(THREADS)))


def test_no_increment_is_lost_between_threads(store, shelf, rounds):
    each = rounds(25, full=500)

    done = confirmed_by_all(lambda: run_unit(store, lambda unit: count_one(unit, shelf), origin=makers.origin()), each=each)

    assert counted(store, shelf) == done == THREADS * each


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_transactions_that_begin_by_reading_lose_increments(store, shelf):
    """The database as a driver uses it by default: read, then write, with the lock taken only when it writes."""
    connections = [
        store.driver.connect(str(store.path), check_same_thread=False, timeout=0.05, isolation_level="DEFERRED") for _ in range(THREADS)
    ]
    free = list(connections)

    def one() -> None:
        connection = free.pop()
        try:
            (number,) = connection.execute("SELECT on_hand FROM spare").fetchone()
            connection.execute("UPDATE spare SET on_hand = ?", (number + 1,))
            connection.commit()
        except store.driver.OperationalError:
            connection.rollback()
            raise StorageBusy("locked") from None
        finally:
            free.append(connection)

    done = confirmed_by_all(one, each=25)

    for connection in connections:
        connection.close()
    assert counted(store, shelf) < done


def test_of_changes_that_race_with_one_etag_exactly_one_is_taken(store, organisation, rounds):
    with running(store) as client:
        site = client.post("/v1/sites", {"name": "Reedmere House", "zone": "Europe/Lisbon"}).json()
        for turn in range(rounds(5, full=100)):
            tag = client.get(f"/v1/sites/{site['id']}").headers["ETag"]
            all_ready = threading.Barrier(THREADS)

            def change(number: int, turn: int = turn, tag: str = tag, all_ready: threading.Barrier = all_ready) -> int:
                all_ready.wait(20)
                return client.patch(f"/v1/sites/{site['id']}", {"note": f"{turn}-{number}"}, If_Match=tag).status_code

            with ThreadPoolExecutor(THREADS) as pool:
                statuses = Counter(pool.map(change, range(THREADS)))

            assert statuses == {200: 1, 412: THREADS - 1}


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_transactions_that_cannot_be_put_in_one_order_are_run_again(store, shelf, rounds):
    each = rounds(10, full=125)

    def work(unit: Unit) -> None:
        unit.cursor.execute("SET TRANSACTION ISOLATION LEVEL SERIALIZABLE", {})
        count_one(unit, shelf)

    done = confirmed_by_all(lambda: run_unit(store, work, origin=makers.origin()), each=each)

    assert counted(store, shelf) == done == THREADS * each


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_of_two_that_wait_for_each_other_one_is_run_again(store, organisation):
    with store.transaction(makers.origin()) as unit:
        site, model = makers.site(unit), makers.model(unit)
        shelves = [makers.spare(unit, model, site, shelf=name, on_hand=0) for name in ("A", "B")]
    both_hold_one = threading.Barrier(2)
    runs: Counter[str] = Counter()

    def write(first: Spare, second: Spare, who: str) -> None:
        def work(unit: Unit) -> None:
            runs[who] += 1
            count_one(unit, first)
            if runs[who] == 1:
                both_hold_one.wait(10)
            count_one(unit, second)

        run_unit(store, work, origin=makers.origin())

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(write, shelves, reversed(shelves), ("reed", "sedge")))

    assert [counted(store, shelf) for shelf in shelves] == [2, 2]
    assert runs.total() == 3


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_lock_that_others_keep_is_a_refusal_in_time_and_no_defect(store, organisation, database_url, postgres_url):
    with running(store) as client:
        site = client.post("/v1/sites", {"name": "Reedmere House", "zone": "Europe/Lisbon"}).json()
        name = database_url.rpartition("/")[2]
        with psycopg.connect(dsn(url_for(postgres_url, database=name))) as holder:
            holder.execute("LOCK TABLE site IN ACCESS EXCLUSIVE MODE")
            changed = client.patch(f"/v1/sites/{site['id']}", {"note": "roof leaks"}, If_Match='"1"')
        after = client.patch(f"/v1/sites/{site['id']}", {"note": "roof leaks"}, If_Match='"1"')

    assert (changed.status_code, changed.json()["code"]) == (503, "storage-busy")
    assert "Retry-After" in changed.headers
    assert after.status_code == 200


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_statement_that_takes_too_long_is_ended_but_not_where_more_time_was_taken(store, organisation):
    with pytest.raises(TookTooLong):
        run_unit(store, lambda unit: unit.cursor.execute("SELECT pg_sleep(20)", {}), origin=makers.origin())

    def patient(unit: Unit) -> None:
        unit.take_time()
        unit.cursor.execute("SELECT pg_sleep(5.2)", {})

    run_unit(store, patient, origin=makers.origin())


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
@pytest.mark.parametrize(
    ("name", "value"), [("statement_timeout", "5s"), ("lock_timeout", "2s"), ("idle_in_transaction_session_timeout", "10s")]
)
def test_each_connection_of_the_service_has_its_limits(store, organisation, name, value):
    assert engine.SESSION[name] == value
    with store.transaction(makers.origin()) as unit:
        unit.cursor.execute(f"SHOW {name}", {})
        assert unit.cursor.fetchall() == [(value,)]
