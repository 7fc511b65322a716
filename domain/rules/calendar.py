"""Dates as people and statutes count them: calendar months with the last-day rule, days at a site, elapsed hours.

Every array here is ``datetime64[D]``; a missing date is NaT and stays NaT.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import numpy.typing as npt
from dateutil.rrule import rrulestr

from domain.errors import Unfit

Days = npt.NDArray[np.datetime64]
"""Dates, ``datetime64[D]``."""

NO_DAY = np.datetime64("NaT", "D")
"""A date that is not known, or does not exist."""


def zone_named(name: str) -> ZoneInfo:
    """Return the IANA time zone.

    Raises:
        Unfit: No such zone. Abbreviations such as ``EST`` are no places, and refused.
    """
    if name not in _zone_names():
        raise Unfit(f"{name!r} is no IANA zone such as Europe/Lisbon", code="zone-unknown")
    return ZoneInfo(name)


@cache
def _zone_names() -> frozenset[str]:
    """Return the names of places, and UTC; not those that only abbreviate an offset."""
    return frozenset(name for name in available_timezones() if "/" in name or name == "UTC")


def date_at_site(instant: datetime, zone: str) -> date:
    """Return the calendar date that people at the site have at ``instant`` (aware)."""
    if instant.tzinfo is None:
        raise ValueError("an instant needs its offset")
    return instant.astimezone(zone_named(zone)).date()


def instant_at_site(local: datetime, zone: str) -> datetime:
    """Return the UTC instant of a wall-clock time at the site.

    A time that the spring change skips is read with the offset before the gap; a time that autumn repeats is its first occurrence.

    Source:
        RFC 5545, section 3.3.5.
    """
    return local.replace(tzinfo=zone_named(zone), fold=0).astimezone(UTC)


def elapsed_hours(start_local: datetime, end_local: datetime, *, zone: str) -> float:
    """Return the hours that really pass between two wall-clock times at the site [h].

    From 22:00 to 06:00 is seven hours on the night the clocks go forward and nine on the night they go back.
    """
    return (instant_at_site(end_local, zone) - instant_at_site(start_local, zone)) / timedelta(hours=1)


def occurrences(rule: str, *, start_local: datetime, zone: str) -> list[datetime]:
    """Return the UTC instants of a recurrence rule whose wall-clock time is kept at the site.

    Source:
        RFC 5545, section 3.3.10.
    """
    local = rrulestr(rule, dtstart=start_local)
    return [instant_at_site(one, zone) for one in local]


def occurrence_dates(rule: str, *, start_on: date) -> list[date]:
    """Return the dates of a recurrence rule; a date that a month does not have is left out.

    Source:
        RFC 5545, section 3.3.10.
    """
    return [one.date() for one in rrulestr(rule, dtstart=datetime(start_on.year, start_on.month, start_on.day))]  # noqa: DTZ001 - dates only


def months_after(starts: Days, months: npt.NDArray[np.int64]) -> Days:
    """Return each date ``months`` calendar months later, or earlier where negative.

    The last-day rule: a day that the target month does not have becomes that month's last day, so 31 January and one month is
    28 or 29 February.
    """
    month = starts.astype("datetime64[M]")
    day_of_month = starts - month.astype("datetime64[D]")
    target = month + months.astype("timedelta64[M]")
    last_day = (target + np.timedelta64(1, "M")).astype("datetime64[D]") - np.timedelta64(1, "D")
    result: Days = np.minimum(target.astype("datetime64[D]") + day_of_month, last_day)
    return result


def add_months(start: date, months: int) -> date:
    """Return the date ``months`` calendar months later by the last-day rule; see ``months_after``."""
    return as_date(months_after(as_days([start]), np.array([months]))[0])


def next_in_series(first: date, *, every_months: int, after: date) -> date:
    """Return the first day after a day in a series that recurs every so many months from its ``first`` day, by the last-day rule.

    Months are counted from the first day, so that a series from the 31st keeps to the ends of months.
    """
    if after < first:
        return first
    steps = full_months_between(first, after) // every_months
    found = add_months(first, steps * every_months)
    return found if found > after else add_months(first, (steps + 1) * every_months)


def full_months_between(start: date, end: date) -> int:
    """Return how many whole calendar months have passed from ``start`` to ``end``, never negative."""
    months = max(0, (end.year - start.year) * 12 + end.month - start.month)
    return months - 1 if months and add_months(start, months) > end else months


def as_days(dates: Sequence[date | None]) -> Days:
    """Return dates as an array; ``None`` becomes NaT."""
    return np.array(dates, dtype="datetime64[D]")


def as_date(day: np.datetime64) -> date:
    """Return one array element as a date.

    Raises:
        ValueError: The element is NaT.
    """
    found = day.astype("datetime64[D]").item()
    if not isinstance(found, date):
        raise ValueError("there is no date here")  # noqa: TRY004 - NaT is a value
    return found


def as_date_or_none(day: np.datetime64) -> date | None:
    """Return one array element as a date, ``None`` for NaT."""
    return None if np.isnat(day) else as_date(day)


def in_words(day: date) -> str:
    """Return the date with its month in letters, so that no reader takes the day for the month: ``2 April 2026``."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
