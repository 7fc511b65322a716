"""What is open before animals may leave, and the earliest days on which they lawfully may."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.enclosures import end_enclosure
from domain.actions.holdings import record_holding
from domain.actions.marks import record_mark
from domain.actions.recording import Ending
from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.check import check_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.file import transfer_file
from domain.actions.transfers.lines import lines_of
from domain.actions.transfers.plan import end_transfer_animal
from domain.errors import Refusal
from domain.records.animals import Animal
from domain.records.holdings import HoldingKind, HoldingStated
from domain.records.marks import MarkEntered, MarkKind, MarkReading
from domain.records.permits import Permit
from domain.records.transfers import Dispatch
from domain.rules.law.requirements import Activity, Consequence, Duty, Entry, Fact, Obligation, Occasion, Predicate, Relation, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.permits import Start
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import Days, ItemCode, TransferStage
from tests import makers
from tests.actions.transfers.of_transfers import approved, checked, codes, dispatched, later, planned, received, under_way

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

    assert [(one.code, one.animal_ids) for one in found] == [(ItemCode.DOCUMENT_MISSING, (second.id,))]


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

    assert [(one.code, one.animal_ids) for one in checked(unit, transfer).items] == [(ItemCode.NOT_TOLD, (second.id,))]


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
        ({"carrier_authorisation": None}, ItemCode.CARRIER_UNAUTHORISED, "carrier_authorisation"),
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


def test_what_is_open_of_several_animals_alike_is_one_item(unit, site, other, quarantine, animal, taxon):
    certificates_for_moves(unit)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")

    (found,) = checked(unit, planned(unit, site, other, animal, second, to=quarantine)).items

    assert found.animal_ids == (animal.id, second.id)
    assert found.sentence.startswith(f"{animal.tag}, T-2: at the sender (move within) a document is needed")


@pytest.mark.parametrize(("number", "named"), [(6, "T-1, T-2, T-3, T-4, T-5, T-6: "), (8, "T-1, T-2, T-3, T-4, T-5, T-6 and 2 more: ")])
def test_of_many_animals_alike_the_first_are_named_and_the_rest_is_counted(unit, site, other, quarantine, taxon, number, named):
    certificates_for_moves(unit)
    home = makers.enclosure(unit, site)
    many = [makers.animal(unit, taxon, tag=f"T-{one}", enclosure_id=str(home.id), acquired_on="2025-01-10") for one in range(1, number + 1)]

    (found,) = checked(unit, planned(unit, site, other, *many, to=quarantine)).items

    assert found.sentence.startswith(named)


def test_arrivals_do_not_join_the_stock_where_there_is_a_quarantine(unit, site, other, quarantine, animal):
    stock = makers.enclosure(unit, other, name="A7")

    (found,) = checked(unit, planned(unit, site, other, animal, to=stock)).items
    released = planned(unit, site, other, animal, to=stock, reference="T-2", quarantine_reason="released by Dr Sedge, screened twice")

    assert (found.code, found.field) == (ItemCode.QUARANTINE_UNSUITED, "quarantine_enclosure_id")
    assert "without quarantine" in found.sentence
    assert items(checked(unit, released)) == []


def test_an_enclosure_that_is_no_longer_in_use_takes_nobody(unit, site, other, quarantine, animal):
    transfer = planned(unit, site, other, animal, to=quarantine)
    end_enclosure(unit, quarantine.id, Ending(reason="dismantled"))

    assert items(checked(unit, transfer)) == [ItemCode.QUARANTINE_UNSUITED]


def test_animals_of_several_taxa_have_to_fit_together(unit, site, other, animal):
    small = makers.enclosure(unit, other, name="Q3", quarantine=True, capacity=1)
    toad = makers.taxon(unit, "Bufo alter", hazard="harmless")
    second = makers.animal(unit, toad, tag="B-1", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")

    found = checked(unit, planned(unit, site, other, animal, second, to=small)).items

    assert [(one.code, one.animal_ids) for one in found] == [
        (ItemCode.QUARANTINE_UNSUITED, (animal.id,)),
        (ItemCode.QUARANTINE_UNSUITED, (second.id,)),
    ]
    assert "2 animals in Q3, which is for 1 at most" in found[0].sentence


@pytest.mark.parametrize(
    ("hazard", "closure", "code"),
    [
        (None, "locked", ItemCode.QUARANTINE_UNDECIDED),
        ("venomous", None, ItemCode.QUARANTINE_UNDECIDED),
        ("venomous", "latched", ItemCode.QUARANTINE_UNSUITED),
        ("venomous", "locked", None),
    ],
)
def test_no_reason_is_accepted_for_what_guards_people(unit, site, other, hazard, closure, code):
    makers.containment(unit, hazard="venomous", least_closure="locked", competence_needed=False)
    viper = makers.taxon(unit, "Vipera ficta", **({} if hazard is None else {"hazard": hazard}))
    home = makers.enclosure(unit, site, closure="locked")
    going = makers.animal(unit, viper, tag="V-1", enclosure_id=str(home.id), acquired_on="2025-01-10")
    there = makers.enclosure(unit, other, name="Q3", quarantine=True, **({} if closure is None else {"closure": closure}))

    found = items(checked(unit, planned(unit, site, other, going, to=there, quarantine_reason="one night only")))

    assert found == ([] if code is None else [code])


def test_somebody_competent_loads_what_is_dangerous(unit, site):
    makers.containment(unit, hazard="venomous", least_closure="locked", competence_needed=True)
    home = makers.enclosure(unit, site, closure="locked")
    viper = makers.taxon(unit, "Vipera ficta", hazard="venomous")
    going = makers.animal(unit, viper, tag="V-1", enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason="x")
    transfer = planned(unit, site, None, going)

    (found,) = checked(unit, transfer).items
    assert found.code is ItemCode.NOBODY_COMPETENT
    assert found.sentence == "Nobody at the sender holds a competence for class 'venomous': Vipera ficta."
    makers.competence(unit, makers.staff(unit, site), hazard="venomous")
    assert items(checked(unit, transfer)) == []


def test_a_tag_is_one_animals_alone_also_among_those_that_are_expected(unit, site, other, taxon, animal):
    transfer, second = planned(unit, None, site), planned(unit, None, other, reference="T-2")
    comes = {"taxon_id": str(taxon.id), "tag": "N-1"}
    makers.transfer_animal(unit, transfer, **comes)

    for one, tag in ((transfer, "n-1"), (second, "N-1"), (second, animal.tag)):
        assert codes(makers.transfer_animal, unit, one, **{**comes, "tag": tag}) == ["tag-taken"]


def test_a_tag_or_code_that_another_bears_by_now_is_open(unit, site, taxon, animal, quarantine_here):
    transfer = planned(unit, None, site, to=quarantine_here)
    code = "900 215 001 234 567"
    line = makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1", transponder=code)
    assert items(checked(unit, transfer)) == []

    makers.animal(unit, taxon, tag="N-1", enclosure_id=str(quarantine_here.id), acquired_on="2025-01-10")
    record_mark(unit, animal.id, MarkEntered(kind=MarkKind.TRANSPONDER, code=code, from_on=date(2026, 2, 1), reading=MarkReading.SCANNER))

    found = checked(unit, transfer).items
    assert [(one.code, one.animal_ids) for one in found] == [(ItemCode.TAG_TAKEN, (line.id,)), (ItemCode.CODE_TAKEN, (line.id,))]
    again = planned(unit, None, site, to=quarantine_here, reference="T-2")
    assert codes(makers.transfer_animal, unit, again, taxon_id=str(taxon.id), tag="N-2", transponder=code) == ["mark-taken"]


def test_what_another_party_sent_before_today_may_be_on_its_way(unit, site, quarantine_here, taxon):
    transfer = planned(unit, None, site, to=quarantine_here, dispatch_on="2026-02-27", arrive_on="2026-03-02")
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1")

    assert under_way(unit, transfer).dispatched_at is not None
    late = planned(unit, None, site, to=quarantine_here, reference="T-2", dispatch_on="2026-02-20", arrive_on="2026-02-21")
    makers.transfer_animal(unit, late, taxon_id=str(taxon.id), tag="N-2")
    assert [(one.code, one.field) for one in checked(unit, late).items] == [(ItemCode.DAY_PASSED, "arrive_on")]


def consigned(unit):
    """Ask for a document that is for one consignment."""
    makers.document_kind(unit, "consignment", for_one_consignment=True)
    makers.requirement(unit, "XR-5", consequence=Consequence.DOCUMENT, activities=MOVES, documents=("consignment",))


def test_a_paper_for_one_consignment_goes_with_no_other(unit, site, other, quarantine, animal, taxon):
    consigned(unit)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")
    one = planned(unit, site, other, animal, to=quarantine, buffer_days=0)
    two = planned(unit, site, other, second, to=quarantine, buffer_days=0, reference="T-2")
    for transfer, number in ((one, "K 7"), (two, "k 7")):
        makers.transfer_paper(unit, transfer, kind="consignment", number=number, inspected_on=None)
    approved(unit, two)

    under_way(unit, one)

    assert codes(dispatched, unit, two) == ["paper-used", "document-missing"]


def test_a_permit_for_one_consignment_is_used_once_animals_leave_by_it(unit, site, other, quarantine, animal, taxon):
    consigned(unit)
    makers.document_kind(unit)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10")
    used = makers.permit(unit, number="K-7", kind="consignment", any_taxon=True)
    keeping = makers.permit(unit, number="P-9")
    one = planned(unit, site, other, animal, to=quarantine, buffer_days=0)
    two = approved(unit, planned(unit, site, other, second, to=quarantine, buffer_days=0, reference="T-2"))

    under_way(unit, one)

    assert unit.fetch(Permit, used.id).used_on == date(2026, 3, 1)
    assert unit.fetch(Permit, keeping.id).used_on is None
    assert codes(dispatched, unit, two) == ["document-missing"]


def test_a_group_that_comes_back_is_counted_whole_and_so_is_who_is_under_way_already(unit, site, taxon, quarantine_here):
    home = makers.enclosure(unit, site, name="Pond")
    shoal = makers.group(unit, taxon, 20, enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason="x")
    single = makers.animal(unit, taxon, tag="S-1", enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason="x")
    for one, number in ((shoal, 20), (single, 1)):
        makers.event(unit, one, "departed", "2026-02-01", number=number, basis="gift")
    places_for(unit, site, 20)
    all_ = planned(unit, None, site, shoal, to=quarantine_here, quarantine_reason="x")
    one = planned(unit, None, site, single, to=quarantine_here, quarantine_reason="x", reference="T-2")

    assert (items(checked(unit, all_)), items(checked(unit, one))) == ([], [])
    under_way(unit, one)
    assert items(checked(unit, all_)) == [ItemCode.NUMBER_EXCEEDED]


def test_a_paper_for_one_that_was_taken_off_is_for_nobody(unit, site, other, quarantine, animal, taxon):
    certificates_for_moves(unit)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10", override_reason="x")
    transfer = planned(unit, site, other, second, to=quarantine)
    line = makers.transfer_animal(unit, transfer, animal)
    makers.transfer_paper(unit, transfer, kind="health", transfer_animal_ids=[str(line.id)])
    assert items(checked(unit, transfer)) == [ItemCode.DOCUMENT_MISSING]

    end_transfer_animal(unit, line.id, Ending(reason="stays"), owner_id=transfer.id)

    assert items(checked(unit, transfer)) == [ItemCode.DOCUMENT_MISSING]
    assert transfer_file(unit, transfer.id).papers == []


def test_a_loan_that_ends_before_they_would_be_there_is_open_when_they_leave_late(unit, site, animal):
    transfer = approved(unit, planned(unit, site, None, animal, basis="loan", due_back_on="2026-03-05", offspring_split="half each"))
    later(unit, days=10)

    assert codes(dispatched, unit, transfer) == ["loan-over"]


def test_a_permit_of_ours_that_goes_along_as_a_paper_is_that_permit_with_its_numbers(unit, site, other, quarantine, animal, taxon):
    places_for(unit, other, 1)
    makers.permit(unit, number="P-1", site_id=str(site.id))
    makers.animal(unit, taxon, tag="T-9", enclosure_id=str(quarantine.id), acquired_on="2025-01-10")
    transfer = planned(unit, site, other, animal, to=quarantine)
    makers.transfer_paper(unit, transfer, kind="keeping", number="p-9", title="Permit to keep", inspected_on=None)

    assert items(checked(unit, transfer)) == [ItemCode.NUMBER_EXCEEDED]


@pytest.mark.parametrize(
    ("over", "found"),
    [
        ({"used_on": "2026-02-10"}, [ItemCode.PAPER_USED, ItemCode.DOCUMENT_MISSING]),
        ({"withdrawn_on": "2026-02-10"}, [ItemCode.PAPER_LAPSES]),
    ],
)
def test_a_permit_that_is_over_is_not_brought_back_by_going_along_as_a_paper(unit, site, other, quarantine, animal, over, found):
    consigned(unit)
    makers.permit(unit, kind="consignment", number="C-1", **over)
    transfer = planned(unit, site, other, animal, to=quarantine)
    makers.transfer_paper(unit, transfer, kind="consignment", number="C-1", inspected_on=None)

    assert items(checked(unit, transfer)) == found


def movement_permits(unit):
    """Ask for a document for every move within a state."""
    makers.document_kind(unit, "movement")
    makers.requirement(unit, "XR-5", consequence=Consequence.DOCUMENT, activities=MOVES, documents=("movement",))


@pytest.mark.parametrize("to_party", [True, False])
def test_a_permit_of_one_site_that_goes_along_is_one_for_the_whole_journey(unit, site, other, quarantine, animal, to_party):
    movement_permits(unit)
    makers.permit(unit, kind="movement", number="M-1", site_id=str(site.id))
    transfer = planned(unit, site, None, animal, party_jurisdiction="XR") if to_party else planned(unit, site, other, animal, to=quarantine)
    assert items(checked(unit, transfer)) == [ItemCode.DOCUMENT_MISSING]

    makers.transfer_paper(unit, transfer, kind="movement", number="M-1", inspected_on=None)

    assert items(checked(unit, transfer)) == []


def test_of_a_permit_that_was_renewed_on_paper_alone_it_is_said_where_to_say_so(unit, site, other, quarantine, animal):
    movement_permits(unit)
    makers.permit(unit, kind="movement", number="M-1", valid_until="2026-02-01")
    transfer = planned(unit, site, other, animal, to=quarantine)
    makers.transfer_paper(unit, transfer, kind="movement", number="M-1", valid_until="2027-02-01", inspected_on=None)

    (found,) = checked(unit, transfer).items
    assert "M-1 is on record here until 1 February 2026; where it was renewed, put that on record among the permits." in found.sentence


def test_who_died_on_the_way_takes_nobodys_place(unit, site, other, animal, quarantine, taxon):
    places_for(unit, other, 1)
    makers.permit(unit, number="P-1", site_id=str(site.id))
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10", override_reason="x")
    under_way(unit, planned(unit, site, other, animal, to=quarantine))
    transfer = planned(unit, site, other, second, to=quarantine, reference="T-2")
    assert items(checked(unit, transfer)) == [ItemCode.NUMBER_EXCEEDED]

    makers.event(unit, unit.fetch(Animal, animal.id), "died", "2026-03-01")

    assert items(checked(unit, transfer)) == []


def test_a_document_of_who_was_taken_off_is_not_used_by_the_transfer_that_leaves_without(unit, site, other, quarantine, animal, taxon):
    consigned(unit)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10", override_reason="x")
    transfer, next_one = (planned(unit, site, other, to=quarantine, reference=f"T-{number}") for number in (1, 2))
    lines = [makers.transfer_animal(unit, transfer, one) for one in (animal, second)]
    for number, line in enumerate(lines):
        paper = {"kind": "consignment", "number": f"K-{number}", "transfer_animal_ids": [str(line.id)], "inspected_on": None}
        makers.transfer_paper(unit, transfer, **paper)
    end_transfer_animal(unit, lines[0].id, Ending(reason="stays"), owner_id=transfer.id)
    under_way(unit, transfer)

    makers.transfer_animal(unit, next_one, animal)
    makers.transfer_paper(unit, next_one, kind="consignment", number="K-0", inspected_on=None)
    assert items(checked(unit, next_one)) == []


def test_who_is_under_way_to_the_same_enclosure_takes_its_place(unit, site, other, animal, taxon):
    small = makers.enclosure(unit, other, name="Q3", quarantine=True, capacity=1)
    second = makers.animal(unit, taxon, tag="T-2", enclosure_id=str(animal.enclosure_id), acquired_on="2025-01-10", override_reason="x")
    transfer = planned(unit, site, other, second, to=small, reference="T-2")
    assert items(checked(unit, transfer)) == []

    under_way(unit, planned(unit, site, other, animal, to=small))

    assert items(checked(unit, transfer)) == [ItemCode.QUARANTINE_UNSUITED]


def test_while_somebody_is_competent_still_they_may_leave_earlier(unit, site):
    makers.containment(unit, hazard="venomous", least_closure="locked", competence_needed=True)
    home = makers.enclosure(unit, site, closure="locked")
    viper = makers.taxon(unit, "Vipera ficta", hazard="venomous")
    makers.competence(unit, makers.staff(unit, site), hazard="venomous", expires_on="2026-03-05")
    going = makers.animal(unit, viper, tag="V-1", enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason="x")

    check = checked(unit, planned(unit, site, None, going, dispatch_on="2026-03-10", arrive_on="2026-03-10"))

    assert items(check) == [ItemCode.NOBODY_COMPETENT]
    assert check.earliest == Days(date(2026, 3, 1), date(2026, 3, 1))


def test_who_is_too_young_by_law_may_leave_on_the_day_of_that_age(unit, site, other, quarantine, taxon):
    home = makers.enclosure(unit, site, name="Pond")
    young = makers.animal(unit, taxon, tag="Y", enclosure_id=str(home.id), acquired_on="2025-12-01", hatched_on="2025-12-01")
    makers.requirement(unit, "XR-7", activities=MOVES, when=(Predicate(fact=Fact.AGE_MONTHS, relation=Relation.UNDER, number=6),))

    check = checked(unit, planned(unit, site, other, young, to=quarantine, arrive_on="2026-03-02"))

    assert set(items(check)) == {ItemCode.PROHIBITED}
    assert check.earliest == Days(date(2026, 6, 1), date(2026, 6, 2))


def test_a_group_that_has_grown_since_it_was_approved_is_checked_and_approved_anew(unit, site, other, quarantine, taxon):
    home = makers.enclosure(unit, site, name="Pond")
    shoal = makers.group(unit, taxon, 5, enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason="x")
    transfer = approved(unit, planned(unit, site, other, shoal, to=quarantine, quarantine_reason="x"))
    makers.event(unit, unit.fetch(Animal, shoal.id), "counted", "2026-03-01", number=50)

    with pytest.raises(Refusal, match="1 item is open") as refused:
        dispatched(unit, transfer)
    assert refused.value.faults[0].detail == "G-1 has 50 animals by now, and had 5 when this was checked: check it again."
    found, check = check_transfer(unit, transfer.id)
    assert (items(check), found.stage, found.approved_by) == ([], TransferStage.COMPLETE, None)
    approve_transfer(unit, transfer.id)
    assert dispatched(unit, transfer).dispatched_at is not None
    assert [one.number for one in lines_of(unit, transfer)] == [50]


def test_a_code_is_expected_of_one_animal_alone_however_it_is_written(unit, site, taxon):
    transfer = planned(unit, None, site)
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1", transponder="0a1-b2c-3d4-e")

    again = {"taxon_id": str(taxon.id), "tag": "N-2", "transponder": "0A1B2C3D4E"}
    assert codes(makers.transfer_animal, unit, transfer, **again) == ["mark-taken"]
    assert [one.transponder for one in lines_of(unit, transfer)] == ["0A1B2C3D4E"]
    with pytest.raises(Refusal, match="no transponder's code: place 1 is no digit"):
        makers.transfer_animal(unit, transfer, **{**again, "transponder": "notch"})
