"""When running hours are used up: dated hours a day, seasonal where need be, counted in whole days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import zip_longest
from math import floor

import numpy as np
import numpy.typing as npt

from domain.rules.calendar import NO_DAY, Days

LONG_AGO = date(1, 1, 1)
"""The start of a schedule that holds since installation, whenever that was."""
HORIZON_YEARS = 60
"""A seasonal schedule is laid out this far; after that the last season's hours go on."""
MOST_DAYS = 500_000
"""Hours that last longer are said to last this long, so that every date is one of the calendar [days]."""
ROUNDING_H = 1e-6
"""Hours this close to a limit have reached it exactly; absorbs binary fractions of hours a day [h]."""


@dataclass(frozen=True, slots=True)
class Season:
    """Hours a day from a month and day on, every year, until the next season of the same schedule begins."""

    month: int
    day: int
    hours_per_day: float


@dataclass(frozen=True, slots=True)
class RunPeriod:
    """Hours a day from ``starts_on`` on (``None``: since installation) until the next period; constant, or by season."""

    starts_on: date | None
    hours_per_day: float | None = None
    seasons: tuple[Season, ...] = ()


@dataclass(frozen=True, slots=True)
class Pieces:
    """The run schedules of n items, laid out as at most k pieces of constant hours a day.

    ``starts`` is ``datetime64[D]`` (n, k), ascending in a row and NaT where an item has fewer pieces; ``hours`` is float (n, k) [h/day].
    A piece lasts until the next begins, the last one for ever.
    """

    starts: Days
    hours: npt.NDArray[np.float64]


def days_until_used(starts: Days, remaining_h: npt.NDArray[np.float64], pieces: Pieces) -> Days:
    """Return for each item the last date on which its remaining hours are not yet passed, counting from ``starts`` in whole days.

    Hours that are passed already end on the day of the start, whatever is run after it. NaT where the schedule does not reach back to
    the start, or where the hours are never used up.
    """
    due = np.full(starts.shape, NO_DAY)
    left = remaining_h.copy()
    covered = np.zeros(starts.shape, dtype=bool)
    width = pieces.starts.shape[1]
    for k in range(width):
        begins = np.maximum(starts, pieces.starts[:, k])
        if k + 1 < width:
            ends = pieces.starts[:, k + 1]
            lasts = np.where(np.isnat(ends), np.inf, np.maximum((ends - begins).astype(np.float64), 0.0))
        else:
            lasts = np.full(starts.shape, np.inf)
        present = ~np.isnat(begins)
        covered |= present & (pieces.starts[:, k] <= starts)
        rate = pieces.hours[:, k]
        with np.errstate(divide="ignore", invalid="ignore"):
            whole_days = np.maximum(np.floor((left + ROUNDING_H) / rate), 0.0)
        ends_here = present & covered & np.isnat(due) & (whole_days < lasts)
        due[ends_here] = begins[ends_here] + _most_days(whole_days[ends_here])
        ends_later = present & np.isfinite(lasts)
        left[ends_later] -= rate[ends_later] * lasts[ends_later]
    return due


def passed_on(readings: Sequence[tuple[date, float]], *, limit_h: float, installed_on: date | None) -> date | None:
    """Return the last date on which the limit was not yet passed, by the readings of hours run since installation, oldest first.

    Between the last reading within the limit (or installation, at no hours) and the first above it the hours are taken as even; the day
    of the first above it where nothing is known before. ``None`` where no reading is above the limit.
    """
    above = next((one for one in readings if one[1] > limit_h), None)
    if above is None:
        return None
    within = [one for one in readings if one[0] <= above[0] and one[1] <= limit_h]
    known = within[-1] if within else (installed_on, 0.0)
    if known[0] is None:
        return above[0]
    share = (limit_h - known[1]) / (above[1] - known[1])
    return known[0] + timedelta(days=floor((above[0] - known[0]).days * share + ROUNDING_H))


