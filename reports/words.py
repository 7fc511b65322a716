"""Dates, instants and money as they are printed. Month letters always, so that no reader takes a day for a month."""

from datetime import UTC, date, datetime, tzinfo
from decimal import Decimal
from zoneinfo import ZoneInfo

from domain.rules.calendar import MONTHS, in_words
from domain.rules.law.spans import Span, Unit
from domain.rules.money import minor_digits

_ranks_set_upright = frozenset({"class", "order", "suborder", "family", "subfamily"})
_weekdays = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def short_date(day: date) -> str:
    """Return the date with month letters, held together by no-break spaces: 21 Nov 2026."""
    return f"{day.day}\u00a0{MONTHS[day.month - 1][:3]}\u00a0{day.year}"


def long_date(day: date) -> str:
    """Return the date in words: Tuesday 24 November 2026."""
    return f"{_weekdays[day.weekday()]} {in_words(day)}"


def clock(instant: datetime, *, zone: str) -> str:
    """Return date and time in the zone, without naming it; UTC when the zone is not on this machine."""
    return f"{short_date(day_of(instant, zone=zone))} {instant.astimezone(_zone(zone)):%H:%M}"


def day_of(instant: datetime, *, zone: str) -> date:
    """Return the date in the zone that ``clock`` says."""
    return instant.astimezone(_zone(zone)).date()


def zone_name(zone: str) -> str:
    """Return the zone that ``clock`` uses for this name."""
    return "UTC" if _zone(zone) is UTC else zone


def _zone(zone: str) -> tzinfo:
    try:
        return ZoneInfo(zone)
    except (KeyError, OSError, ValueError):
        return UTC


def distance(day: date, *, today: date) -> str:
    """Return how far the day is from today: 3 days late, today, tomorrow, in 9 days."""
    days = (day - today).days
    if days == 0:
        return "today"
    if days == 1:
        return "tomorrow"
    if days > 0:
        return f"in {days} days"
    return "1 day late" if days == -1 else f"{-days} days late"


def plural(count: int, one: str, *, many: str | None = None) -> str:
    """Return the count with its noun: 1 item, 2 items."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def number(value: float) -> str:
    """Return a number as it was entered, its thousands held together by no-break spaces: 1 234.5."""
    return f"{Decimal(str(value)).normalize():,f}".replace(",", "\u00a0")


def spoken(word: str) -> str:
    """Return a word of a closed list as it is said: scute notch for ``scute_notch``."""
    return word.replace("_", " ")


def is_italic(rank: str) -> bool:
    """Return whether names of a rank are set in italics: those of genera and of what is below them.

    Source:
        International Code of Zoological Nomenclature, 4th edition, general recommendation 6.
    """
    return rank not in _ranks_set_upright


def money(minor: int, *, currency: str) -> str:
    """Return an amount of integer minor units with its currency: EUR 1 234.50, JPY 900."""
    digits = minor_digits(currency.upper())
    amount = Decimal(minor).scaleb(-digits)
    return f"{currency}\u00a0{amount:,.{digits}f}".replace(",", "\u00a0")


def in_eights(digest: str) -> str:
    """Return a digest with a space after every eight of its digits, by which it is compared by eye and breaks across lines."""
    return " ".join(digest[start : start + 8] for start in range(0, len(digest), 8))


def span(of: Span) -> str:
    """Return a span of time as it is said: 2 years, 30 days, 40 working days."""
    if of.unit is Unit.MONTHS and of.number % 12 == 0:
        return plural(of.number // 12, "year")
    return plural(of.number, spoken(of.unit.value).removesuffix("s"))
