"""Dates as people and statutes count them."""

from __future__ import annotations

from calendar import monthrange
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.errors import Unfit
from domain.rules.calendar import (
    add_months,
    as_date,
    as_date_or_none,
    as_days,
    date_at_site,
    elapsed_hours,
    full_months_between,
    in_words,
    instant_at_site,
    months_after,
    next_in_series,
    occurrence_dates,
    occurrences,
    zone_named,
)

DAYS = st.dates(date(1950, 1, 1), date(2150, 12, 31))
MONTHS = st.integers(-240, 1200)
ZONES = ("Europe/Lisbon", "America/New_York", "Pacific/Auckland", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC")
SOME = settings(max_examples=100, deadline=None, derandomize=True)


def local(text: str) -> datetime:
    return datetime.fromisoformat(text)


@pytest.mark.parametrize(
    ("start", "months", "expected"),
    [
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2024, 1, 30), 1, date(2024, 2, 29)),
        (date(2024, 1, 28), 1, date(2024, 2, 28)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2025, 2, 28), 1, date(2025, 3, 28)),
        (date(2025, 3, 31), 1, date(2025, 4, 30)),
        (date(2025, 12, 31), 2, date(2026, 2, 28)),
        (date(2025, 12, 15), 1, date(2026, 1, 15)),
        (date(2025, 3, 31), -1, date(2025, 2, 28)),
        (date(2025, 1, 15), -1, date(2024, 12, 15)),
        (date(2025, 1, 15), 0, date(2025, 1, 15)),
        (date(1900, 1, 31), 1, date(1900, 2, 28)),
        (date(1969, 12, 31), 2, date(1970, 2, 28)),
    ],
)
def test_a_day_that_the_target_month_lacks_becomes_its_last_day(start, months, expected):
    assert add_months(start, months) == expected


@SOME
@given(DAYS, MONTHS)
def test_months_never_lead_into_a_neighbouring_month(start, months):
    found = add_months(start, months)

    assert found.year * 12 + found.month == start.year * 12 + start.month + months
    assert found.day == min(start.day, monthrange(found.year, found.month)[1])


@SOME
@given(DAYS, DAYS, MONTHS)
def test_months_keep_the_order_of_dates(one, other, months):
    earlier, later = sorted((one, other))

    assert add_months(earlier, months) <= add_months(later, months)


@SOME
@given(DAYS, MONTHS)
def test_a_date_that_every_month_has_comes_back(start, months):
    kept = start.replace(day=min(start.day, 28))

    assert add_months(add_months(kept, months), -months) == kept


@SOME
@given(DAYS, st.integers(0, 1200))
def test_whole_months_passed_are_the_months_added(start, months):
    end = add_months(start, months)

    assert full_months_between(start, end) == months
    assert full_months_between(start, end - timedelta(days=1)) <= months
    assert full_months_between(start, end + timedelta(days=1)) == full_months_between(start, end)


@pytest.mark.parametrize(
    ("end", "months"),
    [
        (date(2024, 12, 1), 0),
        (date(2025, 3, 1), 0),
        (date(2025, 3, 31), 0),
        (date(2025, 4, 1), 1),
        (date(2026, 2, 28), 11),
        (date(2026, 3, 1), 12),
    ],
)
def test_a_month_has_passed_on_its_day_and_not_the_day_before(end, months):
    assert full_months_between(date(2025, 3, 1), end) == months


@pytest.mark.parametrize(
    ("first", "every_months", "after", "expected"),
    [
        (date(2025, 1, 15), 6, date(2025, 1, 14), date(2025, 1, 15)),
        (date(2025, 1, 15), 6, date(2025, 1, 15), date(2025, 7, 15)),
        (date(2025, 1, 15), 6, date(2025, 7, 14), date(2025, 7, 15)),
        (date(2025, 1, 15), 6, date(2025, 7, 15), date(2026, 1, 15)),
        (date(2025, 1, 31), 1, date(2025, 2, 27), date(2025, 2, 28)),
        (date(2025, 1, 31), 1, date(2025, 2, 28), date(2025, 3, 31)),
        (date(2024, 2, 29), 12, date(2025, 2, 28), date(2026, 2, 28)),
        (date(2024, 2, 29), 12, date(2027, 12, 31), date(2028, 2, 29)),
    ],
)
def test_a_series_keeps_to_the_day_that_it_began_on(first, every_months, after, expected):
    assert next_in_series(first, every_months=every_months, after=after) == expected


@given(st.dates(date(2000, 1, 1), date(2050, 12, 31)), st.integers(1, 36), st.integers(0, 20))
def test_a_series_leaves_no_time_out_and_none_comes_twice(first, every_months, steps):
    found = first
    for _ in range(steps):
        found = next_in_series(first, every_months=every_months, after=found)

    assert found == add_months(first, steps * every_months)