def hours_run(starts: Days, until: np.datetime64, pieces: Pieces) -> npt.NDArray[np.float64]:
    """Return the hours that each schedule gives from ``starts`` to the beginning of ``until`` [h]; NaN where it does not reach back."""
    total = np.zeros(starts.shape)
    covered = np.zeros(starts.shape, dtype=bool)
    width = pieces.starts.shape[1]
    for k in range(width):
        begins = np.maximum(starts, pieces.starts[:, k])
        covered |= ~np.isnat(begins) & (pieces.starts[:, k] <= starts)
        ends = np.full(starts.shape, until)
        if k + 1 < width:
            following = pieces.starts[:, k + 1]
            ends = np.where(np.isnat(following), ends, np.minimum(ends, following))
        lasts = np.maximum((ends - begins).astype(np.float64), 0.0)
        total += np.where(np.isnat(begins), 0.0, lasts * np.nan_to_num(pieces.hours[:, k]))
    return np.where(covered, total, np.nan)


def laid_out(schedules: Sequence[Sequence[RunPeriod]], anchors: Sequence[date | None]) -> Pieces:
    """Return the schedules of n items as pieces; seasons are laid out from each item's anchor date on."""
    rows = [_pieces_of(periods, anchor) for periods, anchor in zip(schedules, anchors, strict=True)]
    width = max((len(row) for row in rows), default=0)
    starts = np.full((len(rows), width), NO_DAY)
    hours = np.full((len(rows), width), np.nan)
    for i, row in enumerate(rows):
        for k, (begins, hours_per_day) in enumerate(row):
            starts[i, k] = np.datetime64(begins)
            hours[i, k] = hours_per_day
    return Pieces(starts, hours)


def constant(hours_per_day: npt.NDArray[np.float64]) -> Pieces:
    """Return the pieces of items that run the same hours every day since installation; NaN where no schedule is known."""
    starts = np.where(np.isnan(hours_per_day), NO_DAY, np.datetime64(LONG_AGO))
    return Pieces(starts[:, np.newaxis], hours_per_day[:, np.newaxis])


def schedule_in_words(periods: Sequence[RunPeriod], on: date) -> str:
    """Return the schedule that holds ``on`` a date as people write it: ``12 h/day``, or ``seasonal, 12 h/day`` with that date's hours."""
    held = [one for one in _ordered(periods) if (one.starts_on or LONG_AGO) <= on]
    if not held:
        return "no schedule"
    period = held[-1]
    if period.hours_per_day is not None:
        return f"{period.hours_per_day:g} h/day"
    return f"seasonal, {_season_on(period.seasons, on):g} h/day"


def _most_days(whole_days: npt.NDArray[np.float64]) -> npt.NDArray[np.timedelta64]:
    return np.minimum(whole_days, MOST_DAYS).astype("timedelta64[D]")


def _ordered(periods: Sequence[RunPeriod]) -> list[RunPeriod]:
    return sorted(periods, key=lambda one: one.starts_on or LONG_AGO)


def _pieces_of(periods: Sequence[RunPeriod], anchor: date | None) -> list[tuple[date, float]]:
    ordered = _ordered(periods)
    pieces: list[tuple[date, float]] = []
    for period, following in zip_longest(ordered, ordered[1:]):
        begins = period.starts_on or LONG_AGO
        if period.hours_per_day is not None:
            pieces.append((begins, period.hours_per_day))
        elif anchor is not None:
            ends = following.starts_on if following else None
            pieces.extend(_seasonal_pieces(period.seasons, begins=begins, ends=ends, anchor=anchor))
    return pieces


def _seasonal_pieces(seasons: tuple[Season, ...], *, begins: date, ends: date | None, anchor: date) -> list[tuple[date, float]]:
    first = max(begins, anchor)
    last_year = ends.year if ends else first.year + HORIZON_YEARS
    pieces = [(first, _season_on(seasons, first))]
    for year in range(first.year, min(last_year, date.max.year) + 1):
        for season in sorted(seasons, key=lambda one: (one.month, one.day)):
            turns = _turns_on(season, year)
            if turns > first and (ends is None or turns < ends):
                pieces.append((turns, season.hours_per_day))
    return pieces


def _turns_on(season: Season, year: int) -> date:
    """Return the date in ``year``; 29 February is 1 March in a common year."""
    try:
        return date(year, season.month, season.day)
    except ValueError:
        return date(year, season.month, season.day - 1) + timedelta(days=1)


def _season_on(seasons: tuple[Season, ...], on: date) -> float:
    """Return the hours a day of the season that holds ``on``; before the first turn of a year the last season still holds."""
    ordered = sorted(seasons, key=lambda one: (one.month, one.day))
    holding = [one for one in ordered if _turns_on(one, on.year) <= on]
    return (holding or ordered)[-1].hours_per_day
