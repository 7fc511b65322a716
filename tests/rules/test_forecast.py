"""The answer for one item, in dates and in a sentence that a person understands."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from domain.rules.forecast import MISSING_WORDS, Forecast, ItemWords, Need, RuleAnswer, forecast, outlook
from domain.rules.run_hours import RunPeriod, Season
from domain.rules.service_life import CheckFacts, CheckKind, RuleKind, Standing, one_item
from tests.rules.forecast_answers import ANSWERS, INSTALLED, TODAY, TWELVE_A_DAY
from tests.rules.many_items import together


def said(*, today: date = TODAY, lead_days: int | None = None, unit: str = "", warn_days: int = 14, **facts: Any) -> Forecast:
    view = outlook(one_item(**facts), today=today, warn_days=np.array([warn_days]))
    return forecast(view, 0, words=ItemWords(facts.get("schedule", ()), unit), lead_days=lead_days)


def first_rule(**facts: Any) -> RuleAnswer:
    return said(**facts).rules[0]


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
    assert found.as_of == TODAY


def test_of_several_later_rules_the_next_one_is_named():
    found = said(
        installed_on=INSTALLED,
        life_months=24,
        life_hours=4500,
        schedule=TWELVE_A_DAY,
        expires_on=date(2026, 6, 1),
        checks=[CheckFacts(CheckKind.CALIBRATION, interval_days=90, checked_on=TODAY)],
    )

    assert found.binding is RuleKind.HOURS
    assert found.because.endswith(" The next check would allow until 21 May 2026.")


def test_a_rule_that_ends_on_the_same_day_is_named_too():
    found = said(installed_on=INSTALLED, life_months=12, expires_on=date(2026, 3, 1))

    assert found.because.endswith(" The shelf date would allow until 1 March 2026.")


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
    ("hours_per_day", "run_h", "reason"),
    [(7.25, 21.8, "run 21.8 h of 29 h"), (1 / 3, 1.0, "run 1 h of 1.3 h"), (0.01, 0.0, "run 0 h of 0 h")],
)
def test_hours_are_told_to_a_tenth(hours_per_day, run_h, reason):
    facts = {"installed_on": date(2026, 2, 17), "life_hours": 4 * hours_per_day, "schedule": (RunPeriod(None, hours_per_day),)}

    assert (first_rule(**facts).run_h, said(**facts).reason) == (run_h, reason)


@pytest.mark.parametrize(
    ("facts", "before", "on", "after"),
    [
        ({"installed_on": INSTALLED, "life_months": 12}, "It reaches its", "It reaches its", "It reached its"),
        (
            {"installed_on": INSTALLED, "life_hours": 365 * 12, "schedule": TWELVE_A_DAY},
            "It will have run its",
            "It will have run its",
            "It had run its",
        ),
        ({"expires_on": date(2026, 3, 1)}, "Its shelf life ends", "Its shelf life ends", "Its shelf life ended"),
        (
            {"installed_on": INSTALLED, "checks": [CheckFacts(CheckKind.CALIBRATION, interval_months=12)]},
            "Its calibration is due",
            "Its calibration is due",
            "Its calibration was due",
        ),
    ],
)
def test_on_the_due_date_itself_the_end_is_still_to_come(facts, before, on, after):
    days = [date(2026, 2, 28), date(2026, 3, 1), date(2026, 3, 2)]

    found = [said(today=day, **facts).because for day in days]

    assert [sentence.startswith(words) for sentence, words in zip(found, (before, on, after), strict=True)] == [True] * 3


@pytest.mark.parametrize(
    ("facts", "sentence", "reason"),
    [
        (
            {"installed_on": TODAY, "life_days": 28},
            "It reaches its age limit of 28 days on 20 March 2026 (installed 20 February 2026).",
            "0 days old, limit 28 days",
        ),
        (
            {"installed_on": date(2026, 3, 1), "life_days": 28},
            "It reaches its age limit of 28 days on 29 March 2026 (installed 1 March 2026).",
            "0 days old, limit 28 days",
        ),
        (
            {"installed_on": date(2026, 1, 1), "life_months": 2, "life_days": 90},
            "It reaches its age limit of 2 months or 90 days on 1 March 2026 (installed 1 January 2026).",
            "1 month old, limit 2 months or 90 days",
        ),
        (
            {"installed_on": TODAY, "life_hours": 120, "schedule": TWELVE_A_DAY},
            "It will have run its 120 h by 2 March 2026 (0 h so far, 12 h/day).",
            "run 0 h of 120 h",
        ),
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
            {"output_minimum": 2.0, "readings": [(date(2026, 2, 1), 1.5)]},
            "Output was 1.5 on 1 February 2026, below the minimum of 2.",
            "output 1.5, limit 2",
        ),
        (
            {
                "installed_on": INSTALLED,
                "output_minimum": 4.0,
                "output_share": 0.5,
                "readings": [(date(2025, 3, 2), 5.0), (date(2026, 2, 1), 3.5)],
                "unit": "UVI",
            },
            "Output was 3.5 UVI on 1 February 2026, below the minimum of 4 UVI.",
            "output 3.5 UVI, limit 4 UVI",
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


def test_rules_that_end_nothing_yet_are_all_said():
    found = said(
        installed_on=INSTALLED,
        life_hours=5000,
        schedule=(RunPeriod(None, 0.0),),
        output_minimum=2.0,
        readings=[(date(2026, 2, 1), 5.0)],
        unit="UVI",
    )

    assert found.because == (
        "Its limit of 5\u00a0000 running hours is never reached on the present schedule (0 h/day). "
        "Output was 5 UVI on 1 February 2026, not below the minimum of 2 UVI."
    )


@pytest.mark.parametrize(("facts", "answer"), ANSWERS.values(), ids=ANSWERS.keys())
def test_a_rule_answers_with_the_facts_it_used_and_no_others(facts, answer):
    assert first_rule(**facts) == answer


def test_an_item_among_many_is_said_like_the_item_alone():
    stated = [
        {"installed_on": INSTALLED, "checks": [CheckFacts(CheckKind.CALIBRATION, interval_months=6)], "schedule": TWELVE_A_DAY},
        {"life_hours": 5000.0},
        {"checks": [CheckFacts(CheckKind.ELECTRICAL, checked_on=date(2026, 2, 3), failed_on=date(2026, 2, 3))]},
        *(facts for facts, _ in ANSWERS.values()),
        *(facts for facts, _ in MISSING.values()),
    ]
    view = outlook(
        together([one_item(**{name: value for name, value in facts.items() if name != "unit"}) for facts in stated]),
        today=TODAY,
        warn_days=np.full(len(stated), 14),
    )

    for i, facts in enumerate(stated):
        words = ItemWords(facts.get("schedule", ()), facts.get("unit", ""))
        assert forecast(view, i, words=words, lead_days=None) == said(**facts)


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
    "share, schedule for an hour": (
        {"installed_on": INSTALLED, "output_share": 0.7, "burn_in_hours": 1.0, "readings": [(TODAY, 5.0)]},
        ("run_schedule",),
    ),
    "share, nothing burns in": (
        {"installed_on": INSTALLED, "output_share": 0.7, "readings": [(date(2025, 2, 28), 5.0)]},
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
    in_words = " and ".join(MISSING_WORDS[fact] for fact in missing)
    assert (found.because, found.reason) == (f"It cannot be dated for certain: {in_words}.", in_words)


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
    assert all(one.sentence.endswith(".") for one in found.rules)
