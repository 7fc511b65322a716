"""What follows a transfer is told in time: loans that end, reports that are awaited, quarantine that is to be looked at."""

from __future__ import annotations

from datetime import date

from domain.actions.duties import duties_at
from domain.actions.holdings import change_holding, holding_on
from domain.actions.transfers.close import close_transfer
from domain.rules.reminders import ReminderKind
from tests import makers
from tests.actions.transfers.of_transfers import planned, received, under_way

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
