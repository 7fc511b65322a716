"""When an item's service life ends, and how it stands on a day."""

from __future__ import annotations

from dataclasses import fields
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.rules.calendar import as_date_or_none, as_days
from domain.rules.run_hours import RunPeriod, Season
from domain.rules.service_life import (
    CHECK_KINDS,
    RULE_KINDS,
    CheckFacts,
    CheckKind,
    RuleKind,
    ServiceColumns,
    Standing,
    due_on,
    hours_run_by,
    one_item,
    replacement_due,
    rule_dates,
    standings,
)
from tests.rules.many_items import together

INSTALLED = date(2025, 3, 1)
TWELVE_A_DAY = (RunPeriod(None, 12.0),)


def rule_says(facts: ServiceColumns, kind: RuleKind) -> date | None:
    return as_date_or_none(rule_dates(facts).due[0, RULE_KINDS.index(kind)])


def standing_on(facts: ServiceColumns, today: date, *, warn_days: int = 14) -> Standing:
    day = as_days([today])[0]
    return tuple(Standing)[standings(rule_dates(facts), today=day, warn_days=np.array([warn_days]))[0]]


def binding(facts: ServiceColumns) -> RuleKind:
    return RULE_KINDS[rule_dates(facts).binding[0]]


@pytest.mark.parametrize(
    ("installed_on", "limits", "expected"),
    [
        (date(2025, 3, 1), {"life_months": 12}, date(2026, 3, 1)),
        (date(2025, 8, 31), {"life_months": 6}, date(2026, 2, 28)),
        (date(2024, 2, 29), {"life_months": 12}, date(2025, 2, 28)),
        (date(2025, 3, 1), {"life_days": 52 * 7}, date(2026, 2, 28)),
        (date(2025, 3, 1), {"life_days": 365}, date(2026, 3, 1)),
        (date(2025, 3, 1), {"life_months": 12, "life_days": 300}, date(2025, 12, 26)),
        (date(2025, 3, 1), {"life_months": 1}, date(2025, 4, 1)),
        (date(2025, 3, 1), {"life_days": 1}, date(2025, 3, 2)),
    ],
)
def test_age_counts_calendar_months_or_days_from_installation(installed_on, limits, expected):
    assert due_on(one_item(installed_on=installed_on, **limits)) == expected


@pytest.mark.parametrize(("life_h", "days"), [(5000, 416), (4999.9, 416), (4992, 416), (4991.9, 415), (9000, 750), (11.9, 0), (12, 1)])
def test_hours_end_on_the_last_whole_day_within_the_limit(life_h, days):
    facts = one_item(installed_on=INSTALLED, life_hours=life_h, schedule=TWELVE_A_DAY)

    assert due_on(facts) == INSTALLED + timedelta(days=days)


def test_a_schedule_that_begins_on_the_day_of_installation_reaches_back_to_it():
    facts = one_item(installed_on=INSTALLED, life_hours=24, schedule=(RunPeriod(INSTALLED, 12.0),))

    assert due_on(facts) == INSTALLED + timedelta(days=2)


def test_hours_go_on_from_the_latest_counter_reading():
    facts = one_item(installed_on=INSTALLED, life_hours=5000, counted=(date(2026, 1, 10), 4000.0), schedule=TWELVE_A_DAY)

    assert due_on(facts) == date(2026, 1, 10) + timedelta(days=83)


def test_a_counter_makes_up_for_an_installation_date_that_is_not_on_record():
    facts = one_item(life_hours=5000, counted=(date(2026, 1, 10), 4000.0), schedule=TWELVE_A_DAY)

    assert due_on(facts) == date(2026, 1, 10) + timedelta(days=83)


def test_seasons_go_on_from_the_counter_where_the_installation_is_not_on_record():
    seasonal = (RunPeriod(None, None, (Season(4, 1, 14.0), Season(10, 1, 8.0))),)
    facts = one_item(life_hours=5000, counted=(date(2026, 3, 30), 4970.0), schedule=seasonal)

    # 16 h to the end of March, and a whole day of 14 h after it.
    assert due_on(facts) == date(2026, 4, 2)


