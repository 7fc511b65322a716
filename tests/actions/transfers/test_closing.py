"""What a transfer waits for before it is closed: quarantine, reports, and whoever did not arrive; and what is read when animals leave."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from domain.actions.census import Scope, statement
from domain.actions.duties import duties_at
from domain.actions.marks import record_mark
from domain.actions.placements import enclosure_on
from domain.actions.recording import Ending
from domain.actions.transfers import plan
from domain.actions.transfers.close import close_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import lines_of
from domain.actions.transfers.numbers import not_arrived
from domain.errors import Refusal
from domain.records.animals import Animal
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.transfers import ANIMALS_MOST, Dispatch, Receipt
from domain.rules.lives import Status
from domain.rules.permissions import Reach
from domain.rules.reminders import ReminderKind
from domain.rules.stock import out_of_balance
from domain.rules.transfers import TransferStage
from tests import makers
from tests.actions.of_animals import CHIP, OTHER_CHIP, mark
from tests.actions.transfers.of_transfers import KNOWN, approved, codes, later, planned, received, told_faults, under_way

TODAY = date(2026, 3, 1)
FIRST_UNTIL, LATER_UNTIL = date(2026, 3, 31), date(2026, 4, 20)


@pytest.fixture
def second(unit, taxon, animal):
    return makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10", override_reason=KNOWN)


def apart_until(unit, transfer):
    """Return until when the animals of a transfer are kept apart."""
    return [line.quarantine_until for line in lines_of(unit, transfer)]


def looked_at_on(unit, site):
    """Return the days on which the quarantine at a site is to be looked at."""
    return sorted(one.due_on for one in duties_at(unit, site, today=TODAY) if one.kind is ReminderKind.QUARANTINE)


def that_day(unit):
    """Return the planned days of a transfer that leaves and arrives on the date that it is now."""
    today = unit.origin.at.date().isoformat()
    return {"dispatch_on": today, "arrive_on": today}


def joined_later(unit, site, other, animal, quarantine, **plan_):
    """Have an animal follow others into a quarantine enclosure twenty days after them."""
    later(unit, days=20)
    next_one = planned(unit, site, other, animal, to=quarantine, reference="T-2", **{**that_day(unit), **plan_})
    return received(unit, under_way(unit, next_one))


# ------------------------------------------------------------------------------------------------------------- the reports


def test_no_report_is_from_before_the_arrival(unit, site, animal):
    transfer = planned(unit, site, None, animal, report_after_days=[7])
    under_way(unit, transfer)
    later(unit, days=1)
    received(unit, transfer)

    with pytest.raises(Refusal, match="They arrived on 2 March 2026, later than this") as refused:
        makers.transfer_report(unit, transfer, reported_on="2026-03-01")
    assert (refused.value.code, refused.value.faults[0].pointer) == ("before-arrival", "/reported_on")
    assert codes(close_transfer, unit, transfer.id) == ["report-missing"]
    makers.transfer_report(unit, transfer, reported_on="2026-03-02")
    assert close_transfer(unit, transfer.id).stage is TransferStage.CLOSED


def test_the_day_of_arrival_is_the_receivers(unit, taxon, site):
    """At noon of the first of March in Lisbon it is the second in Auckland, where they arrive."""
    east = makers.site(unit, name="E", jurisdiction="XR", zone="Pacific/Auckland")
    home, apart = makers.enclosure(unit, site, name="A"), makers.enclosure(unit, east, name="Q", quarantine=True)
    animal = makers.animal(unit, taxon, enclosure_id=str(home.id), acquired_on="2025-01-10")
    transfer = planned(unit, site, east, animal, to=apart, arrive_on="2026-03-02", report_after_days=[7])
    received(unit, under_way(unit, transfer))

    assert codes(makers.transfer_report, unit, transfer, reported_on="2026-03-01") == ["before-arrival"]
    makers.transfer_report(unit, transfer, reported_on="2026-03-02")


# ---------------------------------------------------------------------------------------------------------- the quarantine


def test_who_is_joined_in_quarantine_is_kept_apart_as_long_as_those_who_joined(unit, site, other, quarantine, animal, second):
    first = received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine)))
    assert looked_at_on(unit, other) == [FIRST_UNTIL]

    joined_later(unit, site, other, second, quarantine)

    assert apart_until(unit, first) == [LATER_UNTIL]
    assert looked_at_on(unit, other) == [LATER_UNTIL, LATER_UNTIL]
    later(unit, days=15)
    assert told_faults(close_transfer, unit, first.id) == [
        ("", "in-quarantine", "T-1 is kept apart until 20 April 2026; a veterinarian releases it.")
    ]
    later(unit, days=15)
    assert close_transfer(unit, first.id).stage is TransferStage.CLOSED


def test_who_is_joined_for_a_shorter_time_stays_as_long_as_planned(unit, site, other, quarantine, animal, second):
    first = received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine)))

    joined = joined_later(unit, site, other, second, quarantine, quarantine_days=5)

    assert (apart_until(unit, first), apart_until(unit, joined)) == ([FIRST_UNTIL], [date(2026, 3, 26)])


@pytest.mark.parametrize("gone_by", ["moved", "died", "released"])
def test_only_who_lives_there_and_is_not_released_is_kept_apart_longer(unit, site, other, quarantine, animal, second, gone_by):
    first = received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine, quarantine_days=10)))
    until = apart_until(unit, first)
    day = later(unit, days=11)
    if gone_by == "moved":
        makers.move(unit, animal, makers.enclosure(unit, other, name="Q-9", quarantine=True), day, override_reason=KNOWN)
    elif gone_by == "died":
        makers.event(unit, animal, "died", day)
    else:
        close_transfer(unit, first.id)

    joined_later(unit, site, other, second, quarantine)

    assert apart_until(unit, first) == until == [date(2026, 3, 11)]


def test_in_an_enclosure_that_keeps_nobody_apart_no_clock_restarts(unit, site, other, animal, second):
    plain = makers.enclosure(unit, other, name="Shed")
    accepted = {"to": plain, "quarantine_reason": KNOWN}
    first = received(unit, under_way(unit, planned(unit, site, other, animal, **accepted)))
    later(unit, days=20)

    next_one = planned(unit, site, other, second, reference="T-2", **accepted, **that_day(unit))
    received(unit, under_way(unit, next_one))

    assert apart_until(unit, first) == [FIRST_UNTIL]


def test_what_a_site_out_of_reach_has_to_close_is_kept_apart_longer_as_well(unit, site, other, animal, second, quarantine):
    """The animal came to a third site and was moved on from there: its transfer is that site's, out of the others' receiver's reach."""
    far = makers.site(unit, name="Far Mere", jurisdiction="XR")
    apart = makers.enclosure(unit, far, name="Q-3", quarantine=True)
    first = received(unit, under_way(unit, planned(unit, site, far, animal, to=apart)))
    makers.move(unit, animal, quarantine, later(unit, days=1), override_reason=KNOWN)
    later(unit, days=19)
    next_one = under_way(unit, planned(unit, site, other, second, to=quarantine, reference="T-2", **that_day(unit)))
    unit.origin = replace(unit.origin, reach=Reach(frozenset((other.id,))))

    received(unit, next_one)

    assert apart_until(unit, first) == [LATER_UNTIL]


