"""So many at a time, so many more for a moment, and the others at once elsewhere."""

from __future__ import annotations

import asyncio
import json
import time
from dataclasses import dataclass
from functools import partial

import pytest

from api.admission import Admission, in_time
from api.errors import TooLate
from api.metrics import Metrics
from api.settings import Settings


class Slow:
    """An application that answers when it is told to, and keeps count."""

    def __init__(self) -> None:
        self.may_answer = asyncio.Event()
        self.at_work = self.most_at_work = self.finished = 0

    async def __call__(self, scope, receive, send):  # noqa: ARG002 - an application is called so
        self.at_work += 1
        self.most_at_work = max(self.most_at_work, self.at_work)
        try:
            await self.may_answer.wait()
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"done"})
            self.finished += 1
        finally:
            self.at_work -= 1


@dataclass
class Place:
    """An admission and what stands behind it."""

    admission: Admission
    app: Slow
    metrics: Metrics

    async def ask(self, path="/v1/sites", *, method="GET", **state):
        sent = []

        async def send(message):
            if message["type"] == "http.response.start":
                scope["state"]["status"] = message["status"]
            sent.append(message)

        scope = {"type": "http", "method": method, "path": path, "headers": [], "state": state}
        await self.admission(scope, None, send)
        return sent[0]["status"], dict(sent[0]["headers"]), sent[1]["body"]


def place(app=None, **stated):
    metrics, app = Metrics(), app or Slow()
    settings = Settings(**{"requests_at_work": 2, "request_wait_s": 0.05, "request_deadline_s": 0} | stated)
    return Place(Admission(app, settings=settings, metrics=metrics), app, metrics)


def run(test):
    asyncio.run(asyncio.wait_for(test(), 10))


async def settled():
    for _ in range(5):
        await asyncio.sleep(0)


def test_no_more_work_at_a_time_than_may_and_no_more_wait_than_may():
    async def test():
        here = place(request_wait_s=5)
        asked = [asyncio.create_task(here.ask()) for _ in range(7)]
        await settled()
        refused = [task.result() for task in asked if task.done()]
        here.app.may_answer.set()
        answers = await asyncio.gather(*asked)

        assert [status for status, _, _ in refused] == [503] * 3
        assert sorted(status for status, _, _ in answers) == [200] * 4 + [503] * 3
        assert here.app.most_at_work == 2
        assert here.metrics.counted("admission_rejected", "queue") == 3
        assert (here.admission.at_work, len(here.admission.waiting)) == (0, 0)

    run(test)


def test_without_a_limit_all_work_at_once():
    async def test():
        here = place(requests_at_work=0)
        asked = [asyncio.create_task(here.ask()) for _ in range(100)]
        await settled()
        here.app.may_answer.set()
        await asyncio.gather(*asked)

        assert here.app.most_at_work == 100

    run(test)


def test_whoever_has_waited_long_enough_is_sent_away_with_a_problem():
    async def test():
        here = place()
        first = [asyncio.create_task(here.ask()) for _ in range(2)]
        await settled()
        began = time.monotonic()
        status, headers, body = await here.ask()

        assert 0.04 < time.monotonic() - began < 1
        assert (status, headers[b"content-type"], json.loads(body)["code"]) == (503, b"application/problem+json", "overloaded")
        assert headers[b"retry-after"] in {b"1", b"2", b"3"}
        assert here.metrics.counted("admission_rejected", "wait") == 1
        here.app.may_answer.set()
        assert [status for status, _, _ in await asyncio.gather(*first)] == [200, 200]
        assert (await here.ask())[0] == 200

    run(test)


def test_whoever_was_sent_away_takes_no_place_in_the_line():
    async def test():
        here = place()
        first = [asyncio.create_task(here.ask()) for _ in range(2)]
        await settled()
        for _ in range(4):
            assert (await here.ask())[0] == 503

        assert (here.metrics.counted("admission_rejected", "wait"), here.metrics.counted("admission_rejected", "queue")) == (4, 0)
        here.app.may_answer.set()
        await asyncio.gather(*first)

    run(test)


