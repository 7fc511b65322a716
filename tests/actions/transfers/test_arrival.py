"""How animals leave and arrive: measured, counted, dead or missing, under another tag, flown west, and back at home."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from domain.actions.census import Scope, statement
from domain.actions.histories import MEASUREMENTS_OF
from domain.actions.holdings import holding_on, record_holding
from domain.actions.lives import EVENTS_OF, MARKS_OF, PLACEMENTS_OF, withdraw_event
from domain.actions.marks import record_mark
from domain.actions.placements import enclosure_on
from domain.actions.recording import Ending
from domain.actions.transfers.close import close_transfer
from domain.actions.transfers.dispatch import dispatch_transfer
from domain.actions.transfers.lines import days_of, lines_of
from domain.actions.transfers.numbers import not_arrived
from domain.actions.transfers.receive import receive_transfer, refuse_transfer
from domain.errors import Refusal
from domain.records.animals import Animal, AnimalEvent, Placement
from domain.records.holdings import HoldingKind, HoldingStated
from domain.records.marks import Mark, MarkKind
from domain.records.measurements import Measurement
from domain.records.transfers import Dispatch, Transfer, TransferRefusal
from domain.rules.law.requirements import Entry, Selector
from domain.rules.lives import EventKind, Status
from domain.rules.permissions import Reach
from domain.rules.stock import out_of_balance
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import Days, TransferStage
from tests import makers
from tests.actions.of_animals import CHIP, OTHER_CHIP, mark
from tests.actions.transfers.of_transfers import (
    KNOWN,
    approved,
    checked,
    codes,
    dispatched,
    later,
    planned,
    receipt,
    received,
    told_faults,
    under_way,
)

TODAY = date(2026, 3, 1)
LOAN = {"basis": "loan", "due_back_on": "2026-09-01", "offspring_split": "half each"}
NO_MORE: dict[str, str] = {}
COUGHS = TransferRefusal(reason="It coughs.")


def faults(act, *given, **named):
    """Return the pointers and codes of the faults for which an act is refused."""
    return [(pointer, code) for pointer, code, _ in told_faults(act, *given, **named)]


def coming(unit, site, quarantine_here, taxon, plan=NO_MORE, **said):
    """Have one leave another party for a site of ours that comes for the first time."""
    transfer = planned(unit, None, site, to=quarantine_here, quarantine_reason=KNOWN, **plan)
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), **{"tag": "N-1", **said})
    return under_way(unit, transfer)


def the_one_of(unit, transfer):
    """Return the line of a transfer of one animal, and the animal."""
    (line,) = lines_of(unit, transfer)
    return line, unit.fetch(Animal, line.animal_id)


def told_of(unit, animal):
    """Return the last events of an animal: what happened, and to how many."""
    return [(one.kind, one.number) for one in unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)]


def unbalanced(unit):
    """Return the lines of the stock since yesterday whose sums are wrong."""
    return out_of_balance(statement(unit, from_on=TODAY - timedelta(1), until_on=TODAY, scope=Scope()))


def test_a_tag_that_was_taken_meanwhile_is_said_anew_on_arrival(unit, site, taxon, quarantine_here):
    transfer = coming(unit, site, quarantine_here, taxon)
    makers.animal(unit, taxon, tag="n-1")

    with pytest.raises(Refusal, match="not received") as refused:
        received(unit, transfer)
    (fault,) = refused.value.faults
    assert (fault.pointer, fault.code, fault.detail) == (
        "/arrivals/0/tag",
        "tag-taken",
        "The tag N-1 is taken: say another here, under which it is received.",
    )
    received(unit, transfer, tag="N-2")
    assert the_one_of(unit, transfer)[1].tag == "N-2"


def test_who_came_this_morning_goes_on_and_arrives_the_same_day(unit, site, other, animal, quarantine, quarantine_here):
    received(unit, under_way(unit, planned(unit, site, other, animal, to=quarantine)))

    received(unit, under_way(unit, planned(unit, other, site, animal, to=quarantine_here, reference="T-2")))

    assert enclosure_on(unit, unit.fetch(Animal, animal.id), on=TODAY) == quarantine_here
    assert unbalanced(unit) == []


def test_who_is_on_record_is_received_under_no_other_tag(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))

    assert faults(received, unit, transfer, tag="N-2") == [("/arrivals/0/tag", "not-together")]


def test_a_code_that_another_bears_is_refused_by_its_arrival_and_names_both(unit, site, animal, taxon, quarantine_here):
    record_mark(unit, animal.id, mark())
    transfer = coming(unit, site, quarantine_here, taxon, transponder=OTHER_CHIP)

    with pytest.raises(Refusal) as refused:
        received(unit, transfer, mark=CHIP, discrepancy="another code was read")
    (fault,) = refused.value.faults
    assert (fault.pointer, fault.code) == ("/arrivals/0/mark", "mark-taken")
    assert fault.detail.startswith(f"N-1: {CHIP} was read. Animal T-1 bears this code")


def test_what_the_papers_say_of_marks_and_mass_is_put_on_record_and_what_is_read_is_primary(unit, site, taxon, quarantine_here):
    transfer = coming(unit, site, quarantine_here, taxon, transponder=CHIP, other_mark="notch, third marginal left", mass_g=412.5)

    received(unit, transfer, mark=CHIP)

    _, found = the_one_of(unit, transfer)
    marks = sorted(unit.all(Mark, MARKS_OF, animal_id=found.id), key=lambda one: not one.is_primary)
    assert [(one.kind, one.code, one.is_primary) for one in marks] == [
        (MarkKind.TRANSPONDER, CHIP, True),
        (MarkKind.OTHER, None, False),
    ]
    assert marks[1].note == "notch, third marginal left\nFrom the sender's papers."
    (mass,) = unit.all(Measurement, MEASUREMENTS_OF, animal_id=found.id)
    assert (mass.mass_g, mass.measured_on, mass.note) == (412.5, TODAY, "From the sender's papers.")


@pytest.mark.parametrize(
    ("said", "wrong"),
    [
        ({"number": 18}, [("discrepancy", "required")]),
        ({"dead": 1}, [("discrepancy", "required")]),
        ({"number": 21}, [("number", "too-many")]),
        ({"dead": 21, "discrepancy": "all dead"}, [("dead", "too-many")]),
    ],
)
def test_how_many_arrived_has_to_agree_with_the_papers_or_be_explained(unit, site, other, quarantine, group, said, wrong):
    transfer = under_way(unit, planned(unit, site, other, group, to=quarantine, quarantine_reason=KNOWN))

    assert faults(received, unit, transfer, **said) == [(f"/arrivals/0/{name}", code) for name, code in wrong]


@pytest.mark.parametrize("said", [{"number": 2}, {"dead": 1}, {"tag": "N-2"}])
def test_of_who_did_not_arrive_nothing_else_is_said(unit, site, other, quarantine, animal, said):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))

    assert codes(received, unit, transfer, arrived=False, discrepancy="not there", **said) == ["not-together"]


def test_of_a_group_the_dead_have_died_and_the_missing_are_away_until_they_are_accounted_for(unit, site, other, quarantine, group):
    transfer = under_way(unit, planned(unit, site, other, group, to=quarantine, quarantine_reason=KNOWN))

    received(unit, transfer, number=18, dead=3, discrepancy="three dead, two not in the box")

    line, found = the_one_of(unit, transfer)
    (missing,) = not_arrived(unit, transfer, line)
    assert (line.arrived_number, line.arrived_dead, line.quarantine_until) == (18, 3, date(2026, 3, 31))
    assert (found.count, found.status, found.enclosure_id) == (15, Status.PRESENT, quarantine.id)
    assert (missing.tag, missing.count, missing.status) == ("G-1, missing", 2, Status.AWAY)
    assert told_of(unit, found)[-3:] == [(EventKind.SPLIT_OFF, 2), (EventKind.CAME_BACK, 18), (EventKind.DIED, 3)]
    assert unbalanced(unit) == []
    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine", "not-accounted-for"]
    makers.event(unit, missing, "died", "2026-03-01", number=2)
    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine"]


def test_who_is_dead_on_arrival_has_come_and_died_that_day_and_is_not_kept_apart(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))

    received(unit, transfer, dead=1, condition="dead", discrepancy="dead in the box")

    line, found = the_one_of(unit, transfer)
    (last,) = unit.all(Placement, PLACEMENTS_OF, animal_id=found.id)[-1:]
    assert (found.status, found.ended_on, line.quarantine_until) == (Status.DEAD, TODAY, None)
    assert (last.enclosure_id, last.from_on, last.until_on) == (quarantine.id, TODAY, TODAY)
    assert unbalanced(unit) == []
    assert close_transfer(unit, transfer.id).stage is TransferStage.CLOSED


def test_of_a_group_that_comes_for_the_first_time_as_many_are_registered_as_arrived(unit, site, taxon, quarantine_here):
    transfer = coming(unit, site, quarantine_here, taxon, grouping="group", number=10, mass_g=12.0)

    received(unit, transfer, number=8, dead=1, discrepancy="eight in the box, one of them dead")

    line, found = the_one_of(unit, transfer)
    assert (found.count, line.arrived_number, list(not_arrived(unit, transfer, line))) == (7, 8, [])
    assert told_of(unit, found) == [(EventKind.ACQUIRED, 8), (EventKind.DIED, 1)]


def test_to_another_party_go_those_that_arrived_alive(unit, site, group):
    transfer = under_way(unit, planned(unit, site, None, group))

    received(unit, transfer, number=18, dead=1, discrepancy="so they say")

    line, found = the_one_of(unit, transfer)
    (missing,) = not_arrived(unit, transfer, line)
    assert told_of(unit, found)[-3:] == [(EventKind.SPLIT_OFF, 2), (EventKind.DIED, 1), (EventKind.DEPARTED, 17)]
    assert (found.status, missing.status, missing.count) == (Status.DEPARTED, Status.AWAY, 2)
    assert unbalanced(unit) == []
    assert codes(close_transfer, unit, transfer.id) == ["not-accounted-for"]


def test_of_a_group_that_was_lent_those_that_do_not_come_back_are_lent_still(unit, site, quarantine_here, group):
    received(unit, under_way(unit, planned(unit, site, None, group, **LOAN)))
    back = planned(unit, None, site, group, to=quarantine_here, basis="return", reference="T-2", quarantine_reason=KNOWN)
    under_way(unit, back)

    received(unit, back, number=12, discrepancy="eight stay for the summer")

    line, found = the_one_of(unit, back)
    (missing,) = not_arrived(unit, back, line)
    assert (found.count, missing.count) == (12, 8)
    assert holding_on(unit, found.id, on=TODAY).kind is HoldingKind.OWNED
    held = holding_on(unit, missing.id, on=TODAY)
    assert (held.kind, held.party, held.due_back_on) == (HoldingKind.LOAN_OUT, "Fen Rescue", date(2026, 9, 1))
    assert codes(close_transfer, unit, back.id) == ["in-quarantine"]


def test_what_guards_people_is_looked_at_again_on_arrival_and_no_reason_of_the_plan_answers_for_it(unit, site, other):
    makers.containment(unit, hazard="venomous", least_closure="locked", competence_needed=True)
    viper = makers.taxon(unit, "Vipera ficta", hazard="venomous")
    home = makers.enclosure(unit, site, closure="locked")
    for where in (site, other):
        makers.competence(unit, makers.staff(unit, where, name=f"Keeper at {where.name}"), hazard="venomous", expires_on="2026-03-02")
    going = makers.animal(unit, viper, tag="V-1", enclosure_id=str(home.id), acquired_on="2025-01-10", override_reason=KNOWN)
    there = makers.enclosure(unit, other, name="Q3", quarantine=True, closure="locked", capacity=1)
    makers.animal(unit, makers.taxon(unit, "Bufo alter"), tag="B-1", enclosure_id=str(there.id), acquired_on="2025-01-10")
    transfer = under_way(unit, planned(unit, site, other, going, to=there, quarantine_reason="one night only"))
    later(unit, days=5)

    assert faults(received, unit, transfer) == [("/arrivals/0/enclosure_id", "unguarded")]
    received(unit, transfer, override_reason="the veterinarian stays with it until Monday")


@pytest.mark.parametrize("gone", ["lent", "departed"])
def test_who_lived_at_one_site_comes_back_to_another_by_somebody_who_reaches_that_alone(unit, site, other, animal, quarantine, gone):
    if gone == "lent":
        received(unit, under_way(unit, planned(unit, site, None, animal, **LOAN)))
    else:
        makers.event(unit, animal, "departed", "2026-02-01", basis="gift")
    basis = "return" if gone == "lent" else "gift"
    transfer = approved(unit, planned(unit, None, other, unit.fetch(Animal, animal.id), to=quarantine, reference="T-2", basis=basis))
    unit.origin = replace(unit.origin, reach=Reach(frozenset((other.id,))))

    dispatched(unit, transfer)
    received(unit, transfer)

    assert unit.fetch(Animal, animal.id).enclosure_id == quarantine.id
    assert unit.origin.reach.site_ids == {other.id}


@pytest.mark.parametrize("days", [0, 1])
def test_who_was_refused_is_not_put_back_among_its_mates_unasked_however_soon_it_is_back(
    unit, site, other, animal, taxon, quarantine, days
):
    makers.enclosure(unit, site, name="Q2", quarantine=True)
    home = str(animal.enclosure_id)
    makers.animal(unit, taxon, tag="M", enclosure_id=home, acquired_on="2025-01-10", override_reason=KNOWN)
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))
    refuse_transfer(unit, transfer.id, COUGHS)
    later(unit, days=days)

    assert faults(received, unit, transfer, apart=14) == [("/arrivals/0/enclosure_id", "past-quarantine")]
    received(unit, transfer, apart=14, override_reason="the veterinarian has seen it")
    place = unit.all(Placement, PLACEMENTS_OF, animal_id=animal.id)[-1]
    assert (str(place.enclosure_id), place.override_reason) == (home, "the veterinarian has seen it")


def test_an_animal_that_went_to_another_party_comes_back_from_the_next_day_on(unit, site, animal, quarantine_here):
    received(unit, under_way(unit, planned(unit, site, None, animal)))
    back = planned(unit, None, site, unit.fetch(Animal, animal.id), to=quarantine_here, reference="T-2")

    check = checked(unit, back)

    (found,) = check.items
    assert found.sentence == "T-1 left on 1 March 2026 and can come back from the next day on. If it did not leave, withdraw that it did."
    assert check.earliest == Days(date(2026, 3, 2), date(2026, 3, 2))


def test_who_died_on_the_road_by_its_record_does_not_arrive(unit, site, other, animal, quarantine):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))
    makers.event(unit, unit.fetch(Animal, animal.id), "died", str(TODAY))

    assert faults(received, unit, transfer) == [("/arrivals/0/arrived", "dead")]
    received(unit, transfer, arrived=False, condition=None, discrepancy="it died on the road")


@pytest.mark.parametrize(
    ("papers", "read", "marks"),
    [
        ({}, CHIP, [(MarkKind.TRANSPONDER, CHIP, True)]),
        ({}, "ring, blue", []),
        ({}, "unreadable", []),
        ({"grouping": "group", "number": 4}, CHIP, []),
        ({"transponder": "0A1B2C3D4E"}, "0a1-b2c-3d4-e", [(MarkKind.OTHER_TRANSPONDER, "0A1B2C3D4E", True)]),
        ({"transponder": CHIP}, None, [(MarkKind.OTHER, None, False)]),
        ({"transponder": CHIP}, OTHER_CHIP, [(MarkKind.TRANSPONDER, OTHER_CHIP, True), (MarkKind.OTHER, None, False)]),
    ],
)
def test_which_transponder_was_read_of_who_comes_is_put_on_record_and_which_was_not(
    unit, site, taxon, quarantine_here, papers, read, marks
):
    transfer = coming(unit, site, quarantine_here, taxon, **papers)

    received(unit, transfer, mark=read, discrepancy="looked at twice")

    found = unit.all(Mark, MARKS_OF, animal_id=the_one_of(unit, transfer)[1].id)
    assert [(one.kind, one.code, one.is_primary) for one in sorted(found, key=lambda one: not one.is_primary)] == marks
    told = [one.note for one in found if one.kind is MarkKind.OTHER]
    assert told == [f"transponder {CHIP}, which was not read on arrival\nFrom the sender's papers."] * len(told)


def test_what_another_party_sent_keeps_its_days_though_that_is_said_late(unit, site, taxon, quarantine_here):
    transfer = planned(unit, None, site, to=quarantine_here, quarantine_reason=KNOWN, arrive_on="2026-03-05")
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1")
    approved(unit, transfer)
    later(unit, days=3)

    assert days_of(unit, dispatched(unit, transfer)) == Days(TODAY, date(2026, 3, 5))


@pytest.mark.parametrize(("said", "expected"), [({}, 15), ({"number": 20}, 20), ({"number": 2}, 2)])
def test_of_a_group_that_left_in_two_parts_as_many_come_back_as_is_said_and_else_those_that_left_last(
    unit, site, quarantine_here, group, said, expected
):
    makers.event(unit, group, "departed", "2026-02-01", number=5, basis="gift")
    received(unit, under_way(unit, planned(unit, site, None, group)))
    back = planned(unit, None, site, to=quarantine_here, reference="T-2", quarantine_reason=KNOWN)
    with pytest.raises(Refusal, match="Only 20 of this record have departed"):
        makers.transfer_animal(unit, back, group, number=21)
    assert makers.transfer_animal(unit, back, group, **said).number == expected
    under_way(unit, back)

    assert faults(received, unit, back, number=21) == [("/arrivals/0/number", "too-many")]
    received(unit, back)

    assert the_one_of(unit, back)[1].count == expected


def test_more_that_have_departed_and_come_in_one_box_are_received_and_that_is_said(unit, site, quarantine_here, group):
    makers.event(unit, group, "departed", "2026-02-01", number=5, basis="gift")
    received(unit, under_way(unit, planned(unit, site, None, group)))
    back = under_way(unit, planned(unit, None, site, group, to=quarantine_here, reference="T-2", quarantine_reason=KNOWN))

    assert faults(received, unit, back, number=20) == [("/arrivals/0/discrepancy", "required")]
    received(unit, back, number=20, discrepancy="those of February as well")

    assert the_one_of(unit, back)[1].count == 20


def test_all_of_a_record_that_is_kept_go(unit, site, other, group):
    transfer = planned(unit, site, other)

    with pytest.raises(Refusal, match="All 20 of this record go"):
        makers.transfer_animal(unit, transfer, group, number=19)
    line = makers.transfer_animal(unit, transfer, group, number=20)
    assert (line.grouping, line.number) == ("group", 20)


def test_how_many_of_a_group_come_back_from_a_loan_is_said_on_arrival(unit, site, quarantine_here, group):
    received(unit, under_way(unit, planned(unit, site, None, group, **LOAN)))
    back = planned(unit, None, site, to=quarantine_here, basis="return", reference="T-2")

    with pytest.raises(Refusal, match="How many arrive is said on arrival"):
        makers.transfer_animal(unit, back, group, number=18)


def test_a_loan_that_was_to_end_before_its_late_arrival_is_due_back_at_once(unit, site, animal):
    transfer = under_way(unit, planned(unit, site, None, animal, **{**LOAN, "due_back_on": "2026-03-02"}))
    later(unit, days=2)

    received(unit, transfer)

    held = holding_on(unit, animal.id, on=date(2026, 3, 3))
    assert (held.kind, held.due_back_on) == (HoldingKind.LOAN_OUT, date(2026, 3, 3))
    assert held.terms == "Offspring: half each\nAgreed until 2 March 2026, before it arrived."


def test_what_was_held_otherwise_since_this_morning_is_lent_from_this_day_on(unit, site, animal):
    record_holding(unit, animal.id, HoldingStated(kind=HoldingKind.OWNED, from_on=TODAY))

    received(unit, under_way(unit, planned(unit, site, None, animal, **LOAN)))

    assert holding_on(unit, animal.id, on=TODAY).kind is HoldingKind.LOAN_OUT


@pytest.mark.parametrize(("basis", "kind"), [("sale", HoldingKind.OWNED), ("gift", HoldingKind.OWNED), ("return", HoldingKind.LOAN_IN)])
def test_who_was_on_loan_to_us_and_comes_again_is_ours_unless_it_is_only_given_back(unit, site, taxon, quarantine_here, basis, kind):
    lent = coming(unit, site, quarantine_here, taxon, plan=LOAN)
    received(unit, lent)
    animal = the_one_of(unit, lent)[1]
    next_day = {"dispatch_on": later(unit, days=1), "arrive_on": later(unit, days=0)}
    received(unit, under_way(unit, planned(unit, site, None, animal, basis="return", reference="T-2", **next_day)))
    that_day = later(unit, days=1)

    again = planned(
        unit,
        None,
        site,
        unit.fetch(Animal, animal.id),
        to=quarantine_here,
        basis=basis,
        reference="T-3",
        quarantine_reason=KNOWN,
        dispatch_on=that_day,
        arrive_on=that_day,
    )
    received(unit, under_way(unit, again))

    assert holding_on(unit, animal.id, on=date.fromisoformat(that_day)).kind is kind


def test_what_was_read_of_who_comes_and_another_bears_is_said_and_stops_nobody(unit, site, animal, taxon, quarantine_here):
    record_mark(unit, animal.id, mark())
    transfer = coming(unit, site, quarantine_here, taxon)

    assert faults(received, unit, transfer, mark=CHIP) == [("/arrivals/0/discrepancy", "required")]
    received(unit, transfer, mark=CHIP, discrepancy="T-1 bears this code by its record")

    line, found = the_one_of(unit, transfer)
    assert (line.mark_arrived, unit.all(Mark, MARKS_OF, animal_id=found.id)) == (CHIP, [])


def test_that_an_animal_left_with_a_transfer_is_not_withdrawn_while_it_is_under_way(unit, site, other, animal, quarantine):
    under_way(unit, planned(unit, site, other, animal, to=quarantine))
    left = unit.all(AnimalEvent, EVENTS_OF, animal_id=animal.id)[-1]

    assert codes(withdraw_event, unit, left.id, Ending(reason="a mistake"), owner_id=animal.id) == ["under-way"]


def test_who_is_brought_back_on_the_evening_of_its_leaving_is_received_the_next_day(unit, site, animal, quarantine_here):
    received(unit, under_way(unit, planned(unit, site, None, animal)))
    away = unit.fetch(Animal, animal.id)
    back = under_way(unit, planned(unit, None, site, away, to=quarantine_here, reference="T-2", arrive_on="2026-03-02"))

    assert faults(received, unit, back) == [("/arrivals/0/arrived", "left-today")]
    later(unit, days=1)
    received(unit, back)


@pytest.mark.parametrize("kind", ["came_back", "departed"])
def test_who_is_under_way_comes_and_goes_by_its_transfer_alone(unit, site, other, animal, quarantine, kind):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))
    basis = {"basis": "gift"} if kind == "departed" else {}

    with pytest.raises(Refusal, match="under way with transfer T-1: say there") as refused:
        makers.event(unit, unit.fetch(Animal, animal.id), kind, str(TODAY), **basis)
    assert refused.value.code == "under-way"
    received(unit, transfer)


def test_nobody_leaves_a_site_of_ours_in_a_box_in_which_nobody_measured(unit, site, other, quarantine, animal):
    transfer = approved(unit, planned(unit, site, other, animal, to=quarantine))

    assert faults(dispatch_transfer, unit, transfer.id, Dispatch()) == [("/temperature_c", "required")]


def test_what_leaves_another_party_need_not_have_been_measured(unit, site, taxon, quarantine_here):
    transfer = planned(unit, None, site, to=quarantine_here)
    makers.transfer_animal(unit, transfer, taxon_id=str(taxon.id), tag="N-1")

    assert dispatch_transfer(unit, approved(unit, transfer).id, Dispatch()).stage is TransferStage.DISPATCHED


def test_who_flies_west_arrives_on_the_day_of_leaving_though_it_is_earlier_there(unit, taxon):
    """It is the second of March in Auckland, and the first in Honolulu."""
    makers.requirement(unit, "XR-9", selector=Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),)))
    east, west = (
        makers.site(unit, name=name, jurisdiction="XR", zone=zone) for name, zone in (("E", "Pacific/Auckland"), ("W", "Pacific/Honolulu"))
    )
    home, apart = makers.enclosure(unit, east, name="A"), makers.enclosure(unit, west, name="Q", quarantine=True)
    animal = makers.animal(unit, taxon, enclosure_id=str(home.id), acquired_on="2025-01-10")
    days = {"dispatch_on": "2026-03-02", "arrive_on": "2026-03-02"}
    transfer = under_way(unit, planned(unit, east, west, animal, to=apart, **days))

    received(unit, transfer)

    line, found = the_one_of(unit, transfer)
    assert [one.happened_on for one in unit.all(AnimalEvent, EVENTS_OF, animal_id=found.id)][-2:] == [date(2026, 3, 2)] * 2
    assert (found.status, enclosure_on(unit, found, on=date(2026, 3, 2)).id) == (Status.PRESENT, apart.id)
    assert line.quarantine_until == date(2026, 4, 1)


def test_who_was_refused_is_kept_apart_at_home_as_long_as_is_said(unit, site, animal):
    transfer = under_way(unit, planned(unit, site, None, animal))
    refuse_transfer(unit, transfer.id, COUGHS)

    assert faults(received, unit, transfer) == [("/quarantine_days", "required")]
    received(unit, transfer, apart=14)

    assert the_one_of(unit, transfer)[0].quarantine_until == date(2026, 3, 15)
    assert codes(close_transfer, unit, transfer.id) == ["in-quarantine"]
    later(unit, days=14)
    assert close_transfer(unit, transfer.id).stage is TransferStage.CLOSED


def test_for_how_long_they_are_kept_apart_is_said_on_arrival_only_of_who_is_back(unit, site, other, quarantine, animal):
    transfer = under_way(unit, planned(unit, site, other, animal, to=quarantine))

    assert faults(received, unit, transfer, apart=14) == [("/quarantine_days", "not-together")]
    refuse_transfer(unit, transfer.id, COUGHS)
    receive_transfer(unit, transfer.id, receipt(unit, transfer, apart=7))
    assert the_one_of(unit, transfer)[0].quarantine_until == date(2026, 3, 8)


def test_why_an_enclosure_was_accepted_holds_for_that_one_on_arrival_and_for_no_other(unit, site, other, quarantine, group, taxon):
    """In the shed nobody is kept apart who comes, and in the box at home lives what eats them."""
    elsewhere, plain = (makers.enclosure(unit, one, name=name) for one, name in ((other, "Shed"), (site, "Box")))
    enemy = makers.taxon(unit, "Varanus fictivus")
    makers.separation(unit, taxon, enemy)
    came = {"enclosure_id": str(plain.id), "acquired_on": "2025-01-10", "override_reason": KNOWN}
    makers.animal(unit, enemy, tag="V-1", **came)
    transfer = under_way(unit, planned(unit, site, other, group, to=quarantine, quarantine_reason=KNOWN))

    assert [pointer for pointer, _ in faults(received, unit, transfer, enclosure_id=str(elsewhere.id))] == ["/arrivals/0/enclosure_id"]
    refuse_transfer(unit, transfer.id, COUGHS)
    assert [pointer for pointer, _ in faults(received, unit, transfer, enclosure_id=str(plain.id))] == ["/arrivals/0/enclosure_id"]
    received(unit, transfer, enclosure_id=str(plain.id), override_reason="for one night")
    assert unit.fetch(Transfer, transfer.id).stage is TransferStage.RETURNED