def test_a_counter_at_the_limit_is_due_on_the_day_it_was_read():
    facts = one_item(installed_on=INSTALLED, life_hours=5000, counted=(date(2026, 1, 10), 5000.0), schedule=TWELVE_A_DAY)

    assert due_on(facts) == date(2026, 1, 10)


def test_a_counter_above_the_limit_is_due_on_the_day_it_was_first_seen_there_without_any_schedule():
    facts = one_item(life_hours=5000, counted=(date(2026, 2, 1), 5100.0), passed_on=date(2026, 1, 20))

    assert due_on(facts) == date(2026, 1, 20)


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({"expires_on": date(2026, 5, 31)}, date(2026, 5, 31)),
        ({"shelf_months": 24, "manufactured_on": date(2024, 8, 31)}, date(2026, 8, 31)),
        ({"shelf_months": 18, "manufactured_on": date(2024, 8, 31)}, date(2026, 2, 28)),
        ({"shelf_months": 24, "manufactured_on": date(2024, 8, 31), "expires_on": date(2026, 5, 31)}, date(2026, 5, 31)),
        ({"expires_on": date(2026, 5, 31), "opened_on": date(2026, 1, 1), "opened_days": 90}, date(2026, 4, 1)),
        ({"expires_on": date(2026, 3, 31), "opened_on": date(2026, 1, 1), "opened_days": 90}, date(2026, 3, 31)),
        ({"expires_on": date(2026, 5, 31), "opened_days": 90}, date(2026, 5, 31)),
        ({"opened_on": date(2026, 1, 1), "opened_days": 90}, date(2026, 4, 1)),
    ],
)
def test_shelf_life_ends_by_print_or_by_opening_whichever_is_first(facts, expected):
    assert due_on(one_item(**facts)) == expected


def test_an_opening_says_nothing_where_the_model_has_no_limit_for_it():
    facts = one_item(expires_on=date(2026, 5, 31), opened_on=date(2026, 1, 1))

    assert due_on(facts) == date(2026, 5, 31)


@pytest.mark.parametrize(("value", "expected"), [(2.1, None), (2.0, None), (1.9, date(2026, 2, 1))])
def test_output_is_due_on_the_date_of_the_reading_below_its_minimum(value, expected):
    facts = one_item(output_minimum=2.0, readings=[(INSTALLED, 5.0), (date(2026, 2, 1), value)])

    assert rule_says(facts, RuleKind.OUTPUT) == expected


@pytest.mark.parametrize(("value", "expected"), [(3.5, None), (3.4, date(2026, 2, 1))])
def test_a_share_is_taken_of_the_first_reading_after_burn_in(value, expected):
    # 100 h at 12 h a day are over on the ninth day; the reading of 9.0 is taken before.
    facts = one_item(
        installed_on=INSTALLED,
        output_share=0.7,
        burn_in_hours=100,
        schedule=TWELVE_A_DAY,
        readings=[(date(2025, 3, 9), 9.0), (date(2025, 3, 10), 5.0), (date(2026, 2, 1), value)],
    )

    assert rule_says(facts, RuleKind.OUTPUT) == expected


def test_burn_in_that_ends_at_a_days_end_is_over_the_day_after():
    readings = [(date(2025, 3, 3), 9.0), (date(2025, 3, 4), 5.0)]
    facts = one_item(installed_on=INSTALLED, output_share=0.7, burn_in_hours=24, schedule=TWELVE_A_DAY, readings=readings)

    assert rule_dates(facts).output.first[0] == 5.0


@pytest.mark.parametrize(("burn_in_hours", "first"), [(None, 9.0), (0, 9.0), (0.5, 5.0), (12, 4.0)])
def test_a_reading_on_the_first_day_counts_only_where_nothing_burns_in(burn_in_hours, first):
    readings = [(INSTALLED, 9.0), (date(2025, 3, 2), 5.0), (date(2025, 3, 3), 4.0)]
    stated = {"installed_on": INSTALLED, "output_share": 0.7, "schedule": TWELVE_A_DAY, "readings": readings}
    beside = one_item(**stated, burn_in_hours=12)

    found = rule_dates(together([one_item(**stated, burn_in_hours=burn_in_hours), beside])).output.first

    assert found.tolist() == [first, 4.0]


