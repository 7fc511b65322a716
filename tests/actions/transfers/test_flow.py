"""Transfers from plan to close: between sites of ours, to and from another party, refused, and called off."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.holdings import holding_on
from domain.actions.lives import EVENTS_OF, MARKS_OF
from domain.actions.marks import record_mark
from domain.actions.placements import enclosure_on
from domain.actions.recording import Ending
from domain.actions.transfers.close import close_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import lines_of
from domain.actions.transfers.plan import change_transfer, end_transfer, end_transfer_animal
from domain.actions.transfers.receive import receive_transfer, refuse_transfer
from domain.errors import Refusal
from domain.records.animals import Animal, AnimalEvent, Basis
from domain.records.holdings import HoldingKind
from domain.records.marks import Mark
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.transfers import Dispatch, Receipt, Transfer, TransferRefusal
from domain.rules.lives import EventKind, Sex, Status
from domain.rules.transfers import TransferStage
from tests import makers
from tests.actions.of_animals import CHIP, OTHER_CHIP, mark
from tests.actions.transfers.of_transfers import approved, checked, codes, dispatched, planned, receipt, received, under_way

MISTAKE = Ending(reason="planned wrongly")
TODAY = date(2026, 3, 1)
WHY = "they were kept there before"


def test_animals_go_from_one_site_to_another_and_are_kept_apart_there(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))

    left = dispatched(unit, transfer)
    assert (left.stage, left.site_id, left.dispatch_c) == (TransferStage.DISPATCHED, other.id, 22.5)
    assert unit.fetch(Animal, animal.id).status is Status.AWAY

    arrived = received(unit, transfer)
    found = unit.fetch(Animal, animal.id)
    assert (arrived.stage, found.status, found.enclosure_id) == (TransferStage.RECEIVED, Status.PRESENT, quarantine.id)
    assert enclosure_on(unit, found, on=TODAY).id == quarantine.id
    assert [line.quarantine_until for line in lines_of(unit, transfer)] == [date(2026, 3, 31)]
    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine"]


def test_what_the_receiver_refuses_comes_back_to_where_it_was(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))

    refused = refuse_transfer(unit, transfer.id, TransferRefusal(reason="It coughs."))
    assert (refused.stage, refused.site_id) == (TransferStage.REFUSED, site.id)
    back = received(unit, transfer)

    found = unit.fetch(Animal, animal.id)
    assert (back.stage, found.status, found.enclosure_id) == (TransferStage.RETURNED, Status.PRESENT, animal.enclosure_id)
    assert [line.quarantine_until for line in lines_of(unit, transfer)] == [date(2026, 3, 31)]
    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine"]


def test_a_gift_has_left_when_the_other_party_has_it(unit, site, animal):
    transfer = under_way(unit, planned(unit, site, None, animal))
    assert unit.fetch(Animal, animal.id).status is Status.AWAY

    received(unit, transfer)

    found = unit.fetch(Animal, animal.id)
    last = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)[-1]
    assert (found.status, last.kind, last.basis, last.party, last.reference) == (
        Status.DEPARTED,
        EventKind.DEPARTED,
        Basis.GIFT,
        "Fen Rescue",
        "T-1",
    )


def test_a_loan_goes_out_on_its_terms_and_comes_back(unit, site, animal, quarantine_here):
    loan = {"basis": "loan", "due_back_on": "2026-09-01", "offspring_split": "half each"}
    received(unit, under_way(unit, planned(unit, site, None, animal, **loan)))
    held = holding_on(unit, animal.id, on=TODAY)
    assert (held.kind, held.party, held.due_back_on, held.terms) == (
        HoldingKind.LOAN_OUT,
        "Fen Rescue",
        date(2026, 9, 1),
        "Offspring: half each",
    )

    back = planned(unit, None, site, animal, to=quarantine_here, basis="return", reference="T-2")
    received(unit, under_way(unit, back))

    found = unit.fetch(Animal, animal.id)
    assert (found.status, found.enclosure_id) == (Status.PRESENT, quarantine_here.id)
    assert holding_on(unit, animal.id, on=TODAY).kind is HoldingKind.OWNED


def test_animals_of_another_party_are_registered_when_they_arrive(unit, site, taxon, quarantine_here):
    transfer = planned(unit, None, site, to=quarantine_here, basis="loan", due_back_on="2026-09-01", offspring_split="the owner's")
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1", sex="female", transponder=CHIP)
    under_way(unit, transfer)

    received(unit, transfer, mark=CHIP)

    (line,) = lines_of(unit, transfer)
    found = unit.fetch(Animal, line.animal_id)
    assert (found.tag, found.sex, found.enclosure_id, found.came_on) == ("N-1", Sex.FEMALE, quarantine_here.id, TODAY)
    assert [one.code for one in unit.all(Mark, MARKS_OF, animal_id=found.id)] == [CHIP]
    assert holding_on(unit, found.id, on=TODAY).kind is HoldingKind.LOAN_IN


def test_marks_are_read_back_before_animals_leave(unit, site, other, quarantine, animal):
    record_mark(unit, animal.id, mark())
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))

    assert codes(dispatched, unit, transfer) == ["not-read"]
    assert codes(dispatched, unit, transfer, mark=OTHER_CHIP) == ["mark-differs"]
    assert dispatched(unit, transfer, mark="985 112 003 456 789").stage is TransferStage.DISPATCHED


def test_what_differs_on_arrival_has_to_be_said(unit, site, other, quarantine, animal):
    record_mark(unit, animal.id, mark())
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine), mark=CHIP)

    assert codes(received, unit, transfer) == ["required"]
    assert codes(received, unit, transfer, mark=OTHER_CHIP) == ["required"]
    assert codes(received, unit, transfer, mark=CHIP, condition=None) == ["required"]
    received(unit, transfer, mark=OTHER_CHIP, discrepancy="another code was read; the photograph agrees")
    assert [line.discrepancy for line in lines_of(unit, transfer)] == ["another code was read; the photograph agrees"]


def test_nothing_is_received_unless_every_animal_is(unit, site, other, quarantine, animal, taxon):
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")
    transfer = under_way(unit, planned(unit, site, other, animal, second, to=quarantine))
    first, last = lines_of(unit, transfer)
    elsewhere = makers.enclosure(unit, site, name="E-9")

    def arriving(*said):
        return receive_transfer(unit, transfer.id, read_stated(Receipt, json_text({"arrivals": list(said)})))

    known = {"transfer_animal_id": str(first.id), "condition": "lively"}
    assert codes(arriving, known) == ["not-accounted-for"]
    assert codes(arriving, known, known) == ["repeated", "not-accounted-for"]
    wrong = {"transfer_animal_id": str(last.id), "condition": "lively", "enclosure_id": str(elsewhere.id)}
    with pytest.raises(Refusal) as refused, unit.attempt():
        arriving(known, wrong)
    assert [(one.pointer, one.code) for one in refused.value.faults] == [("/arrivals/1/enclosure_id", "other-site")]
    assert {unit.fetch(Animal, one.id).status for one in (animal, second)} == {Status.AWAY}
    lost = {"transfer_animal_id": str(last.id), "arrived": False, "discrepancy": "not in the crate"}
    assert arriving(known, lost).stage is TransferStage.RECEIVED
    assert [unit.fetch(Animal, one.id).status for one in (animal, second)] == [Status.PRESENT, Status.AWAY]
    assert "not-accounted-for" in codes(close_transfer, unit, transfer.id)


def test_a_change_of_the_plan_makes_it_a_draft_again(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))

    changed = change_transfer(unit, transfer.id, {"note": "at dawn"}, expected_version=transfer.version)
    assert (changed.stage, changed.approved_by) == (TransferStage.DRAFT, None)
    approved(unit, transfer)
    makers.transfer_paper(unit, transfer)
    assert unit.fetch(Transfer, transfer.id).stage is TransferStage.DRAFT


def test_what_is_approved_is_looked_at_again_and_stays_so_while_nothing_is_open(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))

    assert checked(unit, transfer).is_complete
    assert unit.fetch(Transfer, transfer.id).stage is TransferStage.APPROVED
    makers.event(unit, animal, "escaped", "2026-03-01")
    assert not checked(unit, transfer).is_complete
    found = unit.fetch(Transfer, transfer.id)
    assert (found.stage, found.approved_by) == (TransferStage.DRAFT, None)


def test_what_has_left_is_planned_no_more(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))
    (line,) = lines_of(unit, transfer)

    assert codes(change_transfer, unit, transfer.id, {"note": "x"}, expected_version=transfer.version) == ["under-way"]
    assert codes(end_transfer, unit, transfer.id, MISTAKE) == ["under-way"]
    assert codes(end_transfer_animal, unit, line.id, MISTAKE, owner_id=transfer.id) == ["under-way"]
    assert codes(dispatched, unit, transfer) == ["not-its-turn"]
    second = planned(unit, site, other, to=quarantine, reference="T-2")
    assert codes(makers.transfer_animal, unit, second, animal) == ["under-way"]


def test_a_transfer_is_called_off_before_it_leaves(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))

    end_transfer(unit, transfer.id, MISTAKE)

    assert codes(dispatched, unit, transfer) == ["ended"]
    assert unit.fetch(Animal, animal.id).status is Status.PRESENT


def test_reports_that_were_agreed_on_are_awaited(unit, site, animal):
    transfer = under_way(unit, planned(unit, site, None, animal, report_after_days=[7, 30]))
    assert codes(makers.transfer_report, unit, transfer) == ["not-arrived"]
    received(unit, transfer)

    assert codes(makers.transfer_report, unit, transfer, after_days=8) == ["not-agreed"]
    makers.transfer_report(unit, transfer)
    assert codes(makers.transfer_report, unit, transfer) == ["already-there"]
    assert codes(close_transfer, unit, transfer.id) == ["report-missing"]
    makers.transfer_report(unit, transfer, after_days=30)
    assert close_transfer(unit, transfer.id).stage is TransferStage.CLOSED


def test_what_we_refuse_to_take_goes_back_to_the_other_party_and_nothing_of_it_changes(unit, site, other, quarantine, animal):
    """It was lent, was to come back, was refused on arrival, and is with the other party again: lent still, and not gone."""
    lent = under_way(unit, planned(unit, site, None, animal, basis="loan", due_back_on="2026-09-01", offspring_split="half each"))
    received(unit, lent)
    back = under_way(unit, planned(unit, None, other, animal, to=quarantine, basis="return", reference="T-2"))
    refuse_transfer(unit, back.id, TransferRefusal(reason="It coughs."))

    returned = received(unit, back)

    assert returned.stage is TransferStage.RETURNED
    assert unit.fetch(Animal, animal.id).status is Status.AWAY
    assert holding_on(unit, animal.id, on=TODAY).kind is HoldingKind.LOAN_OUT


def test_a_group_that_comes_back_after_it_was_given_away_is_as_many_as_left(unit, site, quarantine_here, taxon):
    home = makers.enclosure(unit, site, name="Pond")
    group = makers.group(unit, taxon, 20, tag="G-1", enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason=WHY)
    received(unit, under_way(unit, planned(unit, site, None, group)))
    assert unit.fetch(Animal, group.id).count == 0

    back = planned(unit, None, site, group, to=quarantine_here, basis="gift", reference="T-2", quarantine_reason=WHY)
    received(unit, under_way(unit, back))

    assert (unit.fetch(Animal, group.id).count, unit.fetch(Animal, group.id).status) == (20, Status.PRESENT)


def test_nobody_leaves_in_a_box_that_is_too_warm_and_an_arrival_in_one_has_to_be_explained(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine, least_c=18, most_c=22))
    assert codes(dispatch_transfer, unit, transfer.id, Dispatch(temperature_c=23)) == ["temperature-outside"]
    dispatch_transfer(unit, transfer.id, Dispatch(temperature_c=22))

    warm = receipt(unit, transfer).model_copy(update={"temperature_c": 31.0})
    assert codes(receive_transfer, unit, transfer.id, warm) == ["temperature-outside"]
    said = receipt(unit, transfer, discrepancy="31 °C in the box; the veterinarian was called").model_copy(update={"temperature_c": 31.0})
    assert receive_transfer(unit, transfer.id, said).stage is TransferStage.RECEIVED


def test_an_animal_that_was_lent_and_is_given_back_on_another_ground_is_ours_again(unit, site, animal, quarantine_here):
    lent = planned(unit, site, None, animal, basis="loan", due_back_on="2026-09-01", offspring_split="half each")
    received(unit, under_way(unit, lent))

    received(unit, under_way(unit, planned(unit, None, site, animal, to=quarantine_here, basis="gift", reference="T-2")))

    assert holding_on(unit, animal.id, on=TODAY).kind is HoldingKind.OWNED
