"""Periodic returns: their periods, their days, and what every field is made of."""

from __future__ import annotations

from datetime import date

import pytest

from domain.rules.law.requirements import Duty, Obligation, Occasion, Period
from domain.rules.law.returns import FIELDS, due_on, period_from, return_of
from domain.rules.law.spans import Span, Unit
from domain.rules.stock import COLUMNS, IN, OUT, Account
from tests.rules.law.stating import requirement

ANNUAL = Obligation(code="a", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=1, due_day=31, fields=("taxon",))
ESCAPE = Obligation(code="e", duty=Duty.NOTIFY, occasion=Occasion.ESCAPE, within=Span(1, Unit.DAYS))


@pytest.mark.parametrize(
    ("period", "first", "days"),
    [
        (Period.CALENDAR_YEAR, date(2025, 1, 1), (date(2025, 1, 1), date(2025, 12, 31))),
        (Period.CALENDAR_YEAR, date(2025, 1, 2), None),
        (Period.CALENDAR_YEAR, date(2025, 4, 1), None),
        (Period.CALENDAR_QUARTER, date(2024, 1, 1), (date(2024, 1, 1), date(2024, 3, 31))),
        (Period.CALENDAR_QUARTER, date(2025, 4, 1), (date(2025, 4, 1), date(2025, 6, 30))),
        (Period.CALENDAR_QUARTER, date(2025, 10, 1), (date(2025, 10, 1), date(2025, 12, 31))),
        (Period.CALENDAR_QUARTER, date(2025, 2, 1), None),
        (Period.CALENDAR_QUARTER, date(2025, 4, 2), None),
    ],
)
def test_a_period_begins_on_its_first_day_and_on_no_other(period, first, days):
    assert period_from(period, first) == days


@pytest.mark.parametrize(
    ("month", "day", "until", "due"),
    [
        (1, 31, date(2025, 12, 31), date(2026, 1, 31)),
        (2, 31, date(2025, 12, 31), date(2026, 2, 28)),
        (2, 31, date(2023, 12, 31), date(2024, 2, 29)),
        (3, 31, date(2025, 12, 31), date(2026, 3, 31)),
        (12, 1, date(2025, 12, 31), date(2026, 12, 1)),
        (1, 15, date(2025, 6, 30), date(2025, 7, 15)),
        (3, 31, date(2025, 3, 31), date(2025, 6, 30)),
    ],
)
def test_a_return_is_due_in_a_month_after_its_period_on_its_last_day_at_most(month, day, until, due):
    told = Obligation(code="o", duty=Duty.REPORT, period=Period.CALENDAR_YEAR, due_month=month, due_day=day)

    assert due_on(told, until) == due


def test_what_is_no_return_is_due_on_no_day():
    with pytest.raises(ValueError, match="no periodic return"):
        due_on(ESCAPE, date(2025, 12, 31))


def test_the_return_of_a_requirement_is_its_report_of_a_period():
    yearly_check = Obligation(code="c", duty=Duty.INSPECT, period=Period.CALENDAR_YEAR, due_month=1, due_day=1)
    told = Obligation(code="r", duty=Duty.REPORT, occasion=Occasion.DEATH, within=Span(1, Unit.DAYS))

    assert return_of(requirement("XR-1", obligations=(ESCAPE, yearly_check, told, ANNUAL))) is ANNUAL
    assert return_of(requirement("XR-1", obligations=(ESCAPE, yearly_check, told))) is None


def test_the_numbers_of_a_return_make_the_whole_sum_of_an_account():
    account = Account(**{name: 2**place for place, name in enumerate(COLUMNS)})
    entry = {name: one.entry(account) for name, one in FIELDS.items() if one.is_number}

    came, went = (sum(getattr(account, name) for name in names) for names in (IN, OUT))
    assert entry["stock_at_start"] == account.opening
    assert entry["stock_at_end"] == entry["number"] == account.closing
    assert entry["arrivals"] == entry["acquisitions"] == account.arrivals + account.moved_in
    assert entry["departures"] == entry["dispositions"] == account.departures + account.moved_out
    assert entry["births"] + entry["arrivals"] - entry["deaths"] - entry["departures"] + entry["otherwise"] == came - went


def test_every_field_says_how_it_is_made_and_names_columns_that_there_are():
    for name, one in FIELDS.items():
        assert one.heading, name
        assert one.meaning, name
        assert {*one.adds, *one.takes} <= set(COLUMNS), name
