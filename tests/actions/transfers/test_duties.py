"""What follows a transfer is told in time: who does not arrive, loans that end, reports, quarantine that is to be looked at."""

from __future__ import annotations

from datetime import date

from domain.actions.duties import duties_at
from domain.actions.holdings import change_holding, holding_on
from domain.actions.transfers.close import close_transfer
from domain.actions.transfers.receive import refuse_transfer
from domain.records.transfers import TransferRefusal
from domain.rules.reminders import ReminderKind, Stage
from tests import makers
from tests.actions.transfers.of_transfers import approved, dispatched, later, planned, received, under_way

TODAY = date(2026, 3, 1)
LOAN = {"basis": "loan", "due_back_on": "2026-04-20", "offspring_split": "half each"}
FOLLOWS = frozenset((ReminderKind.LOAN, ReminderKind.REPORT, ReminderKind.QUARANTINE))


def told(unit, site):
    found = [one for one in duties_at(unit, site, today=TODAY) if one.kind in FOLLOWS]
    return [(one.kind, one.due_on) for one in found]


def test_a_loan_that_ends_is_told_until_it_is_renewed(unit, site, animal):
    received(unit, under_way(unit, planned(unit, site, None, animal, **LOAN)))
    assert told(unit, site) == [(ReminderKind.LOAN, date(2026, 4, 20))]

    held = holding_on(unit, animal.id, on=TODAY)
    change_holding(unit, held.id, {"due_back_on": "2026-12-01"}, owner_id=animal.id, expected_version=held.version)

    assert told(unit, site) == []


def test_an_animal_lent_to_us_is_told_of_as_well(unit, site, taxon, quarantine_here):
    transfer = planned(unit, None, site, to=quarantine_here, **LOAN)
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1")
    received(unit, under_way(unit, transfer))

    assert told(unit, site) == [(ReminderKind.LOAN, date(2026, 4, 20)), (ReminderKind.QUARANTINE, date(2026, 3, 31))]


def test_reports_are_awaited_by_the_sender_and_quarantine_is_looked_at_by_the_receiver(unit, site, other, quarantine, animal, taxon):
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")
    received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine)))
    away = received(unit, under_way(unit, planned(unit, site, None, second, reference="T-2", report_after_days=[7, 30])))

    assert told(unit, other) == [(ReminderKind.QUARANTINE, date(2026, 3, 31))]
    assert told(unit, site) == [(ReminderKind.REPORT, date(2026, 3, 8)), (ReminderKind.REPORT, date(2026, 3, 31))]
    for days in (7, 30):
        makers.transfer_report(unit, away, after_days=days)
    close_transfer(unit, away.id)
    assert told(unit, site) == []


def late(unit, site, today):
    found = [one for one in duties_at(unit, site, today=today) if one.kind is ReminderKind.ARRIVAL]
    return [(one.due_on, one.stage(today=today), one.sentence) for one in found]


def test_who_does_not_arrive_is_told_of_where_they_are_to_arrive_from_the_next_day_on(unit, site, other, quarantine, animal):
    """They leave two days after the planned day, and are as long on their way as planned."""
    transfer = planned(unit, site, other, animal, to=quarantine, dispatch_on="2026-03-01", arrive_on="2026-03-02")
    approved(unit, transfer)
    later(unit, days=2)
    dispatched(unit, transfer)

    assert late(unit, other, date(2026, 3, 4)) == []
    ((due_on, stage, sentence),) = late(unit, other, date(2026, 3, 5))
    assert (due_on, stage) == (date(2026, 3, 4), Stage.OVERDUE)
    assert sentence == (
        "The animals of transfer T-1 left on 3 March 2026 and should have arrived on 4 March 2026; nobody has said that they are there, so "
        "they may be on the road still. Ask whoever carries them at once, then put on record how they arrived, or that they did not."
    )
    assert late(unit, site, date(2026, 3, 5)) == []
    received(unit, transfer)
    assert late(unit, other, date(2026, 3, 5)) == []


def test_who_was_refused_and_is_not_back_is_told_of_at_home_counted_from_the_refusal(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine, arrive_on="2026-03-02"))
    later(unit, days=5)
    refuse_transfer(unit, transfer.id, TransferRefusal(reason="It coughs."))

    assert (late(unit, other, date(2026, 3, 8)), late(unit, site, date(2026, 3, 7))) == ([], [])
    ((due_on, _, sentence),) = late(unit, site, date(2026, 3, 8))
    assert (due_on, sentence[:102]) == (
        date(2026, 3, 7),
        "The animals of transfer T-1 were refused on 6 March 2026 and should have been back on 7 March 2026; no",
    )
    later(unit, days=1)
    received(unit, transfer, apart=10)
    assert late(unit, site, date(2026, 3, 8)) == []
    assert told(unit, site) == [(ReminderKind.QUARANTINE, date(2026, 3, 17))]
