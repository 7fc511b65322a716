"""Ids whose order is the order in time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from uuid import RFC_4122, UUID

import pytest

from domain.rules.identifiers import ids_at

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def test_an_id_is_a_uuid_of_the_seventh_version():
    found = next(ids_at(NOON))

    assert (found.version, found.variant) == (7, RFC_4122)


@pytest.mark.parametrize(
    "at", [datetime(1970, 1, 1, tzinfo=UTC), NOON, NOON + timedelta(microseconds=999), datetime(2199, 12, 31, tzinfo=UTC)]
)
def test_an_id_begins_with_its_milliseconds(at):
    assert next(ids_at(at)).int >> 80 == (at - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def test_ids_of_one_instant_ascend_and_are_all_different():
    found = list(islice(ids_at(NOON), 20_000))

    assert found == sorted(found)
    assert len(set(found)) == len(found)
    assert {one.version for one in found} == {7}
    assert {one.variant for one in found} == {RFC_4122}


def counter_of(one: UUID) -> int:
    """Return the counter behind the milliseconds: twelve bits beside the version and fourteen beside the variant."""
    return (one.int >> 64 & 0xFFF) << 14 | one.int >> 48 & 0x3FFF


def test_ids_of_one_instant_are_counted_one_by_one():
    counters = [counter_of(one) for one in islice(ids_at(NOON), 20_000)]

    assert {later - earlier for earlier, later in pairwise(counters)} == {1}


def test_a_count_begins_at_random_in_the_lower_half_so_that_it_never_runs_over():
    # That 200 starts all lie in the lower quarter happens once in 2 to the 200th.
    starts = [counter_of(next(ids_at(NOON))) for _ in range(200)]

    assert 2**24 < max(starts) <= 2**25


def test_ids_of_a_later_instant_come_after():
    earlier = list(islice(ids_at(NOON), 1000))

    assert max(earlier) < next(ids_at(NOON + timedelta(milliseconds=1)))


def test_two_runs_at_one_instant_share_no_id():
    assert set(islice(ids_at(NOON), 1000)).isdisjoint(islice(ids_at(NOON), 1000))