def test_a_check_is_due_its_interval_after_the_last_one_or_after_installation():
    plan = {"kind": CheckKind.RESIDUAL_CURRENT, "interval_months": 6}
    never = one_item(installed_on=date(2025, 8, 31), checks=[CheckFacts(**plan)])
    once = one_item(installed_on=date(2025, 8, 31), checks=[CheckFacts(**plan, checked_on=date(2025, 12, 1))])

    assert due_on(never) == date(2026, 2, 28)
    assert due_on(once) == date(2026, 6, 1)


def test_a_failed_check_is_due_on_its_own_date_even_without_an_interval():
    check = CheckFacts(CheckKind.CALIBRATION, checked_on=date(2026, 2, 3), failed_on=date(2026, 2, 1))

    assert due_on(one_item(checks=[check])) == date(2026, 2, 1)


def test_each_kind_of_check_has_its_own_date():
    checks = [
        CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 1, 1)),
        CheckFacts(CheckKind.ELECTRICAL, interval_months=12, checked_on=date(2025, 2, 1)),
    ]

    dates = rule_dates(one_item(checks=checks))

    by_kind = {kind: as_date_or_none(dates.check_due[0, c]) for c, kind in enumerate(CHECK_KINDS)}
    assert by_kind == {
        CheckKind.RESIDUAL_CURRENT: None,
        CheckKind.ELECTRICAL: date(2026, 2, 1),
        CheckKind.CALIBRATION: date(2026, 1, 31),
    }
    assert as_date_or_none(dates.first_due[0]) == date(2026, 1, 31)


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({"life_months": 12, "life_hours": 4000.0}, RuleKind.HOURS),
        ({"life_months": 3, "life_hours": 4000.0}, RuleKind.AGE),
        ({"life_months": 12, "expires_on": date(2026, 2, 27)}, RuleKind.SHELF),
        ({"life_months": 12, "output_minimum": 2.0, "readings": [(date(2025, 6, 1), 1.0)]}, RuleKind.OUTPUT),
        ({"life_months": 12, "checks": [CheckFacts(CheckKind.CALIBRATION, interval_days=30)]}, RuleKind.CHECK),
    ],
)
def test_the_rule_with_the_earliest_date_binds(facts, expected):
    assert binding(one_item(installed_on=INSTALLED, schedule=TWELVE_A_DAY, **facts)) is expected


def test_a_tie_is_decided_in_the_order_of_the_rules():
    # 365 days after 1 March 2025 is 1 March 2026 by every rule.
    tied = {
        RuleKind.AGE: {"life_months": 12},
        RuleKind.HOURS: {"life_hours": 365 * 12.0},
        RuleKind.SHELF: {"expires_on": date(2026, 3, 1)},
        RuleKind.OUTPUT: {"output_minimum": 2.0, "readings": [(date(2026, 3, 1), 1.0)]},
        RuleKind.CHECK: {"checks": [CheckFacts(CheckKind.CALIBRATION, interval_days=365)]},
    }
    for first in range(len(RULE_KINDS)):
        together = {name: value for kind in RULE_KINDS[first:] for name, value in tied[kind].items()}
        facts = one_item(installed_on=INSTALLED, schedule=TWELVE_A_DAY, **together)

        assert due_on(facts) == date(2026, 3, 1)
        assert binding(facts) is RULE_KINDS[first]


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2026, 2, 14), Standing.GOOD),
        (date(2026, 2, 15), Standing.DUE_SOON),
        (date(2026, 2, 28), Standing.DUE_SOON),
        (date(2026, 3, 1), Standing.DUE),
        (date(2026, 3, 2), Standing.OVERDUE),
    ],
)
def test_the_due_date_itself_is_within_life(today, expected):
    assert standing_on(one_item(installed_on=INSTALLED, life_months=12), today) is expected


@pytest.mark.parametrize(("warn_days", "expected"), [(0, Standing.GOOD), (1, Standing.DUE_SOON), (60, Standing.DUE_SOON)])
def test_the_warning_days_are_the_models(warn_days, expected):
    facts = one_item(installed_on=INSTALLED, life_months=12)

    assert standing_on(facts, date(2026, 2, 28), warn_days=warn_days) is expected


