"""Spans of time as statutes say them, and the days that they lead to.

A document is good through the day that its span leads to. Days of months are clamped to the month's last. Hours are elapsed hours.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum

from domain.errors import Unfit
from domain.rules.calendar import add_months, date_at_site, instant_at_site

_WEEKEND = frozenset((5, 6))
_DAY = timedelta(days=1)
_DURATION = re.compile(
    r"P(?:(?P<years>[0-9]{1,3})Y(?:(?P<and_months>[0-9]{1,2})M)?|(?P<months>[0-9]{1,4})M|(?P<weeks>[0-9]{1,4})W|(?P<days>[0-9]{1,5})D"
    r"|T(?P<hours>[0-9]{1,5})H)"
)


class Unit(StrEnum):
    """What a span is counted in. A working day is neither of the jurisdiction's days of rest nor one of its holidays."""

    HOURS = "hours"
    DAYS = "days"
    WORKING_DAYS = "working_days"
    MONTHS = "months"


@dataclass(frozen=True, slots=True)
class Span:
    """A number of hours, days, working days or calendar months."""

    number: int
    unit: Unit


@dataclass(frozen=True, slots=True)
class WorkingDays:
    """On which days offices work: which weekdays are days of rest (Monday is 0), and the holidays."""

    rest: frozenset[int] = _WEEKEND
    holidays: frozenset[date] = frozenset()

    def is_one(self, day: date) -> bool:
        """Return whether a day is a working day."""
        return day.weekday() not in self.rest and day not in self.holidays

    def after(self, day: date, number: int) -> date:
        """Return the ``number``-th working day after a day; before it, where the number is negative.

        Raises:
            ValueError: No weekday is one of work.
        """
        if len(self.rest) >= 7:
            raise ValueError("a week without working days leads nowhere")
        step = _DAY if number >= 0 else -_DAY
        left = abs(number)
        while left:
            day += step
            left -= self.is_one(day)
        return day


def day_after(start: date, span: Span, *, working: WorkingDays | None = None) -> date:
    """Return the day that a span leads to from a day. Hours are counted as the days that they fill, the last one begun being full.

    Source:
        Convention on dates as data: calendar months with the last-day rule; a span of days does not count its first day.
    """
    match span.unit:
        case Unit.MONTHS:
            return add_months(start, span.number)
        case Unit.DAYS:
            return start + timedelta(days=span.number)
        case Unit.WORKING_DAYS:
            return (working or WorkingDays()).after(start, span.number)
        case Unit.HOURS:
            days = -(-abs(span.number) // 24)
            return start + timedelta(days=days if span.number >= 0 else -days)


def day_before(end: date, lead: Span, *, working: WorkingDays | None = None) -> date:
    """Return the day that lies a lead before a day."""
    return day_after(end, Span(-lead.number, lead.unit), working=working)


def instant_after(start: datetime, span: Span, *, zone: str, working: WorkingDays | None = None) -> datetime:
    """Return the instant by which something has to be done that has a span of time from ``start`` (aware).

    A span of hours ends to the second; one of days or months with the last second of its last day at the place.
    """
    if span.unit is Unit.HOURS:
        return start + timedelta(hours=span.number)
    last = day_after(date_at_site(start, zone), span, working=working)
    return instant_at_site(datetime.combine(last, time(23, 59, 59)), zone)


def span_of(duration: str) -> Span:
    """Return the span that an ISO 8601 duration says in one unit: years, months, weeks, days or hours; years may go with months.

    Raises:
        Unfit: It is no duration, is nothing, or mixes what has no fixed length with what has.

    Source:
        ISO 8601-1:2019, section 5.5.2.
    """
    found = _DURATION.fullmatch(duration)
    if found is None:
        raise Unfit("this should be a duration in one unit, such as P6M, P2Y, P30D, P2W or PT24H", code="duration-malformed")
    said = {name: int(text) for name, text in found.groupdict().items() if text is not None}
    if not any(said.values()):
        raise Unfit("this should be a duration that is not nothing", code="duration-malformed")
    if "hours" in said:
        return Span(said["hours"], Unit.HOURS)
    if "days" in said or "weeks" in said:
        return Span(said.get("days", 0) + 7 * said.get("weeks", 0), Unit.DAYS)
    return Span(12 * said.get("years", 0) + said.get("and_months", 0) + said.get("months", 0), Unit.MONTHS)
