"""Background work is bounded and survives its own failures."""

from __future__ import annotations

import threading

import pytest

from api.work import Work
from domain.errors import StorageBusy


@pytest.fixture
def work():
    made = Work(threads=1, waiting=2)
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


def test_more_than_may_wait_is_refused(work):
    begun, release = threading.Event(), threading.Event()
    work.submit(lambda: (begun.set(), release.wait(5)))
    begun.wait(5)
    work.submit(int)
    work.submit(int)

    with pytest.raises(StorageBusy):
        work.submit(int)

    release.set()


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
