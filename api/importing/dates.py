"""Dates as lists write them. A day is never guessed: what could be two dates is refused."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime, time, timedelta
from typing import Any

from domain.actions.imports.rows import CellFault
from domain.records.animals import DatePrecision
from domain.rules.calendar import MONTHS, in_words

_TIME = r"(?:[T ]+(?P<time>[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.0+)?)?(?:Z|[+-]00:?00)?))?"
_YEAR_FIRST = re.compile(rf"(?P<a>[0-9]{{4}})(?P<sep>[-/. ])(?P<b>[0-9]{{1,2}})(?P=sep)(?P<c>[0-9]{{1,2}}){_TIME}")
_YEAR_LAST = re.compile(rf"(?P<a>[0-9]{{1,2}})(?P<sep>[-/.]|\. )(?P<b>[0-9]{{1,2}})(?P=sep)(?P<c>[0-9]{{4}})\.?{_TIME}")
_SHORT = re.compile(rf"[0-9]{{1,2}}([-/. ])[0-9]{{1,2}}\1[0-9]{{2}}{_TIME}")
_DAY_MONTH = re.compile(rf"(?P<day>[0-9]{{1,2}})(?:st|nd|rd|th)?[-. ]+(?P<month>[a-z]+)[-., ]+(?P<year>[0-9]+){_TIME}", re.IGNORECASE)
_MONTH_DAY = re.compile(rf"(?P<month>[a-z]+)[-. ]+(?P<day>[0-9]{{1,2}})(?:st|nd|rd|th)?[, -]+(?P<year>[0-9]+){_TIME}", re.IGNORECASE)
_DIGITS = re.compile(r"[0-9]+(?:[.,]0+)?")
_COMPACT = re.compile(r"(?P<a>(?:19|20|21)[0-9]{2})(?P<b>[0-9]{2})(?P<c>[0-9]{2})")
_YEAR = re.compile(r"(?:19|20|21)[0-9]{2}")
_MONTH = re.compile(r"(?P<year>(?:19|20|21)[0-9]{2})[-/. ](?P<month>[0-9]{1,2})")
_MONTH_FIRST = re.compile(r"(?P<month>[0-9]{1,2})[-/. ](?P<year>(?:19|20|21)[0-9]{2})")
_MONTH_NAMED = re.compile(r"(?P<month>[a-z]+)[-., ]+(?P<year>(?:19|20|21)[0-9]{2})", re.IGNORECASE)
_MONTHS = {name.lower()[:length]: number for number, name in enumerate(MONTHS, start=1) for length in (3, 4, len(name))}
_ORDERS = {"dmy": "day, month, year", "mdy": "month, day, year", "ymd": "year, month, day"}
_MIDNIGHT = re.compile(r"0?0:00(?::00(?:\.0+)?)?(?:Z|[+-]00:?00)?")


def date_of(cell: Any, *, order: str | None) -> date | CellFault:  # noqa: ANN401 - any cell
    """Return the date in a cell, or why there is none.

    ISO dates and months in letters (English) are read whatever the order. Two numbers of which either could be the month need a declared
    ``order``. Years have four digits. A time of day other than midnight is refused, and so is a spreadsheet's bare day number.
    """
    if isinstance(cell, datetime):
        return cell.date() if cell.time() == time() else _with_time(cell.isoformat(sep=" "))
    if isinstance(cell, date):
        return cell
    if isinstance(cell, int | float):
        cell = f"{cell:.15g}"
    if isinstance(cell, time | timedelta) or not isinstance(cell, str):
        return _unreadable(str(cell))
    return _of_text(" ".join(unicodedata.normalize("NFKC", cell).split()), order=order)


def date_in_part_of(cell: Any, *, order: str | None) -> tuple[date, DatePrecision] | CellFault:  # noqa: ANN401 - any cell
    """Return a date that may be known to the month or the year only, and how exactly; the first day of which stands for it.

    ``2019`` is a year, ``2019-05``, ``05/2019`` and ``May 2019`` are months; all else is read as a whole date. A date cell of a spreadsheet
    is a whole date, whatever was typed into it.
    """
    text = f"{cell:.15g}" if isinstance(cell, int | float) else cell
    if isinstance(text, str):
        text = " ".join(unicodedata.normalize("NFKC", text).split())
        if _YEAR.fullmatch(text):
            return date(int(text), 1, 1), DatePrecision.YEAR
        if found := _MONTH.fullmatch(text) or _MONTH_FIRST.fullmatch(text) or _MONTH_NAMED.fullmatch(text):
            month = found["month"]
            made = _made(found["year"], int(month) if month.isdigit() else _MONTHS.get(month.lower(), 0), 1, text)
            return (made, DatePrecision.MONTH) if isinstance(made, date) else made
    found_day = date_of(cell, order=order)
    return (found_day, DatePrecision.DAY) if isinstance(found_day, date) else found_day


def _of_text(text: str, *, order: str | None) -> date | CellFault:
    if found := _YEAR_FIRST.fullmatch(text):
        return _checked_time(found, text) or _made(found["a"], found["b"], found["c"], text)
    if found := _YEAR_LAST.fullmatch(text):
        return _checked_time(found, text) or _in_order(found, text, order=order)
    if found := _DAY_MONTH.fullmatch(text) or _MONTH_DAY.fullmatch(text):
        return _checked_time(found, text) or _in_letters(found, text)
    if _SHORT.fullmatch(text):
        return _two_digits(text)
    if found := _COMPACT.fullmatch(text):
        return _made(found["a"], found["b"], found["c"], text)
    if _DIGITS.fullmatch(text):
        return CellFault("date-serial", f"{text} looks like a spreadsheet's own day number; format the column as a date")
    return _unreadable(text)


def _in_order(found: re.Match[str], text: str, *, order: str | None) -> date | CellFault:
    first, second, year = int(found["a"]), int(found["b"]), found["c"]
    if order == "ymd":
        return CellFault("date-unreadable", f"{text} is not in the declared order {_ORDERS[order]}")
    if order is None and first <= 12 and second <= 12 and first != second:  # noqa: PLR2004 - months of a year
        return CellFault(
            "date-ambiguous",
            f"{text} is ambiguous: the day and the month cannot be told apart; declare the order in the mapping, [dates] order",
        )
    day_first = order == "dmy" or (order is None and second <= 12)  # noqa: PLR2004 - months of a year
    day, month = (first, second) if day_first else (second, first)
    return _made(year, month, day, text, order=order)


def _in_letters(found: re.Match[str], text: str) -> date | CellFault:
    month = _MONTHS.get(found["month"].lower())
    if month is None:
        return _unreadable(text)
    return _made(found["year"], month, found["day"], text) if len(found["year"]) == 4 else _two_digits(text)  # noqa: PLR2004 - YYYY


def _made(year: str | int, month: str | int, day: str | int, text: str, *, order: str | None = None) -> date | CellFault:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        declared = f" in the declared order {_ORDERS[order]}" if order else ""
        return CellFault("date-impossible", f"impossible: the calendar has no {text}{declared}")


def _checked_time(found: re.Match[str], text: str) -> CellFault | None:
    return None if found["time"] is None or _MIDNIGHT.fullmatch(found["time"]) else _with_time(text)


def _with_time(text: str) -> CellFault:
    return CellFault("date-with-time", f"{text} has a time of day; a date alone is wanted")


def _two_digits(text: str) -> CellFault:
    return CellFault("date-year-short", f"{text} has a year of two digits; write it with four")


def _unreadable(text: str) -> CellFault:
    example = in_words(date(2024, 5, 27))
    return CellFault("date-unreadable", f"{text} is no date such as 2024-05-27, 27.05.2024 or {example}")