NOT_DECIDED = {
    "age without installation": {"life_months": 12},
    "age of a month without installation": {"life_months": 1},
    "age of a day without installation": {"life_days": 1},
    "hours without schedule": {"installed_on": INSTALLED, "life_hours": 5000.0},
    "hours without installation": {"life_hours": 5000.0, "schedule": TWELVE_A_DAY},
    "hours before the schedule begins": {
        "installed_on": INSTALLED,
        "life_hours": 5000.0,
        "schedule": (RunPeriod(date(2025, 3, 2), 12.0),),
    },
    "hours after a counter without schedule": {"life_hours": 5000.0, "counted": (date(2026, 1, 1), 100.0)},
    "shelf without any date": {"shelf_months": 24},
    "shelf of a month without any date beside an age": {"installed_on": INSTALLED, "life_months": 600, "shelf_months": 1},
    "shelf with only an opening": {"shelf_months": 24, "opened_on": date(2026, 2, 1), "opened_days": 90},
    "output never measured": {"output_minimum": 2.0},
    "share never measured": {"installed_on": INSTALLED, "output_share": 0.7},
    "share measured before burn-in only": {
        "installed_on": INSTALLED,
        "output_share": 0.7,
        "burn_in_hours": 100,
        "schedule": TWELVE_A_DAY,
        "readings": [(date(2025, 3, 2), 5.0)],
    },
    "share without a schedule for the burn-in": {
        "installed_on": INSTALLED,
        "output_share": 0.7,
        "burn_in_hours": 100,
        "readings": [(date(2025, 6, 1), 5.0)],
    },
    "check never made on an item of unknown installation": {"checks": [CheckFacts(CheckKind.ELECTRICAL, interval_months=12)]},
    "check every month never made": {"checks": [CheckFacts(CheckKind.ELECTRICAL, interval_months=1)]},
    "check every day never made": {"checks": [CheckFacts(CheckKind.ELECTRICAL, interval_days=1)]},
    "no rule at all": {"installed_on": INSTALLED},
}


@pytest.mark.parametrize("facts", NOT_DECIDED.values(), ids=NOT_DECIDED.keys())
def test_what_cannot_be_decided_is_unknown_and_never_good(facts):
    item = one_item(**facts)

    assert rule_dates(item).undecided[0]
    assert due_on(item) is None
    assert standing_on(item, date(2026, 3, 1)) is Standing.UNKNOWN
    assert standing_on(item, date(2026, 3, 1), warn_days=3650) is Standing.UNKNOWN


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        (date(2026, 2, 28), Standing.UNKNOWN),
        (date(2026, 3, 1), Standing.DUE),
        (date(2026, 3, 2), Standing.OVERDUE),
    ],
)
def test_an_item_that_is_due_stays_so_whatever_else_is_missing(today, expected):
    facts = one_item(installed_on=INSTALLED, life_months=12, life_hours=5000)

    assert as_date_or_none(rule_dates(facts).first_due[0]) == date(2026, 3, 1)
    assert standing_on(facts, today) is expected


def test_an_item_whose_hours_are_never_used_up_is_good_without_a_date():
    facts = one_item(installed_on=INSTALLED, life_hours=5000, schedule=(RunPeriod(None, 0.0),))

    assert due_on(facts) is None
    assert standing_on(facts, date(2026, 3, 1)) is Standing.GOOD


def test_a_reading_below_the_absolute_minimum_is_decided_though_the_share_is_not():
    facts = one_item(output_minimum=2.0, output_share=0.7, readings=[(date(2026, 1, 1), 1.0)])

    assert due_on(facts) == date(2026, 1, 1)


def test_a_part_is_needed_for_a_failed_check_and_not_for_one_to_be_made():
    to_be_made = CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 1, 1))
    failed = CheckFacts(CheckKind.CALIBRATION, interval_days=30, checked_on=date(2026, 1, 1), failed_on=date(2026, 1, 1))
    facts = [one_item(installed_on=INSTALLED, life_months=12, checks=[check]) for check in (to_be_made, failed)]

    assert [as_date_or_none(replacement_due(rule_dates(one), one)[0]) for one in facts] == [date(2026, 3, 1), date(2026, 1, 1)]


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({"installed_on": INSTALLED, "schedule": TWELVE_A_DAY}, 120.0),
        ({"installed_on": INSTALLED, "schedule": TWELVE_A_DAY, "counted": (date(2025, 3, 6), 70.0)}, 130.0),
        ({"installed_on": INSTALLED, "counted": (date(2025, 3, 6), 70.0)}, 70.0),
        ({"installed_on": INSTALLED}, np.nan),
        ({"schedule": TWELVE_A_DAY}, np.nan),
    ],
)
def test_hours_run_so_far(facts, expected):
    np.testing.assert_equal(hours_run_by(one_item(**facts), np.datetime64("2025-03-11", "D"))[0], expected)