def test_who_died_in_quarantine_keeps_nothing_open_and_who_lives_is_named(unit, site, other, quarantine, animal, second):
    transfer = received(unit, under_way(unit, planned(unit, site, other, animal, second, to=quarantine)))
    makers.event(unit, animal, "died", "2026-03-01")

    assert [sentence for _, _, sentence in told_faults(close_transfer, unit, transfer.id)] == [
        "T-2 is kept apart until 31 March 2026; a veterinarian releases it."
    ]
    assert looked_at_on(unit, other) == [FIRST_UNTIL]
    makers.event(unit, second, "departed", "2026-03-01", basis="gift")
    assert looked_at_on(unit, other) == []
    assert close_transfer(unit, transfer.id).stage is TransferStage.CLOSED


def test_who_went_on_with_another_transfer_is_kept_apart_by_that_one(unit, site, other, animal, quarantine, quarantine_here):
    """Whether it should have left is not looked at here."""
    first = received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine)))
    day = later(unit, days=1)
    onward = planned(unit, other, site, animal, to=quarantine_here, reference="T-2", **that_day(unit))
    assert codes(close_transfer, unit, first.id) == ["in-quarantine"]

    left = {"stage": TransferStage.DISPATCHED, "dispatched_at": unit.origin.at, "site_id": site.id}
    makers.event(unit, animal, "sent_away", day)
    unit.change(onward, left, action="dispatch_transfer")

    assert looked_at_on(unit, other) == []
    received(unit, onward)
    assert close_transfer(unit, first.id).stage is TransferStage.CLOSED
    assert codes(close_transfer, unit, onward.id) == ["in-quarantine"]


@pytest.mark.parametrize("event", ["sent_away", "escaped"])
def test_who_is_away_for_a_while_or_has_escaped_is_to_be_kept_apart_still(unit, site, other, quarantine, animal, event):
    transfer = received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine)))
    makers.event(unit, animal, event, "2026-03-01")

    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine"]
    assert looked_at_on(unit, other) == [FIRST_UNTIL]


# ---------------------------------------------------------------------------------------------------- who did not arrive


