"""When running hours are used up, compared with counting day by day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.rules.calendar import as_date_or_none, as_days
from domain.rules.run_hours import (
    HORIZON_YEARS,
    MOST_DAYS,
    ROUNDING_H,
    RunPeriod,
    Season,
    constant,
    days_until_used,
    hours_run,
    laid_out,
    passed_on,
    schedule_in_words,
)

START = date(2025, 1, 1)
REACH_DAYS = 1500
SUMMER_AND_WINTER = (Season(4, 1, 14.0), Season(10, 1, 8.0))
"""The first of April to the end of September at 14 h a day, the rest of the year at 8."""


def last_day(start: date | None, remaining_h: float, schedule: Sequence[RunPeriod], *, installed_on: date | None = None) -> date | None:
    pieces = laid_out([schedule], [installed_on or start])
    return as_date_or_none(days_until_used(as_days([start]), np.array([remaining_h], dtype=np.float64), pieces)[0])


def hours_on(day: date, schedule: Sequence[RunPeriod]) -> float | None:
    begun = [period for period in schedule if period.starts_on is None or period.starts_on <= day]
    if not begun:
        return None
    period = max(begun, key=lambda one: one.starts_on or date.min)
    if period.hours_per_day is not None:
        return period.hours_per_day
    turns = sorted(period.seasons, key=lambda one: (one.month, one.day))
    # Where a year has no 29 February the season turns on 1 March: month and day compare alike either way.
    turned = [one for one in turns if (one.month, one.day) <= (day.month, day.day)]
    return (turned or turns)[-1].hours_per_day


def counted_by_hand(start: date, remaining_h: float, schedule: Sequence[RunPeriod]) -> date | None:
    """Return the last day before which no more than ``remaining_h`` were run, ``None`` beyond reach."""
    run_h = 0.0
    for number in range(REACH_DAYS):
        day = start + timedelta(days=number)
        run_h += hours_on(day, schedule) or 0.0
        if run_h > remaining_h:
            return day
    return None


HOURS = st.integers(0, 96).map(lambda quarters: quarters / 4)
SEASONS = st.lists(
    st.tuples(st.dates(date(2024, 1, 1), date(2024, 12, 31)), HOURS), min_size=1, max_size=4, unique_by=lambda one: one[0]
).map(lambda turns: tuple(Season(on.month, on.day, hours) for on, hours in turns))
STARTS = st.one_of(st.none(), st.dates(date(2023, 1, 1), date(2028, 12, 31)))
SCHEDULES = st.lists(st.tuples(STARTS, st.one_of(HOURS, SEASONS)), min_size=1, max_size=4, unique_by=lambda one: one[0]).map(
    lambda rows: [RunPeriod(on, of) if isinstance(of, float) else RunPeriod(on, None, of) for on, of in rows]
)


@pytest.mark.parametrize(
    ("remaining_h", "days"),
    [(0, 0), (11.9, 0), (12, 1), (23.9, 1), (24, 2), (1050, 87), (1055.9, 87), (1056, 88), (-5, 0)],
)
def test_only_whole_days_are_counted(remaining_h, days):
    assert last_day(START, remaining_h, [RunPeriod(None, 12.0)]) == START + timedelta(days=days)


def test_hours_that_add_up_in_tenths_reach_their_limit_exactly():
    assert last_day(START, 0.3, [RunPeriod(None, 0.1)]) == START + timedelta(days=3)
    assert last_day(START, 1000 * 0.7, [RunPeriod(None, 0.7)]) == START + timedelta(days=1000)


def test_a_later_period_goes_on_where_the_earlier_one_stopped():
    schedule = [RunPeriod(None, 10.0), RunPeriod(date(2025, 1, 11), 5.0)]

    assert last_day(START, 100, schedule) == date(2025, 1, 11)
    assert last_day(START, 99, schedule) == date(2025, 1, 10)
    assert last_day(START, 105, schedule) == date(2025, 1, 12)


def test_the_order_in_which_periods_are_stated_does_not_matter():
    schedule = [RunPeriod(date(2025, 1, 11), 5.0), RunPeriod(None, 10.0)]

    assert last_day(START, 105, schedule) == date(2025, 1, 12)


def test_a_time_without_hours_uses_nothing():
    schedule = [RunPeriod(None, 10.0), RunPeriod(date(2025, 1, 11), 0.0), RunPeriod(date(2025, 6, 1), 10.0)]

    assert last_day(START, 100, schedule) == date(2025, 6, 1)
    assert last_day(START, 110, schedule) == date(2025, 6, 2)


@pytest.mark.parametrize(
    ("start", "schedule"),
    [
        (START, [RunPeriod(None, 0.0)]),
        (START, []),
        (START, [RunPeriod(date(2025, 1, 2), 12.0)]),
        (None, [RunPeriod(None, 12.0)]),
    ],
)
def test_hours_that_never_end_or_cannot_be_counted_have_no_date(start, schedule):
    assert last_day(start, 100, schedule) is None


@pytest.mark.parametrize(("remaining_h", "expected"), [(-5, START), (-ROUNDING_H, None), (0, None), (5, None)])
def test_only_hours_that_are_passed_already_end_where_nothing_is_run(remaining_h, expected):
    assert last_day(START, remaining_h, [RunPeriod(None, 0.0)]) == expected


def test_a_period_of_a_single_day_uses_its_own_hours():
    schedule = [RunPeriod(None, 0.0), RunPeriod(date(2025, 1, 11), 10.0), RunPeriod(date(2025, 1, 12), 0.0)]

    assert last_day(START, 9, schedule) == date(2025, 1, 11)
    assert last_day(START, 10, schedule) is None


@pytest.mark.parametrize(("days", "expected"), [(MOST_DAYS - 1, MOST_DAYS - 1), (MOST_DAYS, MOST_DAYS), (10**12, MOST_DAYS)])
def test_hours_for_ages_have_a_date_of_the_calendar(days, expected):
    assert last_day(START, days, [RunPeriod(None, 1.0)]) == START + timedelta(days=expected)


def test_the_hours_that_are_asked_about_stay_as_they_were():
    remaining_h = np.array([105.0])

    days_until_used(as_days([START]), remaining_h, laid_out([[RunPeriod(None, 10.0), RunPeriod(date(2025, 1, 11), 5.0)]], [START]))

    assert remaining_h.tolist() == [105.0]


def test_a_period_that_begins_on_the_day_itself_reaches_back_far_enough():
    assert last_day(START, 24, [RunPeriod(START, 12.0)]) == date(2025, 1, 3)


def test_a_seasonal_schedule_turns_every_year():
    # From 1 January: 90 days at 8 h, 183 days at 14 h, 92 days at 8 h make 4018 h a year.
    schedule = [RunPeriod(None, None, SUMMER_AND_WINTER)]

    assert last_day(START, 720, schedule) == date(2025, 4, 1)
    assert last_day(START, 4018, schedule) == date(2026, 1, 1)
    assert last_day(START, 2 * 4018 + 8, schedule) == date(2027, 1, 2)


def test_a_season_that_turns_on_leap_day_turns_on_the_first_of_march_in_other_years():
    schedule = [RunPeriod(None, None, (Season(1, 1, 0.0), Season(2, 29, 10.0)))]

    assert last_day(date(2025, 2, 1), 5, schedule) == date(2025, 3, 1)
    assert last_day(date(2024, 2, 1), 5, schedule) == date(2024, 2, 29)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.dates(date(2023, 1, 1), date(2027, 12, 31)), st.integers(0, 12_000).map(lambda quarters: quarters / 4), SCHEDULES)
def test_the_date_is_the_one_that_counting_day_by_day_finds(start, remaining_h, schedule):
    found = last_day(start, remaining_h, schedule)

    if hours_on(start, schedule) is None:
        assert found is None
        return
    expected = counted_by_hand(start, remaining_h, schedule)
    if expected is None:
        assert found is None or found >= start + timedelta(days=REACH_DAYS)
    else:
        assert found == expected


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.dates(date(2023, 1, 1), date(2027, 12, 31)), st.integers(0, 800), SCHEDULES)
def test_the_hours_run_are_the_sum_of_each_day(start, days, schedule):
    until = np.datetime64(start + timedelta(days=days), "D")

    found = hours_run(as_days([start]), until, laid_out([schedule], [start]))[0]

    if hours_on(start, schedule) is None:
        assert np.isnan(found)
    else:
        each_day = (hours_on(start + timedelta(days=number), schedule) or 0.0 for number in range(days))
        assert found == pytest.approx(sum(each_day))


def test_no_hours_are_run_before_the_start():
    assert hours_run(as_days([START]), np.datetime64("2024-06-01", "D"), laid_out([[RunPeriod(None, 12.0)]], [START]))[0] == 0


def laid_out_for(schedule: Sequence[RunPeriod], *, anchor: date) -> list[tuple[date | None, float]]:
    pieces = laid_out([schedule], [anchor])
    return [(as_date_or_none(on), float(hours)) for on, hours in zip(pieces.starts[0], pieces.hours[0], strict=True)]


def test_seasons_are_laid_out_from_the_anchor_until_the_next_period():
    schedule = [RunPeriod(None, None, SUMMER_AND_WINTER), RunPeriod(date(2026, 4, 1), 5.0)]

    assert laid_out_for(schedule, anchor=START) == [
        (START, 8.0),
        (date(2025, 4, 1), 14.0),
        (date(2025, 10, 1), 8.0),
        (date(2026, 4, 1), 5.0),
    ]


def test_seasons_go_on_until_the_next_period_however_far_it_is():
    schedule = [RunPeriod(None, None, SUMMER_AND_WINTER), RunPeriod(date(2125, 1, 1), 5.0)]

    assert laid_out_for(schedule, anchor=START)[-2:] == [(date(2124, 10, 1), 8.0), (date(2125, 1, 1), 5.0)]


def test_a_season_that_turns_on_the_anchor_is_laid_out_once():
    found = laid_out_for([RunPeriod(None, None, SUMMER_AND_WINTER)], anchor=date(2025, 4, 1))

    assert found[:2] == [(date(2025, 4, 1), 14.0), (date(2025, 10, 1), 8.0)]


@pytest.mark.parametrize(("anchor", "last"), [(START, date(2025 + HORIZON_YEARS, 10, 1)), (date(9990, 1, 1), date(9999, 10, 1))])
def test_seasons_are_laid_out_for_a_lifetime_and_not_beyond_the_calendar(anchor, last):
    assert laid_out_for([RunPeriod(None, None, SUMMER_AND_WINTER)], anchor=anchor)[-1] == (last, 8.0)


def test_without_items_there_are_no_pieces():
    assert laid_out([], []).starts.shape == (0, 0)


def test_every_schedule_needs_its_anchor():
    with pytest.raises(ValueError, match="shorter"):
        laid_out([[], []], [START])


def test_items_with_fewer_pieces_are_judged_beside_items_with_more():
    schedules = [[RunPeriod(None, 12.0)], [RunPeriod(None, None, SUMMER_AND_WINTER)], []]
    pieces = laid_out(schedules, [START] * 3)

    found = days_until_used(as_days([START] * 3), np.full(3, 720.0), pieces)

    assert [as_date_or_none(day) for day in found] == [date(2025, 3, 2), date(2025, 4, 1), None]


def test_constant_hours_are_one_piece_that_holds_since_ever():
    found = days_until_used(as_days([START] * 3), np.full(3, 48.0), constant(np.array([12.0, np.nan, 0.0])))

    assert [as_date_or_none(day) for day in found] == [date(2025, 1, 5), None, None]


def test_no_hours_known_are_no_hours_run_of_which_none_are():
    found = hours_run(as_days([START] * 3), np.datetime64("2025-01-11", "D"), constant(np.array([12.0, np.nan, 0.0])))

    np.testing.assert_array_equal(found, [120.0, np.nan, 0.0])


@pytest.mark.parametrize(
    ("on", "words"),
    [
        (date(2024, 12, 31), "no schedule"),
        (date(2025, 1, 1), "12 h/day"),
        (date(2025, 5, 31), "12 h/day"),
        (date(2025, 6, 1), "seasonal, 14 h/day"),
        (date(2025, 10, 1), "seasonal, 8 h/day"),
        (date(2026, 3, 31), "seasonal, 8 h/day"),
    ],
)
def test_a_schedule_is_said_as_it_holds_on_the_day(on, words):
    schedule = [RunPeriod(date(2025, 6, 1), None, SUMMER_AND_WINTER), RunPeriod(date(2025, 1, 1), 12.0)]

    assert schedule_in_words(schedule, on) == words


@pytest.mark.parametrize(
    ("readings", "installed_on", "expected"),
    [
        ([], date(2025, 1, 1), None),
        ([(date(2025, 2, 1), 1000.0)], date(2025, 1, 1), None),
        ([(date(2025, 1, 11), 1001.0)], None, date(2025, 1, 11)),
        ([(date(2025, 1, 11), 2000.0)], date(2025, 1, 1), date(2025, 1, 6)),
        ([(date(2025, 1, 11), 900.0), (date(2025, 1, 21), 1100.0)], None, date(2025, 1, 16)),
        ([(date(2025, 1, 11), 1000.0), (date(2025, 1, 21), 1100.0)], None, date(2025, 1, 11)),
        ([(date(2025, 1, 11), 900.0), (date(2025, 1, 21), 1100.0), (date(2025, 1, 31), 2000.0)], None, date(2025, 1, 16)),
        ([(date(2025, 1, 11), 900.0), (date(2025, 1, 11), 1100.0)], date(2025, 1, 1), date(2025, 1, 11)),
    ],
)
def test_a_limit_passed_between_two_readings_is_dated_between_them(readings, installed_on, expected):
    assert passed_on(readings, limit_h=1000.0, installed_on=installed_on) == expected