def maybe(of):
    return st.one_of(st.none(), of)


DAYS = st.dates(date(2023, 1, 1), date(2027, 12, 31))
QUARTER_HOURS = st.integers(0, 96).map(lambda quarters: quarters / 4)
PERIODS = st.one_of(
    st.builds(RunPeriod, maybe(DAYS), QUARTER_HOURS),
    st.builds(
        lambda on, summer, winter: RunPeriod(on, None, (Season(4, 1, summer), Season(10, 1, winter))),
        maybe(DAYS),
        QUARTER_HOURS,
        QUARTER_HOURS,
    ),
)
CHECKS = st.builds(
    CheckFacts,
    st.sampled_from(CHECK_KINDS),
    interval_months=st.integers(0, 24),
    interval_days=st.integers(0, 60),
    checked_on=maybe(DAYS),
    failed_on=maybe(DAYS),
)
READINGS = st.lists(st.tuples(DAYS, st.integers(0, 12).map(float)), max_size=5).map(lambda rows: sorted(rows, key=lambda one: one[0]))
ITEMS = st.fixed_dictionaries(
    {},
    optional={
        "installed_on": maybe(DAYS),
        "life_months": st.integers(0, 36),
        "life_days": st.integers(0, 1000),
        "life_hours": st.integers(1, 12_000).map(float),
        "counted": st.tuples(DAYS, st.integers(0, 12_000).map(float)),
        "passed_on": maybe(DAYS),
        "schedule": st.lists(PERIODS, max_size=3, unique_by=lambda one: one.starts_on),
        "expires_on": maybe(DAYS),
        "manufactured_on": maybe(DAYS),
        "shelf_months": st.integers(0, 36),
        "opened_on": maybe(DAYS),
        "opened_days": st.integers(0, 400),
        "output_minimum": st.integers(1, 6).map(float),
        "output_share": st.integers(1, 9).map(lambda tenths: tenths / 10),
        "burn_in_hours": st.integers(0, 200).map(float),
        "readings": READINGS,
        "checks": st.lists(CHECKS, max_size=3, unique_by=lambda one: one.kind),
    },
).map(lambda stated: one_item(**stated))


def everything_said(facts: ServiceColumns, today: date) -> dict[str, np.ndarray]:
    day, dates = as_days([today])[0], rule_dates(facts)
    return {
        "due": dates.due,
        "applies": dates.applies,
        "decided": dates.decided,
        "check_due": dates.check_due,
        "first_due": dates.first_due,
        "binding": np.where(np.isnat(dates.first_due), -1, dates.binding),
        "undecided": dates.undecided,
        "standing": standings(dates, today=day, warn_days=np.full(len(facts), 14)),
        "replacement_due": replacement_due(dates, facts),
        "hours_run": hours_run_by(facts, day),
        **{f"output_{field.name}": getattr(dates.output, field.name) for field in fields(dates.output)},
    }


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(ITEMS, min_size=1, max_size=6), DAYS)
def test_many_items_are_judged_like_each_of_them_alone(items, today):
    alone = [everything_said(one, today) for one in items]

    at_once = everything_said(together(items), today)

    for name, found in at_once.items():
        np.testing.assert_array_equal(found, np.concatenate([one[name] for one in alone]), err_msg=name)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(ITEMS, DAYS)
def test_a_standing_agrees_with_the_dates_and_unknown_is_never_good(item, today):
    dates = rule_dates(item)
    first = as_date_or_none(dates.first_due[0])

    standing = standing_on(item, today)

    assert (standing is Standing.OVERDUE) == (first is not None and first < today)
    assert (standing is Standing.DUE) == (first == today)
    if standing in {Standing.GOOD, Standing.DUE_SOON}:
        assert not dates.undecided[0]
