"""A day is read as it was meant, or refused; it is never guessed."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.importing.dates import date_in_part_of, date_of
from domain.actions.imports.rows import CellFault
from domain.records.animals import DatePrecision
from domain.rules.calendar import in_words

DAYS = st.dates(min_value=date(1900, 1, 1), max_value=date(2199, 12, 31))
WRITTEN = {"dmy": "{0.day:02}.{0.month:02}.{0.year}", "mdy": "{0.month}/{0.day}/{0.year}", "ymd": "{0.year}/{0.month:02}/{0.day:02}"}


@pytest.mark.parametrize(
    ("cell", "order", "day"),
    [
        ("31.10.2025", "dmy", date(2025, 10, 31)),
        ("1.3.2025", "dmy", date(2025, 3, 1)),
        ("1. 3. 2025", "dmy", date(2025, 3, 1)),
        ("03/04/2025", "dmy", date(2025, 4, 3)),
        ("03/04/2025", "mdy", date(2025, 3, 4)),
        ("12/31/2025", "mdy", date(2025, 12, 31)),
        ("12-31-2025", "mdy", date(2025, 12, 31)),
        ("31.10.2025", None, date(2025, 10, 31)),
        ("10/31/2025", None, date(2025, 10, 31)),
        ("04.04.2025", None, date(2025, 4, 4)),
        ("2025-03-04", "dmy", date(2025, 3, 4)),
        ("2025-3-4", None, date(2025, 3, 4)),
        ("2025/03/04", "mdy", date(2025, 3, 4)),
        ("20250304", None, date(2025, 3, 4)),
        (20250304.0, None, date(2025, 3, 4)),
        ("27 May 2024", None, date(2024, 5, 27)),
        ("27-May-2024", "mdy", date(2024, 5, 27)),
        ("27. sept 2024", None, date(2024, 9, 27)),
        ("May 27, 2024", None, date(2024, 5, 27)),
        ("June 1st, 2024", None, date(2024, 6, 1)),
        ("2024-05-27T00:00:00", None, date(2024, 5, 27)),
        ("2024-05-27T00:00:00Z", None, date(2024, 5, 27)),
        ("27.05.2024 00:00", "dmy", date(2024, 5, 27)),
        ("\N{NO-BREAK SPACE}27.05.2024\N{NO-BREAK SPACE}", "dmy", date(2024, 5, 27)),
        ("２７.０５.２０２４", "dmy", date(2024, 5, 27)),
        ("29.02.2024", "dmy", date(2024, 2, 29)),
        (date(2024, 5, 27), "mdy", date(2024, 5, 27)),
        (datetime(2024, 5, 27), "mdy", date(2024, 5, 27)),  # noqa: DTZ001 - a cell has no zone
    ],
)
def test_a_date_is_read(cell, order, day):
    assert date_of(cell, order=order) == day


@pytest.mark.parametrize(
    ("cell", "order", "code"),
    [
        ("31.02.2025", "dmy", "date-impossible"),
        ("29.02.2025", "dmy", "date-impossible"),
        ("2025-02-29", None, "date-impossible"),
        ("12/31/2025", "dmy", "date-impossible"),
        ("31/12/2025", "mdy", "date-impossible"),
        ("32.13.2025", None, "date-impossible"),
        ("0.1.2025", "dmy", "date-impossible"),
        ("31 February 2025", None, "date-impossible"),
        ("20251301", None, "date-impossible"),
        ("03/04/2025", None, "date-ambiguous"),
        ("12.11.2025", None, "date-ambiguous"),
        ("31.10.25", "dmy", "date-year-short"),
        ("1/2/25", None, "date-year-short"),
        ("27 May 24", None, "date-year-short"),
        ("45567", "dmy", "date-serial"),
        (45567.0, None, "date-serial"),
        (45567, None, "date-serial"),
        ("2025", None, "date-serial"),
        ("2024-05-27T14:30:00", None, "date-with-time"),
        (datetime(2024, 5, 27, 14, 30), None, "date-with-time"),  # noqa: DTZ001 - a cell has no zone
        ("16.02.2025", "ymd", "date-unreadable"),
        ("27 Mai 2024", None, "date-unreadable"),
        ("soon", None, "date-unreadable"),
        ("31.10/2025", "dmy", "date-unreadable"),
        ("٢٧.٠٥.٢٠٢٤", "dmy", "date-unreadable"),
        (time(12, 0), None, "date-unreadable"),
        (timedelta(days=3), None, "date-unreadable"),
    ],
)
def test_what_is_no_date_is_refused_by_code(cell, order, code):
    found = date_of(cell, order=order)

    assert isinstance(found, CellFault)
    assert found.code == code


@given(DAYS, st.sampled_from(sorted(WRITTEN)))
def test_a_date_written_in_an_order_is_read_back_in_that_order(day, order):
    assert date_of(WRITTEN[order].format(day), order=order) == day
    assert date_of(in_words(day), order=order) == day
    assert date_of(day.isoformat(), order=order) == day


@given(DAYS, st.sampled_from(["dmy", "mdy"]))
def test_without_an_order_a_day_is_read_right_or_not_at_all(day, order):
    found = date_of(WRITTEN[order].format(day), order=None)

    assert found == day or (isinstance(found, CellFault) and found.code == "date-ambiguous" and day.day <= 12 and day.day != day.month)


@given(st.text(max_size=40), st.sampled_from(["dmy", "mdy", "ymd", None]))
def test_any_text_is_a_date_or_a_fault(cell, order):
    assert isinstance(date_of(cell, order=order), date | CellFault)


@pytest.mark.parametrize(
    ("cell", "day", "precision"),
    [
        ("2019", date(2019, 1, 1), "year"),
        (2019, date(2019, 1, 1), "year"),
        (2019.0, date(2019, 1, 1), "year"),
        (" 2019 ", date(2019, 1, 1), "year"),
        ("2019-05", date(2019, 5, 1), "month"),
        ("2019/5", date(2019, 5, 1), "month"),
        ("05/2019", date(2019, 5, 1), "month"),
        ("5.2019", date(2019, 5, 1), "month"),
        ("May 2019", date(2019, 5, 1), "month"),
        ("sept. 2019", date(2019, 9, 1), "month"),
        ("2019-05-03", date(2019, 5, 3), "day"),
        ("3 May 2019", date(2019, 5, 3), "day"),
        ("20190503", date(2019, 5, 3), "day"),
        (date(2019, 5, 1), date(2019, 5, 1), "day"),
    ],
)
def test_a_date_that_is_known_in_part(cell, day, precision):
    assert date_in_part_of(cell, order=None) == (day, DatePrecision(precision))


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("2019-13", "date-impossible"),
        ("0/2019", "date-impossible"),
        ("Maybe 2019", "date-impossible"),
        ("19", "date-serial"),
        ("43600", "date-serial"),
        ("1066", "date-serial"),
        ("05/19", "date-unreadable"),
        ("about 2019 or so", "date-unreadable"),
        ("03/04/2019", "date-ambiguous"),
    ],
)
def test_a_date_in_part_is_not_guessed_either(cell, code):
    found = date_in_part_of(cell, order=None)

    assert isinstance(found, CellFault)
    assert found.code == code


@given(DAYS)
def test_the_month_and_the_year_of_a_day_come_back(day):
    assert date_in_part_of(f"{day:%Y-%m}", order=None) == (day.replace(day=1), DatePrecision.MONTH)
    assert date_in_part_of(f"{day:%m/%Y}", order="mdy") == (day.replace(day=1), DatePrecision.MONTH)
    assert date_in_part_of(f"{day:%Y}", order=None) == (day.replace(month=1, day=1), DatePrecision.YEAR)
