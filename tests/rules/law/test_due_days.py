"""When returns and what recurs is due: the latest day that has come, and the next."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.law.due_days import recurring_due, returns_due
from domain.rules.law.requirements import Duty, Obligation, Period
from domain.rules.law.spans import Span, Unit, WorkingDays

YEARLY = Obligation(code="annual", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=1, due_day=31, lead=Span(30, Unit.DAYS))
QUARTERLY = Obligation(code="quarterly", duty=Duty.REPORT, period=Period.CALENDAR_QUARTER, due_month=2, due_day=31)


def every(number, unit=Unit.MONTHS, **rest):
    return Obligation(code="drill", duty=Duty.DRILL, every=Span(number, unit), **rest)


def named(found):
    return [(one.occurrence, one.due_on.isoformat()) for one in found]


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2026, 1, 30), [("2024", "2025-01-31"), ("2025", "2026-01-31")]),
        (date(2026, 1, 31), [("2025", "2026-01-31"), ("2026", "2027-01-31")]),
        (date(2026, 2, 1), [("2025", "2026-01-31"), ("2026", "2027-01-31")]),
        (date(2026, 12, 31), [("2025", "2026-01-31"), ("2026", "2027-01-31")]),
    ],
)
def test_a_yearly_return_is_due_in_the_month_after_its_year(today, expected):
    assert named(returns_due(YEARLY, today=today, since=None)) == expected


def test_it_is_told_its_lead_before_and_without_one_two_weeks_before():
    [_, next_one] = returns_due(YEARLY, today=date(2026, 3, 1), since=None)
    [_, next_quarter] = returns_due(QUARTERLY, today=date(2026, 3, 1), since=None)

    assert next_one.tell_from == date(2027, 1, 1)
    assert next_quarter.tell_from == next_quarter.due_on - timedelta(days=14)


def test_a_day_that_the_month_does_not_have_is_its_last():
    assert named(returns_due(QUARTERLY, today=date(2026, 3, 1), since=None)) == [("2025-Q4", "2026-02-28"), ("2026-Q1", "2026-05-31")]
    assert named(returns_due(QUARTERLY, today=date(2024, 2, 29), since=None))[0] == ("2023-Q4", "2024-02-29")


@pytest.mark.parametrize(("since", "periods"), [(date(2025, 12, 31), ["2025", "2026"]), (date(2026, 1, 1), ["2026"])])
def test_a_period_that_was_over_before_there_was_anything_to_tell_of_has_no_return(since, periods):
    assert [one.occurrence for one in returns_due(YEARLY, today=date(2026, 3, 1), since=since)] == periods


@pytest.mark.parametrize("month", range(1, 13))
def test_a_return_may_be_due_in_any_month_of_the_year_after(month):
    late = Obligation(code="late", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=month, due_day=10)

    past, to_come = returns_due(late, today=date(2026, 6, 15), since=None)

    assert (past.due_on.month, to_come.due_on.month) == (month, month)
    assert past.due_on <= date(2026, 6, 15) < to_come.due_on
    assert to_come.due_on.year == past.due_on.year + 1


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2025, 1, 31), [("2025-01-31/1", "2025-02-28")]),
        (date(2025, 2, 27), [("2025-01-31/1", "2025-02-28")]),
        (date(2025, 2, 28), [("2025-01-31/1", "2025-02-28"), ("2025-01-31/2", "2025-03-31")]),
        (date(2025, 3, 31), [("2025-01-31/2", "2025-03-31"), ("2025-01-31/3", "2025-04-30")]),
    ],
)
def test_what_recurs_keeps_to_the_end_of_months_and_is_not_due_on_its_first_day(today, expected):
    assert named(recurring_due(every(1), first_on=date(2025, 1, 31), today=today, since=None)) == expected


@pytest.mark.parametrize(
    ("span", "lead_days"),
    [(Span(7, Unit.DAYS), 1), (Span(1, Unit.MONTHS), 7), (Span(12, Unit.MONTHS), 14), (Span(48, Unit.HOURS), 0)],
)
def test_what_recurs_often_is_told_shortly_before(span, lead_days):
    found = recurring_due(every(span.number, span.unit), first_on=date(2025, 3, 1), today=date(2026, 3, 10), since=None)

    assert {(one.due_on - one.tell_from).days for one in found} == {lead_days}


def test_working_days_are_those_of_the_jurisdiction():
    working = WorkingDays(holidays=frozenset((date(2026, 3, 4),)))

    found = recurring_due(every(2, Unit.WORKING_DAYS), first_on=date(2026, 3, 2), today=date(2026, 3, 2), since=None, working=working)

    assert named(found) == [("2026-03-02/1", "2026-03-05")]


def test_a_series_that_has_not_begun_is_due_for_the_first_time():
    assert named(recurring_due(every(6), first_on=date(2026, 5, 1), today=date(2026, 3, 1), since=None)) == [("2026-05-01/1", "2026-11-01")]


def test_nothing_was_due_before_there_was_anything_to_look_after():
    found = recurring_due(every(1), first_on=date(2020, 1, 1), today=date(2026, 3, 1), since=date(2026, 3, 2))

    assert named(found) == [("2020-01-01/75", "2026-04-01")]


def test_each_is_asked_what_it_is():
    with pytest.raises(ValueError, match="drill is no return"):
        returns_due(every(1), today=date(2026, 3, 1), since=None)
    with pytest.raises(ValueError, match="annual does not recur"):
        recurring_due(YEARLY, first_on=date(2026, 3, 1), today=date(2026, 3, 1), since=None)


spans = st.builds(Span, st.integers(1, 400), st.sampled_from([Unit.DAYS, Unit.MONTHS, Unit.HOURS, Unit.WORKING_DAYS]))


@given(spans, st.dates(date(2015, 1, 1), date(2026, 12, 31)), st.dates(date(2015, 1, 1), date(2026, 12, 31)))
def test_the_day_asked_about_lies_from_the_latest_to_before_the_next(span, first_on, today):
    found = recurring_due(every(span.number, span.unit), first_on=first_on, today=today, since=None)

    assert found[-1].due_on > today
    assert all(one.due_on <= today for one in found[:-1])
    assert len(found) == (2 if int(found[-1].occurrence.rpartition("/")[2]) > 1 else 1)
