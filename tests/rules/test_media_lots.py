"""Lots of filter media on one life-support system are kept apart."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from domain.rules.media_lots import MediaLot, spaced_visits

TODAY = date(2026, 3, 1)


def visits(*due_in_days: int, gap: int = 14) -> list[tuple[str, int, bool]]:
    """Return each visit as its tag, the days from today and whether a conflict is said; lots are A, B, C in the order given."""
    lots = [MediaLot(chr(ord("A") + i), TODAY + timedelta(days=days)) for i, days in enumerate(due_in_days)]
    return [(one.tag, (one.do_on - TODAY).days, one.conflict is not None) for one in spaced_visits(lots, least_gap_days=gap, today=TODAY)]


def test_a_single_lot_is_done_when_it_is_due_and_today_at_the_earliest():
    assert visits(20) == [("A", 20, False)]
    assert visits(0) == [("A", 0, False)]
    assert visits(-5) == [("A", 0, False)]


def test_without_lots_there_is_nothing_to_do():
    assert spaced_visits([], least_gap_days=14, today=TODAY) == []


def test_lots_a_gap_apart_stay_where_they_are():
    assert visits(20, 34) == [("A", 20, False), ("B", 34, False)]


def test_the_lot_due_first_is_done_earlier():
    assert visits(20, 33) == [("A", 19, False), ("B", 33, False)]
    assert visits(30, 20) == [("B", 16, False), ("A", 30, False)]


def test_two_lots_due_on_one_day_are_ordered_by_tag():
    assert visits(20, 20) == [("A", 6, False), ("B", 20, False)]


def test_earlier_lots_move_in_a_row():
    assert visits(40, 41, 42) == [("A", 14, False), ("B", 28, False), ("C", 42, False)]


def test_where_today_is_too_late_the_second_lot_waits_and_both_say_so():
    assert visits(5, 8) == [("A", 0, True), ("B", 14, True)]
    assert visits(5, 14) == [("A", 0, False), ("B", 14, False)]
    assert visits(-30, -20) == [("A", 0, True), ("B", 14, True)]


def test_a_conflict_names_the_lots_the_days_and_what_to_watch():
    lots = [MediaLot("F-1", date(2026, 3, 6)), MediaLot("F-2", date(2026, 3, 9))]

    first, second = spaced_visits(lots, least_gap_days=14, today=TODAY)

    assert (first.do_on, second.do_on) == (date(2026, 3, 1), date(2026, 3, 15))
    assert first.conflict == second.conflict
    assert second.conflict == (
        "F-2 is due on 9 March 2026 but may not be changed within 14 days of F-1 (1 March 2026) in the same system; "
        "change F-2 not before 15 March 2026, and watch ammonia and nitrite."
    )


def test_a_lot_done_before_its_own_date_says_why():
    lots = [MediaLot("F-1", date(2026, 3, 21)), MediaLot("F-2", date(2026, 3, 23))]

    first, second = spaced_visits(lots, least_gap_days=14, today=TODAY)

    assert "9 March 2026, before its own date" in (first.early or "")
    assert (first.conflict, second.conflict, second.early) == (None, None, None)


def test_a_lot_that_can_keep_its_date_behind_waiting_lots_has_no_conflict():
    assert visits(0, 1, 60) == [("A", 0, True), ("B", 14, True), ("C", 60, False)]


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.integers(-60, 120), max_size=8), st.integers(1, 40))
def test_no_two_visits_are_closer_than_the_gap_nor_any_late_without_saying_so(due_in_days, gap):
    lots = [MediaLot(f"F-{i}", TODAY + timedelta(days=days)) for i, days in enumerate(due_in_days)]
    due = {lot.tag: lot.due_on for lot in lots}

    found = spaced_visits(lots, least_gap_days=gap, today=TODAY)

    assert [one.tag for one in found] == sorted(due, key=lambda tag: (due[tag], tag))
    assert all((later.do_on - one.do_on).days >= gap for one, later in pairwise(found))
    assert all(one.do_on >= TODAY for one in found)
    assert all(one.conflict for one in found if one.do_on > max(due[one.tag], TODAY))
    assert all((one.early is not None) == (one.do_on < due[one.tag]) for one in found)
    assert all(
        one.conflict is None or any(one.conflict == other.conflict and other.do_on > due[other.tag] for other in found) for one in found
    )


def test_the_first_visit_keeps_the_gap_from_the_last_change():
    lots = [MediaLot("F-1", date(2026, 3, 2)), MediaLot("F-2", date(2026, 3, 9))]

    first, second = spaced_visits(lots, least_gap_days=14, today=TODAY, last_changed_on=date(2026, 2, 25))

    assert (first.do_on, second.do_on) == (date(2026, 3, 11), date(2026, 3, 25))
    assert "within 14 days of the last change (25 February 2026)" in (first.conflict or "")


def test_a_change_long_ago_holds_nothing_up():
    (visit,) = spaced_visits([MediaLot("F-1", date(2026, 3, 2))], least_gap_days=14, today=TODAY, last_changed_on=date(2024, 9, 2))

    assert (visit.do_on, visit.conflict) == (date(2026, 3, 2), None)
