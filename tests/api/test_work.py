"""Background work is bounded and survives its own failures."""

from __future__ import annotations

import threading
from uuid import uuid4

import pytest

from api.work import Work
from domain.errors import StorageBusy


@pytest.fixture
def work():
    made = Work(threads=1, waiting=2, pause_s=0.05)
    made.start()
    yield made
    made.stop(within_s=5)


def test_tasks_run_in_order(work):
    ran, done = [], threading.Event()
    work.submit(lambda: ran.append(1))
    work.submit(lambda: (ran.append(2), done.set()))

    assert done.wait(5)
    assert ran == [1, 2]


def test_a_failure_is_logged_and_the_next_task_runs(work, caplog):
    done = threading.Event()
    work.submit(lambda: 1 / 0)
    work.submit(done.set)

    assert done.wait(5)
    assert "background work failed" in caplog.text


def test_of_more_than_may_wait_the_rest_is_taken_up_from_the_record(work):
    begun, release, ran, resumed = threading.Event(), threading.Event(), [], threading.Event()
    work.resumes = [resumed.set]
    work.submit(lambda: (begun.set(), release.wait(5)))
    begun.wait(5)
    for number in range(4):
        work.submit(lambda number=number: ran.append(number))

    assert not resumed.is_set()
    release.set()
    assert resumed.wait(5)
    assert ran == [0, 1]


def test_what_finds_the_database_busy_is_taken_up_from_the_record(work, caplog):
    tries, resumed = [], threading.Event()

    def busy_once():
        tries.append(1)
        if len(tries) == 1:
            raise StorageBusy("The database is busy.")
        resumed.set()

    work.resumes = [busy_once]
    work.submit(busy_once)

    assert resumed.wait(5)
    assert "busy" in caplog.text
    assert len(tries) == 2


def test_the_record_is_looked_at_again_while_the_database_stays_busy(work):
    tries, resumed = [], threading.Event()

    def busy_twice():
        tries.append(1)
        if len(tries) < 3:
            raise StorageBusy("The database is busy.")
        resumed.set()

    work.resumes = [busy_twice]
    work.submit(busy_twice)

    assert resumed.wait(5)


def test_nobody_else_of_the_process_is_at_a_piece_of_work(work):
    key = uuid4()

    with work.alone_at(key) as first, work.alone_at(key) as second, work.alone_at(uuid4()) as other:
        assert (first, second, other) == (True, False, True)
    with work.alone_at(key) as again:
        assert again


def test_a_stop_waits_for_what_runs_and_leaves_what_waits():
    work, ran = Work(threads=1, waiting=5), []
    begun, release = threading.Event(), threading.Event()
    work.start()
    work.submit(lambda: (begun.set(), release.wait(5), ran.append("running")))
    begun.wait(5)
    work.submit(lambda: ran.append("waiting"))
    threading.Timer(0.05, release.set).start()

    work.stop(within_s=5)

    assert ran == ["running"]