def test_who_escaped_on_the_road_is_missing_and_the_transfer_is_closed(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))
    received(unit, transfer, arrived=False, discrepancy="the crate was open")
    words = "escaped, died, departed, or came_back if it came after all"
    sentence = f"T-1 did not arrive; put on record at Reedmere House what became of it: {words}."
    assert told_faults(close_transfer, unit, transfer.id) == [("", "not-accounted-for", sentence)]

    makers.event(unit, animal, "escaped", "2026-03-01")

    assert unit.fetch(Animal, animal.id).status is Status.MISSING
    assert close_transfer(unit, transfer.id).stage is TransferStage.CLOSED
    assert out_of_balance(statement(unit, from_on=TODAY - timedelta(1), until_on=TODAY, scope=Scope())) == []


def test_who_escaped_under_way_and_is_found_can_be_received(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))
    makers.event(unit, animal, "escaped", "2026-03-01")
    assert [(pointer, code) for pointer, code, _ in told_faults(received, unit, transfer)] == [("/arrivals/0/arrived", "missing")]

    makers.event(unit, animal, "found", "2026-03-01")
    received(unit, transfer)

    found = unit.fetch(Animal, animal.id)
    assert (found.status, enclosure_on(unit, found, on=TODAY)) == (Status.PRESENT, quarantine)


@pytest.mark.parametrize("said", [("escaped",), ("came_back",), ("escaped", "found", "came_back")])
def test_who_is_missing_of_a_group_is_accounted_for_where_the_group_was_last(unit, site, other, quarantine, group, said):
    transfer = under_way(unit, planned(unit, site, other, group, to=quarantine, quarantine_reason=KNOWN))
    received(unit, transfer, number=18, discrepancy="two not in the box")
    (line,) = lines_of(unit, transfer)
    (missing,) = not_arrived(unit, transfer, line)
    assert "G-1, missing did not arrive; put on record at Reedmere House" in told_faults(close_transfer, unit, transfer.id)[-1][2]

    for kind in said:
        makers.event(unit, missing, kind, "2026-03-01", number=2)

    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine"]
    assert out_of_balance(statement(unit, from_on=TODAY - timedelta(1), until_on=TODAY, scope=Scope())) == []


def test_who_escaped_from_those_who_borrowed_it_and_was_found_is_with_them(unit, site, animal):
    loan = {"basis": "loan", "due_back_on": "2026-09-01", "offspring_split": "half each"}
    received(unit, under_way(unit, planned(unit, site, None, animal, **loan)))

    makers.event(unit, animal, "escaped", "2026-03-01")
    assert unit.fetch(Animal, animal.id).status is Status.MISSING
    makers.event(unit, animal, "found", "2026-03-01")

    assert unit.fetch(Animal, animal.id).status is Status.AWAY


# ---------------------------------------------------------------------------------------------- what is read, and how many


def test_an_animal_that_is_read_back_twice_is_not_loaded(unit, site, other, quarantine, animal):
    record_mark(unit, animal.id, mark())
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))
    (line,) = lines_of(unit, transfer)
    readings = [{"transfer_animal_id": str(line.id), "mark": one} for one in (OTHER_CHIP, CHIP)]

    said = read_stated(Dispatch, json_text({"temperature_c": 22, "readings": readings}))

    assert told_faults(dispatch_transfer, unit, transfer.id, said) == [
        ("/readings/1/transfer_animal_id", "repeated", "This animal is said twice.")
    ]


def test_no_more_go_with_a_transfer_than_are_received_at_once(unit, site, taxon, animal, quarantine_here, monkeypatch):
    monkeypatch.setattr(plan, "ANIMALS_MOST", 2)
    transfer = planned(unit, None, site, to=quarantine_here)
    first, _ = (makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag=tag) for tag in ("N-1", "N-2"))

    with pytest.raises(Refusal, match="2 animals and groups are on this transfer, and no more go with one: plan another") as refused:
        makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-3")
    assert (refused.value.code, refused.value.faults[0].pointer) == ("too-many", "/tag")
    makers.event(unit, animal, "departed", "2026-02-01", basis="gift")
    with pytest.raises(Refusal, match="no more go with one") as refused:
        makers.transfer_animal(unit, transfer, animal)
    assert refused.value.faults[0].pointer == "/animal_id"
    plan.end_transfer_animal(unit, first.id, Ending(reason="planned wrongly"), owner_id=transfer.id)
    assert makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-3").tag == "N-3"


@pytest.mark.parametrize(("record", "name"), [(Receipt, "arrivals"), (Dispatch, "readings")])
def test_as_many_are_read_back_and_received_as_go_with_a_transfer(unit, record, name):
    def said(number):
        return read_stated(record, json_text({name: [{"transfer_animal_id": str(unit.new_id())} for _ in range(number)]}))

    assert len(getattr(said(ANIMALS_MOST), name)) == ANIMALS_MOST
    with pytest.raises(Refusal):
        said(ANIMALS_MOST + 1)