def test_those_who_were_refused_do_not_all_come_again_at_once():
    async def test():
        here = place()
        told = {(await here.ask(crowded=True))[1][b"retry-after"] for _ in range(60)}

        assert told == {b"1", b"2", b"3"}

    run(test)


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_health_is_never_refused(path):
    async def test():
        here = place()
        asked = [asyncio.create_task(here.ask()) for _ in range(2)]
        await settled()
        health = asyncio.create_task(here.ask(path, crowded=True, arrived=time.monotonic() - 60))
        await settled()

        assert here.app.at_work == 3
        here.app.may_answer.set()
        assert (await health)[0] == 200
        await asyncio.gather(*asked)

    run(test)


@pytest.mark.parametrize(
    ("state", "reason"), [({"crowded": True}, "connections"), ({"arrived": -1e9}, "late"), ({"arrived": float("inf")}, "")]
)
def test_what_has_waited_before_it_came_here_counts(state, reason):
    async def test():
        here = place()
        here.app.may_answer.set()

        assert (await here.ask(**state))[0] == (503 if reason else 200)
        assert not reason or here.metrics.counted("admission_rejected", reason) == 1

    run(test)


def test_a_caller_that_leaves_while_it_waits_gives_its_place_up():
    async def test():
        here = place(request_wait_s=5)
        asked = [asyncio.create_task(here.ask()) for _ in range(4)]
        await settled()
        asked[2].cancel()
        asked[0].cancel()
        await asyncio.gather(asked[0], asked[2], return_exceptions=True)
        await settled()

        assert here.app.at_work == 2
        here.app.may_answer.set()
        assert [status for status, _, _ in await asyncio.gather(asked[1], asked[3])] == [200, 200]
        assert here.admission.at_work == 0

    run(test)


def test_a_place_given_to_a_caller_that_has_just_left_is_not_lost():
    async def test():
        here = place(requests_at_work=1, request_wait_s=5)
        first, second = asyncio.create_task(here.ask()), None
        await settled()
        second = asyncio.create_task(here.ask())
        await settled()
        here.app.may_answer.set()
        await settled()
        second.cancel()
        await asyncio.gather(first, second, return_exceptions=True)

        assert here.admission.at_work == 0

    run(test)


def test_a_read_that_takes_too_long_is_given_up():
    async def test():
        here = place(request_deadline_s=0.05)
        status, headers, body = await here.ask()

        assert (status, json.loads(body)["code"], headers[b"retry-after"]) == (503, "deadline", b"1")
        assert (here.admission.at_work, here.app.at_work) == (0, 0)

    run(test)


def test_a_write_that_has_begun_is_never_given_up():
    async def test():
        here = place(request_deadline_s=0.05)
        asked = asyncio.create_task(here.ask(method="POST"))
        await asyncio.sleep(0.15)
        here.app.may_answer.set()

        assert (await asked)[0] == 200

    run(test)


def test_an_answer_that_has_begun_is_broken_off_and_not_begun_again():
    async def half(scope, receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await asyncio.sleep(5)

    async def test():
        with pytest.raises(TimeoutError):
            await place(half, request_deadline_s=0.05).ask()

    run(test)


def test_a_timeout_of_the_work_itself_is_its_own():
    async def failing(scope, receive, send):
        raise TimeoutError

    async def test():
        with pytest.raises(TimeoutError):
            await place(failing, request_deadline_s=5).ask()

    run(test)


def test_a_body_that_does_not_arrive_in_time_is_not_waited_for():
    seen = []

    async def reading(scope, receive, send):
        with pytest.raises(TooLate):
            await receive()
        seen.append(scope["state"]["until"])

    async def never():
        await asyncio.sleep(60)

    async def test():
        here = place(reading, request_deadline_s=0.05)
        scope = {"type": "http", "method": "POST", "path": "/v1/sites", "headers": [], "state": {}}
        await here.admission(scope, never, None)

    run(test)
    assert seen[0] <= time.monotonic()


@dataclass
class Asked:
    """A call as far as its deadline goes."""

    until: float | None


@pytest.mark.parametrize(("left_s", "begun"), [(None, True), (10, True), (-0.001, False)])
def test_a_write_is_begun_only_before_its_deadline(left_s, begun):
    done = []
    call = Asked(None if left_s is None else time.monotonic() + left_s)

    if begun:
        in_time(done.append, call)
    else:
        with pytest.raises(TooLate):
            in_time(partial(done.append), call)

    assert done == ([call] if begun else [])
