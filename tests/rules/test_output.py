"""What a run of output readings says."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from domain.rules.calendar import as_date_or_none, as_days
from domain.rules.output import OutputReadings, OutputSummary, limit_of, summarise

FITTED = date(2025, 1, 1)


def seen(
    readings: list[tuple[int, date, float]],
    *,
    burnt_in_on: list[date | None] | None = None,
    minimum: list[float] | None = None,
    share: list[float] | None = None,
    items: int = 1,
) -> OutputSummary:
    return summarise(
        OutputReadings(
            np.array([item for item, _, _ in readings], dtype=np.int64),
            as_days([on for _, on, _ in readings]),
            np.array([value for _, _, value in readings], dtype=np.float64),
        ),
        burnt_in_on=as_days(burnt_in_on or [FITTED] * items),
        minimum=np.array(minimum or [np.nan] * items),
        share=np.array(share or [np.nan] * items),
    )


def run_of(*values: float) -> list[tuple[int, date, float]]:
    return [(0, date(2025, month, 1), value) for month, value in enumerate(values, start=1)]


@pytest.mark.parametrize(
    ("values", "below_since"),
    [
        ((), None),
        ((3.0,), None),
        ((2.0,), None),
        ((1.9,), date(2025, 1, 1)),
        ((3.0, 1.9), date(2025, 2, 1)),
        ((3.0, 1.9, 1.5), date(2025, 2, 1)),
        ((3.0, 1.9, 2.0), None),
        ((1.0, 3.0, 1.9, 1.0), date(2025, 3, 1)),
        ((1.0, 3.0), None),
    ],
)
def test_output_is_below_since_the_first_of_the_unbroken_run_that_ends_with_the_latest(values, below_since):
    assert as_date_or_none(seen(run_of(*values), minimum=[2.0]).below_since[0]) == below_since


def test_the_first_and_latest_reading_and_their_number_are_told():
    found = seen(run_of(5.0, 4.0, 3.0), burnt_in_on=[date(2025, 1, 2)])

    assert found.count.dtype == np.int64
    assert (found.count[0], found.first[0], found.latest[0]) == (3, 4.0, 3.0)
    assert as_date_or_none(found.latest_on[0]) == date(2025, 3, 1)


@pytest.mark.parametrize(("burnt_in_on", "first"), [(date(2025, 1, 31), 4.0), (date(2025, 2, 1), 4.0), (date(2025, 2, 2), 3.0)])
def test_the_day_from_which_a_reading_may_be_the_first_counts(burnt_in_on, first):
    assert seen(run_of(5.0, 4.0, 3.0), burnt_in_on=[burnt_in_on]).first[0] == first


@pytest.mark.parametrize("burnt_in_on", [None, date(2025, 4, 1)])
def test_without_a_reading_after_burn_in_a_share_says_nothing(burnt_in_on):
    found = seen(run_of(5.0, 0.0), burnt_in_on=[burnt_in_on], share=[0.7])

    assert np.isnan(found.first[0])
    assert np.isnat(found.below_since[0])


def test_of_two_readings_of_one_day_the_later_recorded_is_the_latest():
    found = seen([(0, FITTED, 3.0), (0, FITTED, 1.0)], minimum=[2.0])

    assert (found.first[0], found.latest[0]) == (3.0, 1.0)
    assert as_date_or_none(found.below_since[0]) == FITTED


def test_the_readings_of_one_item_say_nothing_of_its_neighbours():
    low, high = date(2025, 5, 1), date(2025, 6, 1)
    readings = [(0, low, 1.0), (1, low, 1.0), (1, high, 3.0), (3, low, 3.0), (3, high, 1.0)]

    found = seen(readings, minimum=[2.0] * 5, items=5)

    assert found.count.tolist() == [1, 2, 0, 2, 0]
    assert [as_date_or_none(day) for day in found.below_since] == [low, None, None, high, None]
    np.testing.assert_array_equal(found.latest, [1.0, 3.0, np.nan, 1.0, np.nan])


def test_an_unbroken_run_of_a_later_item_begins_with_its_own_first():
    first, second, third = date(2025, 5, 1), date(2025, 6, 1), date(2025, 7, 1)
    readings = [(0, first, 1.0), (1, first, 1.0), (1, second, 1.0), (2, first, 3.0), (2, second, 1.0), (2, third, 1.0)]

    found = seen(readings, minimum=[2.0] * 3, items=3)

    assert [as_date_or_none(day) for day in found.below_since] == [first, first, second]


@pytest.mark.parametrize(
    ("minimum", "share", "first", "expected"),
    [
        (2.0, np.nan, 5.0, 2.0),
        (np.nan, 0.7, 5.0, 3.5),
        (2.0, 0.7, 5.0, 3.5),
        (4.0, 0.7, 5.0, 4.0),
        (2.0, 0.7, np.nan, 2.0),
        (np.nan, 0.7, np.nan, np.nan),
        (np.nan, np.nan, 5.0, np.nan),
    ],
)
def test_the_higher_of_two_minima_holds(minimum, share, first, expected):
    found = limit_of(minimum=np.array([minimum]), share=np.array([share]), first=np.array([first]))

    np.testing.assert_allclose(found, [expected])
