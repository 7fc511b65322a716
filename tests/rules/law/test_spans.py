"""Spans of time as statutes say them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.errors import Unfit
from domain.rules.law.spans import Span, Unit, WorkingDays, day_after, day_before, instant_after, span_of

EASTER = WorkingDays(holidays=frozenset((date(2026, 4, 3), date(2026, 4, 6))))


@pytest.mark.parametrize(
    ("start", "span", "expected"),
    [
        (date(2026, 1, 31), Span(1, Unit.MONTHS), date(2026, 2, 28)),
        (date(2026, 3, 31), Span(-1, Unit.MONTHS), date(2026, 2, 28)),
        (date(2026, 2, 28), Span(2, Unit.DAYS), date(2026, 3, 2)),
        (date(2026, 4, 2), Span(1, Unit.WORKING_DAYS), date(2026, 4, 7)),
        (date(2026, 4, 7), Span(-1, Unit.WORKING_DAYS), date(2026, 4, 2)),
        (date(2026, 4, 4), Span(0, Unit.WORKING_DAYS), date(2026, 4, 4)),
        (date(2026, 4, 2), Span(24, Unit.HOURS), date(2026, 4, 3)),
        (date(2026, 4, 2), Span(25, Unit.HOURS), date(2026, 4, 4)),
        (date(2026, 4, 2), Span(-25, Unit.HOURS), date(2026, 3, 31)),
    ],
)
def test_a_span_leads_to_a_day(start, span, expected):
    assert day_after(start, span, working=EASTER) == expected


def test_a_week_without_working_days_leads_nowhere():
    with pytest.raises(ValueError, match="leads nowhere"):
        WorkingDays(rest=frozenset(range(7))).after(date(2026, 1, 1), 1)


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(1, 60))
def test_as_many_working_days_back_is_never_later_than_the_start(start, number):
    there = EASTER.after(start, number)

    assert EASTER.is_one(there)
    assert EASTER.after(there, -number) <= start < there


def test_a_lead_lies_before_its_day():
    assert day_before(date(2026, 4, 7), Span(1, Unit.WORKING_DAYS), working=EASTER) == date(2026, 4, 2)
    assert day_before(date(2032, 5, 10), Span(6, Unit.MONTHS)) == date(2031, 11, 10)


def test_hours_are_elapsed_and_days_end_with_the_day_at_the_place():
    # Clocks go forward in Lisbon on 29 March 2026 at 01:00 UTC.
    start = datetime(2026, 3, 28, 12, tzinfo=UTC)

    assert instant_after(start, Span(24, Unit.HOURS), zone="Europe/Lisbon") == datetime(2026, 3, 29, 12, tzinfo=UTC)
    assert instant_after(start, Span(1, Unit.DAYS), zone="Europe/Lisbon") == datetime(2026, 3, 29, 22, 59, 59, tzinfo=UTC)
    assert instant_after(start, Span(1, Unit.WORKING_DAYS), zone="Europe/Lisbon") == datetime(2026, 3, 30, 22, 59, 59, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("P6M", Span(6, Unit.MONTHS)),
        ("P48M", Span(48, Unit.MONTHS)),
        ("P2Y", Span(24, Unit.MONTHS)),
        ("P1Y6M", Span(18, Unit.MONTHS)),
        ("P30D", Span(30, Unit.DAYS)),
        ("P2W", Span(14, Unit.DAYS)),
        ("PT24H", Span(24, Unit.HOURS)),
    ],
)
def test_a_duration_in_one_unit_is_a_span(text, span):
    assert span_of(text) == span


@pytest.mark.parametrize(
    "text", ["", "P", "PT", "6M", "P6", "p6m", "P-6M", "P6M ", "P1M10D", "P1Y10D", "PT1M", "P1DT1H", "P1.5M", "P0D", "PT0H", "P0Y0M"]
)
def test_what_is_no_duration_in_one_unit_is_refused(text):
    with pytest.raises(Unfit, match="this should be a duration") as refused:
        span_of(text)
    assert refused.value.code == "duration-malformed"
