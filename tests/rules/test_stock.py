"""The stock statement: every number under its heading, and the sum checked."""

from __future__ import annotations

from datetime import date
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.lives import EventKind, LifeStage, Sex
from domain.rules.stock import COLUMNS, IN, OUT, Account, Line, Passage, accounts_of, column_of, is_too_long, out_of_balance, total

HERE, THERE = (Line(UUID(int=site), UUID(int=9), Sex.FEMALE, LifeStage.ADULT) for site in (1, 2))


def accounts(*, opening=(), closing=(), events=(), passages=()):
    return accounts_of(opening=opening, closing=closing, events=events, passages=passages)


@pytest.mark.parametrize(
    ("kind", "change", "column"),
    [
        (EventKind.BORN, 2, "births"),
        (EventKind.HATCHED, 2, "births"),
        (EventKind.LAID, 2, "births"),
        (EventKind.ACQUIRED, 2, "arrivals"),
        (EventKind.RETURNED, 2, "arrivals"),
        (EventKind.DIED, -2, "deaths"),
        (EventKind.DEPARTED, -2, "departures"),
        (EventKind.HATCHED_OUT, -2, "hatched_out"),
        (EventKind.SPLIT_FROM, 2, "changed_in"),
        (EventKind.JOINED_BY, 2, "changed_in"),
        (EventKind.SPLIT_OFF, -2, "changed_out"),
        (EventKind.JOINED, -2, "changed_out"),
        (EventKind.COUNTED, 2, "counted_more"),
        (EventKind.COUNTED, -2, "counted_fewer"),
        (EventKind.ESTIMATED, -2, "counted_fewer"),
    ],
)
def test_an_event_is_entered_under_its_heading_with_the_number_that_it_changed(kind, change, column):
    found = accounts(events=[(HERE, kind, change)])

    assert column_of(kind, change=change) == column
    assert found == {HERE: Account(**{column: 2})}


@pytest.mark.parametrize(("moved", "left", "came"), [(True, "moved_out", "moved_in"), (False, "changed_out", "changed_in")])
def test_who_goes_from_one_line_to_another_leaves_the_one_and_comes_to_the_other(moved, left, came):
    found = accounts(passages=[Passage(HERE, THERE, 3, moved=moved)])

    assert found == {HERE: Account(**{left: 3}), THERE: Account(**{came: 3})}


def test_opening_and_closing_are_what_was_counted_and_the_sum_is_checked():
    events = [(HERE, EventKind.BORN, 2), (HERE, EventKind.DIED, -1)]

    right, wrong = (accounts(opening=[(HERE, 5)], closing=[(HERE, number)], events=events) for number in (6, 7))

    assert (right[HERE].reckoned, right[HERE].balances, out_of_balance(right)) == (6, True, [])
    assert (wrong[HERE].reckoned, wrong[HERE].balances, out_of_balance(wrong)) == (6, False, [HERE])


def test_a_line_in_which_nothing_was_or_happened_is_left_out():
    assert accounts(opening=[(HERE, 0)], passages=[Passage(HERE, THERE, 0, moved=True)]) == {}
    assert Account().is_empty
    assert not Account(closing=1).is_empty


numbers = st.builds(Account, **{name: st.integers(0, 50) for name in COLUMNS})


@given(st.lists(numbers, max_size=5))
def test_a_sum_of_lines_is_reckoned_as_its_lines_are(several):
    summed = total(several)

    assert summed.reckoned == sum(one.reckoned for one in several)
    assert [getattr(summed, name) for name in COLUMNS] == [sum(getattr(one, name) for one in several) for name in COLUMNS]


def test_every_column_is_either_opening_or_closing_or_comes_or_goes():
    assert ("opening", *IN, *OUT, "closing") == COLUMNS


@pytest.mark.parametrize(
    ("until_on", "too_long"), [(date(2026, 2, 27), False), (date(2026, 2, 28), True), (date(2016, 2, 28), False), (date(2027, 1, 1), True)]
)
def test_a_period_ends_before_the_same_day_of_the_tenth_year(until_on, too_long):
    assert is_too_long(date(2016, 2, 28), until_on) is too_long
