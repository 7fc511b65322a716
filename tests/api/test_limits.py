"""How often a caller may ask."""

from __future__ import annotations

import pytest

from api.errors import TooMany
from api.limits import LONGEST_DELAY_S, MOST_KEYS, REST_S, Kind, Limits
from api.settings import Settings


class Clock:
    """Seconds that go on only when they are told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    return Clock()


def limits(clock, kind=Kind.CREDENTIAL, count=3, period_s=60.0):
    return Limits({kind: (count, period_s)}, clock=clock)


def test_what_is_granted_may_be_taken_at_once_and_then_as_fast_as_it_comes_back(clock):
    granted = limits(clock)

    assert [granted.take(Kind.CREDENTIAL, "a") for _ in range(4)] == [None, None, None, 20.0]
    clock.now += 19.9
    assert granted.take(Kind.CREDENTIAL, "a") == pytest.approx(0.1)
    clock.now += 0.1001
    assert granted.take(Kind.CREDENTIAL, "a") is None
    assert granted.take(Kind.CREDENTIAL, "a") == pytest.approx(20, abs=0.01)


def test_a_rest_grants_no_more_than_the_limit(clock):
    granted = limits(clock)
    clock.now += 100_000

    assert [granted.take(Kind.CREDENTIAL, "a") is None for _ in range(4)] == [True, True, True, False]


def test_each_key_has_its_own(clock):
    granted = limits(clock, count=1)

    assert granted.take(Kind.CREDENTIAL, "a") is None
    assert granted.take(Kind.CREDENTIAL, "b") is None
    assert granted.take(Kind.CREDENTIAL, "a") is not None


@pytest.mark.parametrize("kind", list(Kind))
def test_nothing_granted_means_no_limit(clock, kind):
    granted = limits(clock, kind, count=0)

    assert {granted.take(kind, "a") for _ in range(5000)} == {None}


def test_attempts_to_sign_in_wait_longer_each_time_but_nobody_is_locked_out(clock):
    granted = limits(clock, Kind.SIGN_IN_NAME, count=10)
    for _ in range(10):
        assert granted.take(Kind.SIGN_IN_NAME, "kim") is None

    waits = []
    for _ in range(6):
        wait_s = granted.take(Kind.SIGN_IN_NAME, "kim")
        waits.append(round(wait_s))
        clock.now += wait_s + 0.001
        assert granted.take(Kind.SIGN_IN_NAME, "kim") is None

    assert waits == [6, 12, 24, 48, 60, 60]
    assert max(waits) == LONGEST_DELAY_S


def test_whoever_is_refused_makes_nobody_wait_longer(clock):
    granted = limits(clock, Kind.SIGN_IN_NAME, count=1)
    granted.take(Kind.SIGN_IN_NAME, "kim")
    first = granted.take(Kind.SIGN_IN_NAME, "kim")

    assert [granted.take(Kind.SIGN_IN_NAME, "kim") for _ in range(50)] == [first] * 50


def test_after_a_long_rest_or_a_success_attempts_start_afresh(clock):
    granted = limits(clock, Kind.SIGN_IN_NAME, count=2)
    for _ in range(3):
        granted.take(Kind.SIGN_IN_NAME, "kim")
        granted.take(Kind.SIGN_IN_NAME, "lee")

    granted.forget(Kind.SIGN_IN_NAME, "lee")
    assert granted.take(Kind.SIGN_IN_NAME, "lee") is None
    assert granted.take(Kind.SIGN_IN_NAME, "kim") is not None
    clock.now += REST_S + 60
    assert [granted.take(Kind.SIGN_IN_NAME, "kim") is None for _ in range(3)] == [True, True, False]


def test_keys_beyond_the_number_that_is_kept_push_out_the_one_that_rested_longest(clock):
    granted = limits(clock, count=1)
    granted.take(Kind.CREDENTIAL, "first")
    granted.take(Kind.CREDENTIAL, "second")
    granted.take(Kind.CREDENTIAL, "first")
    for number in range(MOST_KEYS - 1):
        granted.take(Kind.CREDENTIAL, number)

    assert granted.take(Kind.CREDENTIAL, "first") is not None
    assert granted.take(Kind.CREDENTIAL, "second") is None


@pytest.mark.parametrize(("wait_s", "said"), [(0.01, 1), (20.0, 20), (3599.2, 3600)])
def test_an_excess_is_refused_with_whole_seconds_to_wait(clock, wait_s, said):
    granted = limits(clock, count=1, period_s=wait_s)
    granted.refuse_excess(Kind.CREDENTIAL, "a")

    with pytest.raises(TooMany) as refused:
        granted.refuse_excess(Kind.CREDENTIAL, "a")

    assert refused.value.retry_after_s == said


def test_limits_are_those_that_are_set():
    granted = Limits.of(Settings(requests_per_minute=1, organisation_requests_per_minute=0, imports_per_hour=2))

    assert [granted.take(Kind.CREDENTIAL, "a") is None for _ in range(2)] == [True, False]
    assert [granted.take(Kind.ORGANISATION, 1) is None for _ in range(3)] == [True, True, True]
    assert [granted.take(Kind.IMPORT, 1) is None for _ in range(3)] == [True, True, False]
