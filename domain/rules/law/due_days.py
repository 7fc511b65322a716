"""When what a requirement asks for again and again is due: returns after each period, and what recurs from a first day.

Of each obligation two days matter: the latest that has come, which may have been missed, and the next.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from domain.rules.calendar import add_months
from domain.rules.law.requirements import Obligation, Period
from domain.rules.law.spans import Span, Unit, WorkingDays, day_after, day_before

USUAL_LEAD_DAYS = 14
"""How long before its day something is told whose requirement says nothing of that, where it does not recur more often."""
_MONTHS_OF = {Period.CALENDAR_YEAR: 12, Period.CALENDAR_QUARTER: 3}
_LEAST_DAYS_OF = {Unit.MONTHS: 28, Unit.DAYS: 1, Unit.WORKING_DAYS: 1}
_HOURS_OF_DAY = 24


@dataclass(frozen=True, slots=True)
class DueDay:
    """That an obligation is due: ``occurrence`` names the period, or the first day and which of its recurrences this is."""

    occurrence: str
    due_on: date
    tell_from: date


def returns_due(obligation: Obligation, *, today: date, since: date | None, working: WorkingDays | None = None) -> list[DueDay]:
    """Return when a return is due, the latest day that has come before the next.

    A period that ended before ``since``, the first day on which there was anything to tell of, has none.

    Raises:
        ValueError: The obligation is not due after a period.
    """
    if obligation.period is None or obligation.due_month is None or obligation.due_day is None:
        raise ValueError(f"{obligation.code} is no return")
    months, month, day = _MONTHS_OF[obligation.period], obligation.due_month, obligation.due_day
    found = [
        _told(obligation, name, _day_of_month(last + timedelta(days=1), month=month, day=day), usual_days=USUAL_LEAD_DAYS, working=working)
        for name, last in _periods(months, around=today)
        if since is None or last >= since
    ]
    return _latest_and_next(found, today=today)


def recurring_due(
    obligation: Obligation, *, first_on: date, today: date, since: date | None, working: WorkingDays | None = None
) -> list[DueDay]:
    """Return when something is due that recurs from a first day, the latest day that has come before the next.

    Nothing is due on the first day itself, nor on a day before ``since``. Months are counted from the first day, so that a series from the
    31st keeps to the ends of months; hours as the days that they fill. What recurs often is told shortly before its day, at most a quarter
    of the way.

    Raises:
        ValueError: The obligation does not recur.
    """
    if obligation.every is None:
        raise ValueError(f"{obligation.code} does not recur")
    every = _in_days(obligation.every)

    def due_on(time: int) -> date:
        return day_after(first_on, Span(every.number * time, every.unit), working=working)

    gone_by = bisect_right(range(1, _most_times(every, first_on, today) + 1), today, key=due_on)
    usual = min(USUAL_LEAD_DAYS, (due_on(gone_by + 1) - due_on(gone_by)).days // 4)
    found = [
        _told(obligation, f"{first_on.isoformat()}/{time}", due_on(time), usual_days=usual, working=working)
        for time in (gone_by, gone_by + 1)
        if time > 0
    ]
    return [one for one in found if since is None or one.due_on >= since]


def _told(obligation: Obligation, occurrence: str, due_on: date, *, usual_days: int, working: WorkingDays | None) -> DueDay:
    if obligation.lead is not None:
        return DueDay(occurrence, due_on, day_before(due_on, obligation.lead, working=working))
    return DueDay(occurrence, due_on, due_on - timedelta(days=usual_days))


def _periods(months: int, *, around: date) -> Iterator[tuple[str, date]]:
    """Yield the name and the last day of each period from two years before a day to the end of its year."""
    for year in (around.year - 2, around.year - 1, around.year):
        for number in range(1, 12 // months + 1):
            name = str(year) if months == 12 else f"{year}-Q{number}"
            yield name, add_months(date(year, 1, 1), number * months) - timedelta(days=1)


def _day_of_month(after: date, *, month: int, day: int) -> date:
    """Return a day of the ``month``-th month from the first day after a period; one that the month does not have is its last."""
    first = add_months(after, month - 1)
    return min(first + timedelta(days=day - 1), add_months(first, 1) - timedelta(days=1))


def _latest_and_next(found: list[DueDay], *, today: date) -> list[DueDay]:
    gone_by = [one for one in found if one.due_on <= today]
    to_come = [one for one in found if one.due_on > today]
    return [*gone_by[-1:], *to_come[:1]]


def _most_times(every: Span, first_on: date, today: date) -> int:
    """Return how often something can have recurred by a day at the very most."""
    return max(0, (today - first_on).days) // (every.number * _LEAST_DAYS_OF[every.unit]) + 1


def _in_days(every: Span) -> Span:
    return Span(-(-every.number // _HOURS_OF_DAY), Unit.DAYS) if every.unit is Unit.HOURS else every
