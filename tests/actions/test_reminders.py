"""Reminders from night to night, and what people do about them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from domain.actions.equipment import change_equipment, end_equipment
from domain.actions.night import run_night
from domain.actions.permits import change_permit
from domain.actions.recording import Ending
from domain.actions.reminders import (
    Reminded,
    acknowledge_reminder,
    defer_reminder,
    hand_reminder,
    is_replay,
    remind_at,
    remind_organisation,
)
from domain.actions.sites import end_site
from domain.errors import NotAllowed, NotFound
from domain.records.base import table_of
from domain.records.equipment import Equipment
from domain.records.permits import Permit
from domain.records.reminders import Deferral, Handing, Reminder
from domain.records.statements import Statement
from domain.rules.law.spans import Span, Unit
from domain.rules.permissions import Role
from domain.rules.reminders import ReminderKind, ReminderState, Stage
from tests import makers
from tests.actions.of_animals import bound_to, refusal
from tests.behind import proven

pytestmark = pytest.mark.usefixtures("organisation")

NOTHING = Reminded()
ALL = Statement(table_of(Reminder).select().order_by(table_of(Reminder).c.due_on, table_of(Reminder).c.id))


def night(store, site, *, days=0, at=None):
    """Run the night of a site some days after the first, and return what became of its reminders."""
    with store.transaction(makers.origin(at=at or makers.NOON + timedelta(days=days))) as unit:
        run_night(unit, site)
        return remind_at(unit, site)


def whole_night(store, *, days=0):
    with store.transaction(makers.origin(at=makers.NOON + timedelta(days=days))) as unit:
        return remind_organisation(unit)


def on_record(store, **facts):
    with store.snapshot(makers.origin()) as unit:
        found = unit.all(Reminder, ALL)
    return [one for one in found if all(getattr(one, name) == value for name, value in facts.items())]


def stages(store):
    return [(one.stage.value, one.state.value) for one in on_record(store)]


@pytest.fixture
def lamp(store):
    """Return a lamp that is due on 10 March, at a site of its own, with that site."""
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        return site, makers.equipment(unit, makers.model(unit, life_months=12, warn_days=30), site, installed_on="2025-03-10")


@pytest.fixture
def licence(store):
    """Return a permit of the whole organisation that lasts until 31 March and has to be renewed two weeks before."""
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit, "keeping", renewal_lead=Span(14, Unit.DAYS))
        return makers.permit(unit, valid_until="2026-03-31")


def changed(store, record, action, found, **patch):
    with store.transaction(makers.origin()) as unit:
        return action(unit, found.id, patch, expected_version=unit.fetch(record, found.id).version)


def acted(store, action, *given, days=0):
    """Do something about the one reminder that is standing."""
    [standing] = [one for one in on_record(store) if one.state in {ReminderState.OPEN, ReminderState.DEFERRED}]
    with store.transaction(makers.origin(at=makers.NOON + timedelta(days=days))) as unit:
        return action(unit, standing.id, *given)


def test_a_lamp_that_is_due_soon_is_told_once(store, lamp):
    site, item = lamp

    first, second = night(store, site), night(store, site)

    assert (first, second) == (Reminded(added=1), NOTHING)
    [one] = on_record(store)
    assert (one.subject, one.subject_id, one.kind, one.site_id) == ("equipment", item.id, ReminderKind.REPLACEMENT, site.id)
    assert (one.stage, one.due_on, one.state) == (Stage.SOON, date(2026, 3, 10), ReminderState.OPEN)
    assert one.sentence.startswith("Replace RE-1 (Halden T5 54W high).")
    assert proven(store).flaws == []


def test_each_stage_is_told_and_closes_the_one_before(store, lamp):
    site, _ = lamp

    found = [night(store, site, days=days) for days in (0, 8, 9, 10, 11)]

    assert found == [Reminded(added=1), NOTHING, *[Reminded(added=1, closed=1)] * 2, NOTHING]
    assert stages(store) == [("soon", "closed"), ("due", "closed"), ("overdue", "open")]


def test_a_due_date_that_moves_is_moved_in_place(store, lamp):
    site, _ = lamp
    night(store, site)
    with store.transaction(makers.origin()) as unit:
        makers.behind(unit, "UPDATE forecast SET due_on = '2026-03-08'")
        assert remind_at(unit, site) == Reminded(moved=1)

    [one] = on_record(store)
    assert (one.due_on, one.version, one.state) == (date(2026, 3, 8), 2, ReminderState.OPEN)


@pytest.mark.parametrize(("until", "state", "opened"), [("2026-05-09", "acknowledged", 0), ("2026-05-08", "open", 1)])
def test_one_that_was_acknowledged_is_opened_again_only_if_it_is_due_more_than_a_week_earlier(store, until, state, opened):
    with store.transaction(makers.origin()) as unit:
        makers.document_kind(unit, "keeping")
        found = makers.permit(unit, valid_until="2026-05-16")
    whole_night(store, days=46)
    acted(store, acknowledge_reminder, days=46)
    changed(store, Permit, change_permit, found, valid_until=until)

    again = whole_night(store, days=46)

    assert again == Reminded(moved=1, opened=opened)
    assert [(one.due_on.isoformat(), one.state) for one in on_record(store)] == [(until, state)]


def test_a_closed_one_is_opened_for_a_later_day(store, licence):
    whole_night(store)
    changed(store, Permit, change_permit, licence, withdrawn_on="2026-03-01")
    assert whole_night(store) == Reminded(closed=1)

    changed(store, Permit, change_permit, licence, withdrawn_on=None, valid_until="2026-04-15")

    assert whole_night(store) == Reminded(moved=1, opened=1)
    assert [(one.due_on, one.state) for one in on_record(store)] == [(date(2026, 4, 1), ReminderState.OPEN)]


def test_a_closed_one_is_opened_again_when_its_day_is_more_than_a_week_earlier(store):
    with store.transaction(makers.origin()) as unit:
        found = makers.permit(unit, valid_until="2026-04-30")
    whole_night(store)
    changed(store, Permit, change_permit, found, withdrawn_on="2026-03-01")
    whole_night(store)
    changed(store, Permit, change_permit, found, withdrawn_on=None, valid_until="2026-04-22")

    assert whole_night(store) == Reminded(moved=1, opened=1)
    assert [(one.due_on, one.state) for one in on_record(store)] == [(date(2026, 4, 22), ReminderState.OPEN)]


def test_a_renewal_is_told_from_its_lead_and_a_renewed_permit_is_another_occurrence(store, licence):
    assert whole_night(store) == Reminded(added=1)
    [one] = on_record(store)
    assert (one.kind, one.subject_id, one.due_on, one.site_id) == (ReminderKind.RENEWAL, licence.id, date(2026, 3, 17), None)

    with store.transaction(makers.origin()) as unit:
        renewed = makers.permit(unit, number="P-2", valid_until="2026-04-30", replaces_id=str(licence.id))
    again = whole_night(store)

    assert again == Reminded(added=1, closed=1)
    assert [(one.subject_id, one.state.value) for one in on_record(store)] == [(licence.id, "closed"), (renewed.id, "open")]


def test_the_reminder_of_a_lamp_that_was_replaced_closes(store, lamp):
    site, item = lamp
    night(store, site)
    with store.transaction(makers.origin()) as unit:
        end_equipment(unit, item.id, Ending(reason="replaced"))
        makers.equipment(unit, makers.model(unit, name="Next", life_months=12), site, tag="RE-2", installed_on="2026-03-01")

    assert night(store, site) == Reminded(closed=1)
    assert night(store, site, days=1) == NOTHING


def test_an_acknowledged_stage_stays_so_and_the_next_is_told(store, lamp):
    site, _ = lamp
    night(store, site)
    done = acted(store, acknowledge_reminder)

    assert (done.state, done.changed_at) == (ReminderState.ACKNOWLEDGED, makers.NOON)
    assert night(store, site, days=1) == NOTHING
    assert night(store, site, days=9) == Reminded(added=1)
    assert stages(store) == [("soon", "acknowledged"), ("due", "open")]


def test_a_deferral_wakes_on_its_day(store, lamp):
    site, _ = lamp
    night(store, site)
    put_off = acted(store, defer_reminder, Deferral(until=date(2026, 3, 4), reason="the part is on its way"))

    assert (put_off.state, put_off.deferred_until, put_off.reason) == (ReminderState.DEFERRED, date(2026, 3, 4), "the part is on its way")
    assert night(store, site, days=2) == NOTHING
    assert night(store, site, days=3) == Reminded(woken=1)
    [one] = on_record(store)
    assert (one.state, one.deferred_until, one.reason) == (ReminderState.OPEN, None, None)
    assert night(store, site, days=3) == NOTHING


def test_one_is_put_off_to_a_later_day_than_today_at_its_site(store):
    with store.transaction(makers.origin()) as unit:
        # NOON is already 2 March in Auckland.
        there = makers.site(unit, name="Far", zone="Pacific/Auckland")
        one, of_none = makers.reminder(unit, there), makers.reminder(unit)

        second = Deferral(until=date(2026, 3, 2), reason="x")
        assert refusal(defer_reminder, unit, one.id, second) == ("not-later", "/until")
        assert defer_reminder(unit, of_none.id, second).state is ReminderState.DEFERRED
        third = Deferral(until=date(2026, 3, 3), reason="x")
        assert defer_reminder(unit, one.id, third).deferred_until == date(2026, 3, 3)


def test_whoever_it_is_handed_to_gets_the_later_stages_too(store, lamp):
    site, _ = lamp
    night(store, site)
    assert acted(store, hand_reminder, Handing(role=Role.TECHNICIAN)).role is Role.TECHNICIAN

    night(store, site, days=9)

    assert [one.role for one in on_record(store)] == [Role.TECHNICIAN, Role.TECHNICIAN]


def test_what_is_closed_or_acknowledged_is_not_acknowledged_again(store):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        closed = makers.reminder(unit, site, state=ReminderState.CLOSED)
        noted = makers.reminder(unit, site, stage=Stage.DUE, state=ReminderState.ACKNOWLEDGED)
        later = Deferral(until=date(2026, 3, 9), reason="x")

        assert refusal(acknowledge_reminder, unit, noted.id) == ("acknowledged", "")
        assert refusal(acknowledge_reminder, unit, closed.id) == ("closed", "")
        assert refusal(defer_reminder, unit, closed.id, later) == ("closed", "")
        assert refusal(hand_reminder, unit, closed.id, Handing(role=Role.KEEPER)) == ("closed", "")
        assert defer_reminder(unit, noted.id, later).state is ReminderState.DEFERRED


def test_a_reminder_is_where_its_site_is(store):
    with store.transaction(makers.origin()) as unit:
        here, there = makers.site(unit), makers.site(unit, name="Elsewhere")
        own, foreign, of_none = makers.reminder(unit, here), makers.reminder(unit, there), makers.reminder(unit)

    with store.transaction(bound_to(here)) as unit:
        assert acknowledge_reminder(unit, own.id).state is ReminderState.ACKNOWLEDGED
        for other in (foreign, of_none):
            with pytest.raises(NotAllowed):
                acknowledge_reminder(unit, other.id)
        with pytest.raises(NotFound):
            acknowledge_reminder(unit, unit.new_id())


def test_sites_are_told_on_their_own_dates(store):
    with store.transaction(makers.origin()) as unit:
        model = makers.model(unit, life_months=12)
        west, east = makers.site(unit, zone="America/Los_Angeles"), makers.site(unit, name="Far", zone="Pacific/Auckland")
        for number, site in enumerate((west, east)):
            makers.equipment(unit, model, site, tag=f"RE-{number}", installed_on="2025-03-02")

    for site in (west, east):
        night(store, site, at=makers.NOON)

    # At noon in UTC on 1 March it is the 1st in Los Angeles and the 2nd in Auckland.
    assert {one.site_id: one.stage for one in on_record(store)} == {west.id: Stage.SOON, east.id: Stage.DUE}


@pytest.mark.parametrize(("hour", "stage"), [(22, Stage.SOON), (23, Stage.DUE)])
def test_the_day_begins_at_midnight_of_the_site_in_summer_time_too(store, hour, stage):
    # In Lisbon the clocks go forward on 29 March 2026: midnight of the 30th is 23:00 of the 29th in UTC.
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit, zone="Europe/Lisbon")
        makers.equipment(unit, makers.model(unit, life_months=12), site, installed_on="2025-03-30")

    night(store, site, at=makers.NOON.replace(day=29, hour=hour))

    assert [one.stage for one in on_record(store)] == [stage]


def test_an_item_that_moves_is_told_where_it_is(store, lamp):
    site, item = lamp
    night(store, site)
    with store.transaction(makers.origin()) as unit:
        other = makers.site(unit, name="Elsewhere")
    changed(store, Equipment, change_equipment, item, site_id=str(other.id))

    assert night(store, site) == Reminded(closed=1)
    assert night(store, other) == Reminded(added=1)
    assert (night(store, site), night(store, other)) == (NOTHING, NOTHING)


def test_the_reminders_of_a_site_that_ended_are_closed_with_those_of_no_site(store):
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        makers.reminder(unit, site)
        end_site(unit, site.id, Ending(reason="sold"))

    assert whole_night(store) == Reminded(closed=1)


def test_what_is_of_no_site_is_left_to_the_whole_and_the_other_way_round(store, lamp):
    site, _ = lamp
    with store.transaction(makers.origin()) as unit:
        makers.permit(unit, valid_until="2026-03-31")

    assert (night(store, site), whole_night(store)) == (Reminded(added=1), Reminded(added=1))
    assert (night(store, site), whole_night(store)) == (NOTHING, NOTHING)
    assert [one.site_id for one in on_record(store)] == [site.id, None]


def test_an_earlier_night_is_a_replay_once_a_later_one_has_run(store, lamp):
    site, _ = lamp
    night(store, site, days=1)

    with store.snapshot(makers.origin()) as unit:
        assert is_replay(unit)
    with store.transaction(makers.origin()) as unit:
        assert run_night(unit, site).is_replay
    with store.snapshot(replace(makers.origin(), at=makers.NOON + timedelta(days=1))) as unit:
        assert not is_replay(unit)
