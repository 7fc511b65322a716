"""What takes long to compute is computed for some at a time; those beyond are told at once, and the others keep their places."""

from __future__ import annotations

import asyncio
import threading

import pytest

from api.computing import THREADS, Computing
from api.errors import Busy
from api.settings import Settings

WITHIN_S = 10


def test_those_beyond_are_told_at_once_and_the_others_are_answered():
    may_end = threading.Event()

    async def all_at_once(computing):
        asked = [asyncio.create_task(computing.compute(lambda number: may_end.wait(WITHIN_S) and number, number)) for number in range(5)]
        await asyncio.wait(asked, return_when=asyncio.FIRST_COMPLETED, timeout=WITHIN_S)
        refused = [task.exception() for task in asked if task.done()]
        may_end.set()
        return refused, await asyncio.gather(*asked[:3])

    with Computing(most=3) as computing:
        refused, answers = asyncio.run(all_at_once(computing))

    assert [type(one) for one in refused] == [Busy, Busy]
    assert answers == [0, 1, 2]
    assert computing.at_work == 0


def test_what_fails_gives_its_place_back():
    async def failing(computing):
        with pytest.raises(ZeroDivisionError):
            await computing.compute(lambda one: one / 0, 1)
        return await computing.compute(str, 1)

    with Computing(most=1) as computing:
        assert asyncio.run(failing(computing)) == "1"


@pytest.mark.parametrize(("at_work", "most"), [(None, 8), (16, 8), (5, 2), (1, THREADS)])
def test_half_of_the_places_are_left_to_others(at_work, most):
    assert Computing.of(Settings(requests_at_work=at_work)).most == most


def test_without_a_limit_of_places_any_number_may_wait():
    assert Computing.of(Settings(requests_at_work=0)).most > 1000