def test_a_column_of_dates_is_counted_like_each_of_its_dates():
    starts = [date(2025, 1, 31), None, date(2024, 2, 29)]

    found = months_after(as_days(starts), np.array([1, 5, 12]))

    assert [as_date_or_none(day) for day in found] == [date(2025, 2, 28), None, date(2025, 2, 28)]


def test_a_missing_date_is_no_date():
    with pytest.raises(ValueError, match=r"^there is no date here$"):
        as_date(np.datetime64("NaT", "D"))


@pytest.mark.parametrize(
    ("instant", "zone", "expected"),
    [
        ("2026-03-01T12:00:00+00:00", "Pacific/Auckland", date(2026, 3, 2)),
        ("2026-03-01T10:59:59+00:00", "Pacific/Auckland", date(2026, 3, 1)),
        ("2026-03-01T11:00:00+00:00", "Pacific/Auckland", date(2026, 3, 2)),
        ("2026-03-01T04:59:59+00:00", "America/New_York", date(2026, 2, 28)),
        ("2026-03-01T05:00:00+00:00", "America/New_York", date(2026, 3, 1)),
        ("2026-07-01T23:30:00+00:00", "Europe/Lisbon", date(2026, 7, 2)),
        ("2026-03-01T23:30:00+05:00", "UTC", date(2026, 3, 1)),
    ],
)
def test_the_date_at_a_site_turns_at_its_own_midnight(instant, zone, expected):
    assert date_at_site(local(instant), zone) == expected


def test_an_instant_without_offset_has_no_date_at_a_site():
    with pytest.raises(ValueError, match=r"^an instant needs its offset$"):
        date_at_site(local("2026-03-01T12:00:00"), "UTC")


@pytest.mark.parametrize("name", ["", "EST", "GMT", "Europe/Atlantis", "Europe/", "../UTC", "/etc/passwd", "Europe/Lis\0bon"])
def test_what_is_no_zone_is_refused(name):
    with pytest.raises(Unfit) as refused:
        zone_named(name)

    assert (str(refused.value), refused.value.code) == (f"{name!r} is no IANA zone such as Europe/Lisbon", "zone-unknown")


@pytest.mark.parametrize(
    ("wall_clock", "zone", "expected"),
    [
        ("2026-03-29T00:59:59", "Europe/Lisbon", "2026-03-29T00:59:59+00:00"),
        ("2026-03-29T01:30:00", "Europe/Lisbon", "2026-03-29T01:30:00+00:00"),
        ("2026-03-29T02:00:00", "Europe/Lisbon", "2026-03-29T01:00:00+00:00"),
        ("2026-10-25T01:30:00", "Europe/Lisbon", "2026-10-25T00:30:00+00:00"),
        ("2026-10-25T02:00:00", "Europe/Lisbon", "2026-10-25T02:00:00+00:00"),
    ],
)
def test_a_skipped_time_is_read_before_the_gap_and_a_repeated_one_is_the_first(wall_clock, zone, expected):
    assert instant_at_site(local(wall_clock), zone) == local(expected)
    assert instant_at_site(local(wall_clock).replace(fold=1), zone) == local(expected)


def test_an_instant_is_told_in_utc_wherever_the_service_stands():
    assert instant_at_site(local("2026-07-01T12:00:00"), "Europe/Lisbon").tzinfo is UTC


@SOME
@given(st.datetimes(datetime(1990, 1, 1), datetime(2037, 12, 31)), st.sampled_from(ZONES))  # noqa: DTZ001 - made aware below
def test_the_wall_clock_of_an_instant_leads_back_to_that_wall_clock(moment, zone):
    wall_clock = moment.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0)

    assert instant_at_site(wall_clock, zone).astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0) == wall_clock


@pytest.mark.parametrize(
    ("start", "end", "hours"),
    [
        ("2026-03-27T22:00", "2026-03-28T06:00", 8.0),
        ("2026-03-28T22:00", "2026-03-29T06:00", 7.0),
        ("2026-10-24T22:00", "2026-10-25T06:00", 9.0),
        ("2026-03-28T06:00", "2026-03-27T22:00", -8.0),
    ],
)
def test_hours_are_those_that_really_pass(start, end, hours):
    assert elapsed_hours(local(start), local(end), zone="Europe/Lisbon") == hours


def test_a_recurrence_keeps_the_wall_clock_when_the_clocks_go_back():
    found = occurrences("FREQ=DAILY;COUNT=2", start_local=local("2026-10-24T07:30:00"), zone="Europe/Lisbon")

    assert found == [local("2026-10-24T06:30:00+00:00"), local("2026-10-25T07:30:00+00:00")]


def test_a_recurrence_leaves_out_dates_that_a_year_lacks():
    found = occurrence_dates("FREQ=YEARLY;COUNT=2", start_on=date(2024, 2, 29))

    assert found == [date(2024, 2, 29), date(2028, 2, 29)]


def test_a_date_in_words_names_its_month():
    assert in_words(date(2026, 4, 2)) == "2 April 2026"
