"""The answer for one item, in dates and in a sentence that a person understands."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from domain.rules.forecast import MISSING_WORDS, Forecast, ItemWords, Need, forecast, outlook
from domain.rules.run_hours import RunPeriod, Season
from domain.rules.service_life import CheckFacts, CheckKind, RuleKind, Standing, one_item

INSTALLED = date(2025, 3, 1)
TODAY = date(2026, 2, 20)
TWELVE_A_DAY = (RunPeriod(None, 12.0),)


def said(*, today: date = TODAY, lead_days: int | None = None, unit: str = "", warn_days: int = 14, **facts: Any) -> Forecast:
    view = outlook(one_item(**facts), today=today, warn_days=np.array([warn_days]))
    return forecast(view, 0, words=ItemWords(facts.get("schedule", ()), unit), lead_days=lead_days)


def test_an_item_with_two_rules_names_the_one_that_binds_and_what_the_other_would_allow():
    found = said(installed_on=INSTALLED, life_months=12, life_hours=5000, schedule=TWELVE_A_DAY)

    assert (found.standing, found.due_on, found.binding) == (Standing.DUE_SOON, date(2026, 3, 1), RuleKind.AGE)
    assert [(one.kind, one.due_on) for one in found.rules] == [
        (RuleKind.AGE, date(2026, 3, 1)),
        (RuleKind.HOURS, date(2026, 4, 21)),
    ]
    assert found.because == (
        "It reaches its age limit of 12 months on 1 March 2026 (installed 1 March 2025). "
        "The limit of running hours would allow until 21 April 2026."
    )
    assert found.reason == "11 months old, limit 12 months"
    assert (found.needs, found.missing, found.no_later_than) == (Need.REPLACEMENT, (), None)


def test_hours_are_told_with_what_was_run_and_the_schedule_of_the_day():
    found = said(installed_on=INSTALLED, life_hours=4500.5, schedule=TWELVE_A_DAY)

    hours = found.rules[0]
    assert (hours.limit_h, hours.run_h, hours.schedule, hours.counted_from) == (4500.5, 4272.0, "12 h/day", INSTALLED)
    assert found.because == "It will have run its 4\u00a0500.5 h by 11 March 2026 (4\u00a0272 h so far, 12 h/day)."
    assert found.reason == "run 4\u00a0272 h of 4\u00a0500.5 h"


def test_hours_are_counted_from_the_counter_where_there_is_one():
    found = said(installed_on=INSTALLED, life_hours=5000, counted=(date(2026, 2, 10), 4900.0), schedule=TWELVE_A_DAY)

    assert (found.rules[0].counted_from, found.rules[0].run_h, found.due_on) == (date(2026, 2, 10), 5020.0, date(2026, 2, 18))
    assert found.because.startswith("It had run its 5\u00a0000 h by 18 February 2026")


def test_a_counter_above_the_limit_is_said():
    found = said(life_hours=5000, counted=(date(2026, 2, 10), 5100.0), passed_on=date(2026, 2, 10), schedule=TWELVE_A_DAY)

    assert (found.standing, found.due_on) == (Standing.OVERDUE, date(2026, 2, 10))
    assert found.because == "It reached its limit of 5\u00a0000 h by 10 February 2026, by its hour counter (5\u00a0220 h so far)."


def test_hours_that_are_never_used_up_are_good_and_said():
    found = said(installed_on=INSTALLED, life_hours=5000, schedule=(RunPeriod(None, 0.0),))

    assert (found.standing, found.due_on, found.binding, found.needs) == (Standing.GOOD, None, None, None)
    assert found.because == "Its limit of 5\u00a0000 running hours is never reached on the present schedule (0 h/day)."
    assert found.reason == "no limit reached"


def test_a_seasonal_schedule_is_told_with_the_hours_of_the_day():
    seasons = (Season(4, 1, 14.0), Season(10, 1, 8.0))
    found = said(installed_on=INSTALLED, life_hours=5000, schedule=(RunPeriod(None, None, seasons),))

    assert found.rules[0].schedule == "seasonal, 8 h/day"


@pytest.mark.parametrize(
    ("facts", "sentence", "reason"),
    [
        (
            {"installed_on": date(2026, 2, 1), "life_days": 28},
            "It reaches its age limit of 28 days on 1 March 2026 (installed 1 February 2026).",
            "19 days old, limit 28 days",
        ),
        (
            {"installed_on": date(2026, 1, 1), "life_months": 1},
            "It reached its age limit of 1 month on 1 February 2026 (installed 1 January 2026).",
            "1 month old, limit 1 month",
        ),
        ({"expires_on": date(2026, 3, 31)}, "Its shelf life ends on 31 March 2026.", "shelf life to 31 March 2026"),
        ({"expires_on": date(2026, 1, 31)}, "Its shelf life ended on 31 January 2026.", "shelf life to 31 January 2026"),
        (
            {"output_minimum": 2.0, "readings": [(date(2026, 2, 1), 1.5)], "unit": "UVI"},
            "Output was 1.5 UVI on 1 February 2026, below the minimum of 2 UVI.",
            "output 1.5 UVI, limit 2 UVI",
        ),
        (
            {
                "installed_on": INSTALLED,
                "output_share": 0.7,
                "readings": [(date(2025, 3, 2), 10.0), (date(2026, 2, 1), 6.5)],
                "unit": "µW/cm²",
            },
            "Output was 6.5 µW/cm² on 1 February 2026, below the minimum of 7 µW/cm².",
            "output 65% of first reading, limit 70%",
        ),
        (
            {"checks": [CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 2, 1))]},
            "Its calibration is due by 3 March 2026 (last done 1 February 2026).",
            "calibration due, last done 1 February 2026",
        ),
        (
            {"installed_on": date(2025, 8, 1), "checks": [CheckFacts(CheckKind.RESIDUAL_CURRENT, interval_months=6)]},
            "Its residual-current test was due by 1 February 2026 (never done).",
            "residual-current test due, never done",
        ),
        (
            {"checks": [CheckFacts(CheckKind.ELECTRICAL, checked_on=date(2026, 2, 3), failed_on=date(2026, 2, 3))]},
            "Its electrical inspection failed on 3 February 2026.",
            "electrical inspection failed 3 February 2026",
        ),
    ],
)
def test_each_rule_is_said_in_a_sentence_and_in_short(facts, sentence, reason):
    found = said(**facts)

    assert (found.because, found.reason) == (sentence, reason)


def test_output_at_its_minimum_is_good_and_said():
    found = said(output_minimum=2.0, readings=[(date(2026, 2, 1), 2.0)], unit="UVI")

    assert (found.standing, found.due_on) == (Standing.GOOD, None)
    assert found.because == "Output was 2 UVI on 1 February 2026, not below the minimum of 2 UVI."
    assert (found.rules[0].limit, found.rules[0].latest, found.rules[0].readings) == (2.0, 2.0, 1)


def test_a_check_to_be_made_asks_for_a_check_and_a_failed_one_for_a_part():
    plan = {"kind": CheckKind.CALIBRATION, "interval_days": 30, "checked_on": date(2026, 2, 1)}

    assert said(checks=[CheckFacts(**plan)]).needs is Need.CHECK
    assert said(checks=[CheckFacts(**plan, failed_on=date(2026, 2, 1))]).needs is Need.REPLACEMENT


MISSING = {
    "age": ({"life_months": 12}, ("installed_on",)),
    "hours": ({"installed_on": INSTALLED, "life_hours": 5000.0}, ("run_schedule",)),
    "hours, installation": ({"life_hours": 5000.0, "schedule": TWELVE_A_DAY}, ("installed_on",)),
    "hours, both": ({"life_hours": 5000.0}, ("installed_on", "run_schedule")),
    "shelf": ({"shelf_months": 24}, ("expires_on",)),
    "output": ({"output_minimum": 2.0}, ("output_readings",)),
    "share, installation": ({"output_share": 0.7, "readings": [(INSTALLED, 5.0)]}, ("installed_on",)),
    "share, schedule": (
        {"installed_on": INSTALLED, "output_share": 0.7, "burn_in_hours": 100.0, "readings": [(TODAY, 5.0)]},
        ("run_schedule",),
    ),
    "share, first reading": (
        {
            "installed_on": INSTALLED,
            "output_share": 0.7,
            "burn_in_hours": 100.0,
            "schedule": TWELVE_A_DAY,
            "readings": [(INSTALLED, 5.0)],
        },
        ("first_output_reading",),
    ),
    "check": ({"checks": [CheckFacts(CheckKind.CALIBRATION, interval_days=30)]}, ("installed_on",)),
    "no rule": ({"installed_on": INSTALLED}, ("life_rules",)),
    "two rules, one fact": ({"life_months": 12, "checks": [CheckFacts(CheckKind.CALIBRATION, interval_days=30)]}, ("installed_on",)),
}


@pytest.mark.parametrize(("facts", "missing"), MISSING.values(), ids=MISSING.keys())
def test_a_fact_that_is_missing_is_named_and_said(facts, missing):
    found = said(**facts)

    assert (found.standing, found.due_on, found.missing) == (Standing.UNKNOWN, None, missing)
    for fact in missing:
        assert MISSING_WORDS[fact] in found.because
        assert MISSING_WORDS[fact] in found.reason


def test_a_check_never_made_is_called_by_its_own_name_though_it_has_no_date():
    found = said(checks=[CheckFacts(CheckKind.CALIBRATION, interval_days=30)])

    assert found.rules[0].sentence == "Its calibration has never been done and the installation date is not on record."


def test_an_unknown_item_tells_the_date_it_is_due_by_at_the_latest():
    found = said(installed_on=INSTALLED, life_months=12, life_hours=5000)

    assert (found.standing, found.due_on, found.no_later_than) == (Standing.UNKNOWN, None, date(2026, 3, 1))
    assert found.binding is RuleKind.AGE
    assert [(one.kind, one.due_on, one.missing) for one in found.rules] == [
        (RuleKind.AGE, date(2026, 3, 1), ()),
        (RuleKind.HOURS, None, ("run_schedule",)),
    ]
    assert found.because.endswith("It cannot be dated for certain: no hours a day are on record.")


def test_an_item_already_due_has_its_date_though_a_fact_is_missing():
    found = said(today=date(2026, 3, 1), installed_on=INSTALLED, life_months=12, life_hours=5000)

    assert (found.standing, found.due_on, found.no_later_than) == (Standing.DUE, date(2026, 3, 1), None)
    assert found.missing == ("run_schedule",)


@pytest.mark.parametrize(("lead_days", "expected"), [(None, None), (0, date(2026, 3, 1)), (21, date(2026, 2, 8))])
def test_the_part_is_ordered_the_lead_time_before_it_is_due(lead_days, expected):
    assert said(installed_on=INSTALLED, life_months=12, lead_days=lead_days).order_by == expected


def test_nothing_is_ordered_for_a_check_that_is_to_be_made():
    found = said(checks=[CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 2, 1))], lead_days=7)

    assert (found.due_on, found.order_by) == (date(2026, 3, 3), None)


def test_every_rule_that_applies_is_answered_in_order():
    found = said(
        installed_on=INSTALLED,
        life_months=36,
        life_hours=50_000,
        schedule=TWELVE_A_DAY,
        expires_on=date(2030, 1, 1),
        output_minimum=2.0,
        readings=[(TODAY, 5.0)],
        checks=[CheckFacts(CheckKind.CALIBRATION, interval_months=36)],
    )

    assert tuple(one.kind for one in found.rules) == tuple(RuleKind)
    assert found.standing is Standing.GOOD
    assert all(one.sentence.endswith(".") and one.short for one in found.rules)
