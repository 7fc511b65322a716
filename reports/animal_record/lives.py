"""What the dates of an animal record amount to: its age, when it was kept, and the days of which nothing is on record."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Protocol

from domain.rules.lives import GONE
from reports import words
from reports.animal_record.sheet import AnimalRecordSheet

Days = tuple[date, date]
"""A first and a last day, both included."""

_day = timedelta(days=1)
_most_days = 60
_most_months = 24


class Dated(Protocol):
    """What holds from a day until a day."""

    @property
    def from_on(self) -> date:
        """The first day."""

    @property
    def until_on(self) -> date | None:
        """The last day; none while it still holds."""


def age(hatched_on: date, *, precision: str, on: date) -> str:
    """Return the age on a day in words: 12 days, 7 months, 5 years; with "about" unless the day of hatching is known.

    Nothing where the day is before the hatching.
    """
    days = (on - hatched_on).days
    if days < 0:
        return ""
    months = (on.year - hatched_on.year) * 12 + on.month - hatched_on.month - (precision == "day" and on.day < hatched_on.day)
    if precision == "day":
        if days < _most_days:
            return words.plural(days, "day")
        return words.plural(months, "month") if months < _most_months else words.plural(months // 12, "year")
    if precision == "month" and months < _most_months:
        return f"about {words.plural(months, 'month')}" if months else "under 1 month"
    years = on.year - hatched_on.year if precision == "year" else months // 12
    return f"about {words.plural(years, 'year')}" if years else "under 1 year"


def hatched(day: date, *, precision: str) -> str:
    """Return the day of hatching or birth as exactly as it is known: 14 Jun 2021, Jun 2021, 2021."""
    whole = words.short_date(day)
    if precision == "day":
        return whole
    return whole.split("\u00a0", 1)[1] if precision == "month" else str(day.year)


def kept(sheet: AnimalRecordSheet) -> tuple[Days, ...]:
    """Return when it was in the collection's keeping, as far as its states say so, in order; until today at most."""
    spells = sorted(
        (state.from_on, min(state.until_on or sheet.today, sheet.today))
        for state in sheet.states
        if state.status not in GONE and state.from_on <= sheet.today
    )
    return _joined_up(spells)


def gaps(during: Iterable[Days], known: Sequence[Dated]) -> tuple[Days, ...]:
    """Return the days of ``during`` of which none of the intervals says anything."""
    covered = _joined_up(sorted((one.from_on, one.until_on or date.max) for one in known))
    return tuple(gap for spell in during for gap in _uncovered(spell, covered))


def _uncovered(spell: Days, covered: Sequence[Days]) -> Iterable[Days]:
    start, end = spell
    for first, last in covered:
        if first > end or last < start:
            continue
        if first > start:
            yield start, first - _day
        if last >= end:
            return
        start = last + _day
    yield start, end


def _joined_up(spells: Sequence[Days]) -> tuple[Days, ...]:
    joined: list[Days] = []
    for first, last in spells:
        if joined and (joined[-1][1] == date.max or first <= joined[-1][1] + _day):
            joined[-1] = joined[-1][0], max(joined[-1][1], last)
        else:
            joined.append((first, last))
    return tuple(joined)


def ended_on(sheet: AnimalRecordSheet) -> date | None:
    """Return the day on which it died, left or went on into other records for good; none while it is kept."""
    states = sorted(sheet.states, key=lambda state: state.from_on)
    if not states or states[-1].status not in GONE:
        return None
    changes = [later.from_on for earlier, later in pairwise(states) if earlier.status is not later.status]
    return changes[-1] if changes else states[-1].from_on
