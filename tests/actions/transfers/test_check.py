"""What is open before animals may leave, and the earliest days on which they lawfully may."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.holdings import record_holding
from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import lines_of
from domain.records.holdings import HoldingKind, HoldingStated
from domain.records.transfers import Dispatch
from domain.rules.law.requirements import Activity, Consequence, Duty, Entry, Obligation, Occasion, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.permits import Start
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import Days, ItemCode
from tests import makers
from tests.actions.transfers.of_transfers import approved, checked, codes, dispatched, planned, received, under_way

LISTED = Selector(any_of=(Entry(name="Testudo fictiva", rank=TaxonRank.SPECIES),))
MOVES = frozenset((Activity.MOVE_WITHIN, Activity.MOVE_BETWEEN))


def items(check):
    return [one.code for one in check.items]


def certificates_for_moves(unit):
    """Ask for a health certificate that is good for thirty days from the inspection."""
    makers.document_kind(unit, "health", lasts=Span(30, Unit.DAYS), starts=Start.INSPECTION)
    makers.requirement(
        unit, "XR-5", consequence=Consequence.DOCUMENT, activities=MOVES, documents=("health",), title="Moves need a certificate"
    )


def places_for(unit, other, number):
    """Ask for a permit to keep, and grant one for some animals at the other site and one for any number at the first."""
    makers.document_kind(unit)
    makers.requirement(unit, "XR-6", consequence=Consequence.DOCUMENT, selector=LISTED, documents=("keeping",))
    makers.permit(unit, number="P-9", site_id=str(other.id), total_number=number)


def test_a_certificate_that_expires_two_days_before_arrival_blocks_and_the_earliest_lawful_plan_is_told(
    unit, site, other, quarantine, animal
):
    """It was inspected on 20 February and is good until 22 March; the animal would arrive on 24 March."""
    certificates_for_moves(unit)
    transfer = planned(unit, site, other, animal, to=quarantine, dispatch_on="2026-03-23", arrive_on="2026-03-24", buffer_days=2)
    paper = makers.transfer_paper(unit, transfer, kind="health")

    check = checked(unit, transfer)

    assert items(check) == [ItemCode.PAPER_LAPSES, ItemCode.PAPER_LAPSES]
    assert check.items[0].sentence == (
        "Health certificate H-1 lapses too early: it is good until 22 March 2026, and is needed until 26 March 2026."
    )
    assert check.items[1].finding.requirement.code == "XR-5"
    assert "a document is needed, Permit to keep; H-1 is good until 22 March 2026" in check.items[1].sentence
    assert check.earliest == Days(date(2026, 3, 1), date(2026, 3, 2))
    [renewal] = check.renewals
    assert (renewal.paper.id, renewal.starts, renewal.from_on, renewal.until_on) == (
        paper.id,
        Start.INSPECTION,
        date(2026, 2, 24),
        date(2026, 3, 23),
    )
    assert codes(approve_transfer, unit, transfer.id) == ["not-its-turn"]


def test_a_new_certificate_lets_them_go(unit, site, other, quarantine, animal):
    certificates_for_moves(unit)
    transfer = planned(unit, site, other, animal, to=quarantine)
    assert items(checked(unit, transfer)) == [ItemCode.DOCUMENT_MISSING]

    makers.transfer_paper(unit, transfer, kind="health")

    assert under_way(unit, transfer).dispatched_at is not None


def test_a_certificate_counts_from_the_inspection_and_not_from_the_signature(unit, site, other, quarantine, animal):
    certificates_for_moves(unit)
    transfer = planned(unit, site, other, animal, to=quarantine, dispatch_on="2026-03-20", arrive_on="2026-03-20")
    makers.transfer_paper(unit, transfer, kind="health", issued_on="2026-03-01", inspected_on="2026-02-10")

    assert checked(unit, transfer).items[0].code is ItemCode.PAPER_LAPSES


def test_one_that_is_for_another_animal_does_not_help(unit, site, other, quarantine, animal, taxon):
    certificates_for_moves(unit)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")
    transfer = planned(unit, site, other, to=quarantine)
    line = makers.transfer_animal(unit, transfer, animal)
    makers.transfer_animal(unit, transfer, second)
    makers.transfer_paper(unit, transfer, kind="health", transfer_animal_ids=[str(line.id)])

    found = checked(unit, transfer).items

    assert [(one.code, one.animal_id) for one in found] == [(ItemCode.DOCUMENT_MISSING, second.id)]


def test_the_receivers_number_is_not_exceeded(unit, site, other, quarantine, animal, taxon):
    places_for(unit, other, 1)
    there = makers.animal(unit, taxon, tag="T-9", enclosure_id=str(quarantine.id), acquired_on="2025-01-10")
    transfer = planned(unit, site, other, animal, to=quarantine)

    found = checked(unit, transfer)
    assert items(found) == [ItemCode.NUMBER_EXCEEDED]
    assert "the number of P-9 is taken up" in found.items[0].sentence
    makers.event(unit, there, "died", "2026-03-01")
    assert items(checked(unit, transfer)) == []


def test_of_two_transfers_for_one_place_the_second_does_not_leave(unit, site, other, quarantine, animal, taxon):
    places_for(unit, other, 1)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")
    one = approved(unit, planned(unit, site, other, animal, to=quarantine))
    two = approved(unit, planned(unit, site, other, second, to=quarantine, reference="T-2"))

    dispatched(unit, one)

    assert codes(dispatched, unit, two) == ["number-exceeded"]
    received(unit, one)
    assert codes(dispatched, unit, two) == ["number-exceeded"]


def test_more_than_the_number_go_where_a_named_person_answers_for_it(unit, site, other, quarantine, animal):
    makers.document_kind(unit)
    makers.requirement(unit, "XR-6", consequence=Consequence.DOCUMENT, selector=LISTED, documents=("keeping",))
    transfer = planned(unit, site, other, animal, to=quarantine)
    assert items(checked(unit, transfer)) == [ItemCode.DOCUMENT_MISSING]

    makers.override(unit, animal, makers.staff(unit, site), requirement_code="XR-6")

    assert items(checked(unit, transfer)) == []


def test_what_became_law_since_the_approval_keeps_them_from_leaving(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))
    makers.requirement(unit, "XR-7", activities=MOVES)

    assert codes(dispatch_transfer, unit, transfer.id, Dispatch()) == ["prohibited"]


def test_what_has_to_be_told_beforehand_is_open_until_the_notification_is_among_the_papers(unit, site, other, quarantine, animal):
    duty = Obligation(code="tell", duty=Duty.NOTIFY, occasion=Occasion.DEPARTURE, within=Span(1, Unit.DAYS))
    makers.requirement(unit, "XR-8", consequence=Consequence.NOTIFY, activities=MOVES, obligations=(duty,))
    transfer = planned(unit, site, other, animal, to=quarantine)
    assert items(checked(unit, transfer)) == [ItemCode.NOT_TOLD]

    makers.transfer_paper(unit, transfer, title="Notification", requirement_code="XR-8", inspected_on=None)

    assert items(checked(unit, transfer)) == []


def test_a_notification_of_one_animal_is_none_of_another(unit, site, other, quarantine, animal, taxon):
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10", override_reason="x")
    duty = Obligation(code="tell", duty=Duty.NOTIFY, occasion=Occasion.DEPARTURE, within=Span(1, Unit.DAYS))
    makers.requirement(unit, "XR-8", consequence=Consequence.NOTIFY, activities=MOVES, obligations=(duty,))
    transfer = planned(unit, site, other, animal, second, to=quarantine)
    first = lines_of(unit, transfer)[0]

    makers.transfer_paper(
        unit, transfer, title="Notification", requirement_code="XR-8", inspected_on=None, transfer_animal_ids=[str(first.id)]
    )

    assert [(one.code, one.animal_id) for one in checked(unit, transfer).items] == [(ItemCode.NOT_TOLD, second.id)]


def test_a_place_without_a_known_law_cannot_be_decided(unit, site, quarantine, animal):
    nowhere = makers.site(unit, name="Nowhere")
    there = makers.enclosure(unit, nowhere, name="Q9", quarantine=True)

    found = checked(unit, planned(unit, site, nowhere, animal, to=there)).items
    assert [(one.code, one.field) for one in found] == [(ItemCode.PLACE_UNKNOWN, "to_site_id")]
    away = checked(unit, planned(unit, site, None, animal, reference="T-2", party_jurisdiction=None)).items
    assert [(one.code, one.field) for one in away] == [(ItemCode.PLACE_UNKNOWN, "party_jurisdiction")]


@pytest.mark.parametrize(
    ("said", "code", "field"),
    [
        ({"carrier": None}, ItemCode.CARRIER_MISSING, "carrier"),
        ({"carrier_until": "2026-03-02"}, ItemCode.CARRIER_LAPSES, "carrier_until"),
        ({"container": None}, ItemCode.CONTAINER_MISSING, "container"),
        ({"least_c": None}, ItemCode.TEMPERATURE_MISSING, "least_c"),
        ({"most_c": None}, ItemCode.TEMPERATURE_MISSING, "most_c"),
        ({"quarantine_days": None}, ItemCode.QUARANTINE_PLAN_MISSING, "quarantine_days"),
        ({"quarantine_enclosure_id": None}, ItemCode.QUARANTINE_PLACE_MISSING, "quarantine_enclosure_id"),
        ({"dispatch_on": "2026-02-27", "arrive_on": "2026-02-27"}, ItemCode.DAY_PASSED, "dispatch_on"),
    ],
)
def test_whatever_a_journey_lacks_is_named_with_its_field(unit, site, other, quarantine, animal, said, code, field):
    found = checked(unit, planned(unit, site, other, animal, to=quarantine, **said)).items

    assert [(one.code, one.field) for one in found] == [(code, field)]


def test_papers_are_good_through_the_buffer_and_not_a_day_longer(unit, site, other, quarantine, animal):
    transfer = planned(unit, site, other, animal, to=quarantine, carrier_until="2026-03-03")
    assert items(checked(unit, transfer)) == []


def test_the_other_party_keeps_them_lawfully(unit, site, animal):
    assert items(checked(unit, planned(unit, site, None, animal, party_licence=None))) == [ItemCode.LICENCE_MISSING]
    lapses = planned(unit, site, None, animal, reference="T-2", party_licence_until="2026-03-02")
    assert items(checked(unit, lapses)) == [ItemCode.LICENCE_LAPSES]


@pytest.mark.parametrize(
    ("kind", "basis", "code"),
    [
        (HoldingKind.IN_CUSTODY, "gift", ItemCode.IN_CUSTODY),
        (HoldingKind.IN_CUSTODY, "return", None),
        (HoldingKind.LOAN_IN, "sale", ItemCode.NOT_OURS),
        (HoldingKind.LOAN_IN, "return", None),
    ],
)
def test_what_is_not_ours_to_give_stays(unit, site, animal, kind, basis, code):
    record_holding(unit, animal.id, HoldingStated(kind=kind, from_on=date(2025, 2, 1), party="Fen Rescue"))

    assert items(checked(unit, planned(unit, site, None, animal, basis=basis))) == ([] if code is None else [code])


def test_only_what_is_held_for_a_party_is_returned_to_it(unit, site, animal):
    own = planned(unit, site, None, animal, basis="return")

    assert items(checked(unit, own)) == [ItemCode.NOT_OURS]
    record_holding(unit, animal.id, HoldingStated(kind=HoldingKind.IN_CUSTODY, from_on=date(2025, 2, 1), party="A court"))
    assert items(checked(unit, own)) == [ItemCode.NOT_OURS]


def test_what_is_on_loan_to_us_is_not_lent_on(unit, site, animal):
    record_holding(unit, animal.id, HoldingStated(kind=HoldingKind.LOAN_IN, from_on=date(2025, 2, 1), party="Reed County"))
    lent_on = planned(unit, site, None, animal, basis="loan", due_back_on="2028-01-01", offspring_split="half each")

    assert items(checked(unit, lent_on)) == [ItemCode.NOT_OURS]


@pytest.mark.parametrize(("occasion", "told"), [(Occasion.ESCAPE, False), (Occasion.OUTAGE, False), (Occasion.DEPARTURE, True)])
def test_what_is_told_after_an_escape_or_an_outage_hinders_no_move(unit, site, other, quarantine, animal, occasion, told):
    duty = Obligation(code="tell", duty=Duty.NOTIFY, occasion=occasion, within=Span(1, Unit.DAYS))
    makers.requirement(unit, "XR-8", consequence=Consequence.NOTIFY, activities=MOVES, obligations=(duty,))

    found = items(checked(unit, planned(unit, site, other, animal, to=quarantine)))

    assert found == ([ItemCode.NOT_TOLD] if told else [])


def test_animals_are_where_they_are_to_leave_from(unit, site, other, quarantine, animal):
    makers.event(unit, animal, "escaped", "2026-02-20")
    assert items(checked(unit, planned(unit, site, other, animal, to=quarantine))) == [ItemCode.NOT_HERE]
    assert items(checked(unit, planned(unit, site, other, to=quarantine, reference="T-2"))) == [ItemCode.NO_ANIMALS]


def test_the_enclosure_on_arrival_suits_them_or_somebody_says_why_all_the_same(unit, site, other, animal):
    small = makers.enclosure(unit, other, name="Q3", quarantine=True, capacity=1)
    makers.animal(unit, makers.taxon(unit, "Bufo alter"), tag="B-1", enclosure_id=str(small.id), acquired_on="2025-01-10")
    assert items(checked(unit, planned(unit, site, other, animal, to=small))) == [ItemCode.QUARANTINE_UNSUITED]
    told = planned(unit, site, other, animal, to=small, reference="T-2", quarantine_reason="one night only")
    assert items(checked(unit, told)) == []


def test_they_may_leave_once_the_receivers_permit_begins(unit, site, other, quarantine, animal):
    makers.document_kind(unit)
    makers.requirement(unit, "XR-6", consequence=Consequence.DOCUMENT, selector=LISTED, documents=("keeping",))
    makers.permit(unit, number="P-1", site_id=str(site.id))
    makers.permit(unit, number="P-9", site_id=str(other.id), issued_on="2026-02-20", valid_from="2026-03-15")
    transfer = planned(unit, site, other, animal, to=quarantine, dispatch_on="2026-03-05", arrive_on="2026-03-06")

    check = checked(unit, transfer)

    assert (items(check), check.earliest) == ([ItemCode.DOCUMENT_MISSING], Days(date(2026, 3, 14), date(2026, 3, 15)))


def test_where_no_day_helps_none_is_told(unit, site, other, quarantine, animal):
    makers.requirement(unit, "XR-7", activities=MOVES)

    check = checked(unit, planned(unit, site, other, animal, to=quarantine))

    assert (items(check), check.earliest) == ([ItemCode.PROHIBITED], None)
