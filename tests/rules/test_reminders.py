"""What must be done by when: stages by lead times, and reminders from night to night."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from domain.rules.reminders import Duty, Kept, Key, ReminderKind, ReminderState, Stage, reconcile

TODAY = date(2026, 3, 1)
SITE, OTHER = UUID(int=1), UUID(int=2)
RENEWAL = Duty(
    subject="permit",
    subject_id=UUID(int=7),
    kind=ReminderKind.RENEWAL,
    occurrence="1",
    due_on=date(2026, 4, 30),
    tell_from=date(2026, 2, 1),
    sentence="Apply for the renewal of L-12.",
    site_id=SITE,
)
DAYS = {SITE: TODAY, OTHER: TODAY, None: TODAY}


def kept(duty=RENEWAL, *, stage=Stage.AHEAD, state=ReminderState.OPEN, **rest):
    facts = {"id": UUID(int=9), "key": duty.key(stage), "due_on": duty.due_on, "state": state, "sentence": duty.sentence}
    return Kept(**{**facts, **rest})


def at_night(reminders=(), duties=(RENEWAL,), *, on=TODAY):
    return reconcile(reminders, duties, today={**DAYS, SITE: on})


@pytest.mark.parametrize(
    ("today", "stage"),
    [
        (date(2026, 1, 31), None),
        (date(2026, 2, 1), Stage.AHEAD),
        (date(2026, 4, 15), Stage.AHEAD),
        (date(2026, 4, 16), Stage.SOON),
        (date(2026, 4, 29), Stage.SOON),
        (date(2026, 4, 30), Stage.DUE),
        (date(2026, 5, 1), Stage.OVERDUE),
    ],
)
def test_the_stage_comes_of_the_lead_and_the_day_itself_is_in_time(today, stage):
    assert RENEWAL.stage(today=today) is stage


def test_a_short_lead_is_not_stretched_to_two_weeks():
    assert replace(RENEWAL, tell_from=date(2026, 4, 28)).stage(today=date(2026, 4, 20)) is None


def test_what_is_due_is_told_once():
    first = at_night()

    assert [(key.stage, duty.due_on) for key, duty in first.added] == [(Stage.AHEAD, date(2026, 4, 30))]
    again = at_night([kept()])
    assert (again.added, again.moved, again.woken, again.closed) == ((), (), (), ())


def test_the_next_stage_is_told_anew_and_closes_the_one_before():
    night = at_night([kept(state=ReminderState.ACKNOWLEDGED)], on=date(2026, 4, 16))
    open_before = at_night([kept()], on=date(2026, 4, 16))

    assert [key.stage for key, _ in night.added] == [Stage.SOON]
    assert (night.closed, [one.id for one in open_before.closed]) == ((), [UUID(int=9)])


def test_a_day_that_moves_is_moved_in_place():
    later = replace(RENEWAL, due_on=date(2026, 5, 5))

    (moved,) = at_night([kept()], [later]).moved

    assert (moved.duty.due_on, moved.opened) == (date(2026, 5, 5), False)


@pytest.mark.parametrize(("earlier_by", "opened"), [(0, False), (7, False), (8, True)], ids=["same", "a week", "more than a week"])
@pytest.mark.parametrize("state", [ReminderState.ACKNOWLEDGED, ReminderState.CLOSED])
def test_one_that_is_closed_is_opened_again_only_by_more_than_a_week(earlier_by, opened, state):
    duty = replace(RENEWAL, due_on=RENEWAL.due_on - timedelta(days=earlier_by))

    moved = at_night([kept(state=state)], [duty]).moved

    assert [one.opened for one in moved] == ([opened] if earlier_by else [])


def test_a_closed_one_is_opened_for_a_later_day_and_an_acknowledged_one_is_not():
    later = replace(RENEWAL, due_on=RENEWAL.due_on + timedelta(days=10))

    states = (ReminderState.CLOSED, ReminderState.ACKNOWLEDGED)
    assert [at_night([kept(state=one)], [later]).moved[0].opened for one in states] == [True, False]
    noted = Kept(
        id=UUID(int=3), key=RENEWAL.key(Stage.SOON), due_on=RENEWAL.due_on, state=ReminderState.ACKNOWLEDGED, sentence=RENEWAL.sentence
    )
    assert [one.opened for one in at_night([kept(state=ReminderState.CLOSED), noted], [later]).moved] == [False]


@pytest.mark.parametrize(("earlier_by", "woken"), [(7, False), (8, True)])
def test_one_that_is_put_off_wakes_when_its_day_moves_earlier_by_more_than_a_week(earlier_by, woken):
    earlier = replace(RENEWAL, due_on=RENEWAL.due_on - timedelta(days=earlier_by))

    (moved,) = at_night([kept(state=ReminderState.DEFERRED, deferred_until=date(2026, 6, 1))], [earlier]).moved

    assert moved.opened is woken


def test_what_is_no_longer_due_is_closed_and_what_was_acknowledged_left():
    assert [one.id for one in at_night([kept()], []).closed] == [UUID(int=9)]
    assert at_night([kept(state=ReminderState.ACKNOWLEDGED)], []).closed == ()


def test_another_occurrence_is_another_reminder():
    night = at_night([kept(state=ReminderState.CLOSED)], [replace(RENEWAL, occurrence="2")])

    assert [key.occurrence for key, _ in night.added] == ["2"]


@pytest.mark.parametrize(("until", "woken"), [(TODAY, 1), (date(2026, 3, 2), 0), (date(2026, 2, 1), 1)])
def test_one_that_was_deferred_wakes_on_its_day(until, woken):
    assert len(at_night([kept(state=ReminderState.DEFERRED, deferred_until=until)]).woken) == woken


def test_every_site_has_its_own_day():
    there = replace(RENEWAL, site_id=OTHER, subject_id=UUID(int=8))
    days = {SITE: date(2026, 4, 30), OTHER: date(2026, 5, 1)}

    stages = [key.stage for key, _ in reconcile([], [RENEWAL, there], today=days).added]

    assert stages == [Stage.DUE, Stage.OVERDUE]


duties = st.builds(
    Duty,
    subject=st.just("permit"),
    subject_id=st.integers(1, 3).map(lambda number: UUID(int=number)),
    kind=st.sampled_from([ReminderKind.RENEWAL, ReminderKind.RETURN]),
    occurrence=st.sampled_from(["1", "2"]),
    due_on=st.dates(date(2026, 2, 1), date(2026, 6, 1)),
    tell_from=st.dates(date(2026, 1, 1), date(2026, 2, 1)),
    sentence=st.just("s"),
)


@given(st.lists(duties, max_size=5), st.dates(date(2026, 1, 1), date(2026, 7, 1)))
def test_a_second_night_of_the_same_day_does_nothing(said, on):
    first = reconcile([], said, today={None: on})
    after = [
        Kept(id=UUID(int=n), key=key, due_on=duty.due_on, state=ReminderState.OPEN, sentence=duty.sentence)
        for n, (key, duty) in enumerate(first.added)
    ]

    again = reconcile(after, said, today={None: on})

    assert (again.added, again.woken, again.closed, again.moved) == ((), (), (), ())


def test_a_key_says_what_it_is_about_and_a_moved_one_which_it_was():
    assert RENEWAL.key(Stage.SOON) == Key("permit", UUID(int=7), ReminderKind.RENEWAL, "1", Stage.SOON)
    (moved,) = at_night([kept()], [replace(RENEWAL, sentence="t")]).moved
    assert moved.reminder.id == UUID(int=9)
