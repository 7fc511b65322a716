"""From what is on record of a transfer to the sheet that travels with its animals."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from uuid import UUID

import pytest

from api.issuing import Imprint
from api.transfer_papers import transfer_file_sheet
from domain.actions.kinship import record_parent
from domain.actions.marks import record_mark
from domain.actions.measurements import record_measurement
from domain.actions.readings import record_output
from domain.actions.recording import Ending
from domain.actions.taxa import register_taxon
from domain.actions.transfers.plan import end_transfer
from domain.records.equipment import OutputReadingStated
from domain.records.kinship import ParentRole, ParentStated
from domain.records.marks import MarkEntered, MarkKind, MarkReading
from domain.records.measurements import MeasurementEntered
from domain.records.taxa import TaxonRank, TaxonStated
from domain.rules.fitness import Hazard
from domain.rules.law.requirements import Entry, Selector
from domain.rules.law.spans import Span, Unit
from domain.rules.measures import MeasureKind
from domain.rules.permits import Start
from reports.transfer_file import transfer_file_pdf
from tests import makers
from tests.actions.transfers.of_transfers import approved, dispatched, planned, received, under_way

PAPER = UUID("019ca945-0a00-7303-9a41-d18b21ab2c01")


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    makers.requirement(unit, "XR-9", selector=Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),)))
    return makers.site(unit, jurisdiction="XR", address="1 Mill Lane")


@pytest.fixture
def boas(unit):
    family = register_taxon(unit, TaxonStated(scientific_name="Boidae", rank=TaxonRank.FAMILY, hazard=Hazard.CAN_INJURE))
    taxon = makers.taxon(unit, "Boa fictiva", parent_id=str(family.id), common_name="invented boa", name_authorship="Nobody, 1801")
    makers.target(unit, taxon, air_low_c=24, air_high_c=30)
    return taxon


@pytest.fixture
def boa(unit, site, boas):
    home = makers.enclosure(unit, site, name="A 01")
    return makers.animal(
        unit, boas, tag="B-2", enclosure_id=str(home.id), acquired_on="2025-01-10", sex="female", basis="gift", acquired_from="Ada Sedge"
    )


def marked(unit, animal, code):
    record_mark(unit, animal.id, MarkEntered(kind=MarkKind.TRANSPONDER, code=code, reading=MarkReading.SCANNER, from_on=date(2025, 2, 1)))


def weighed(unit, animal, grams, on):
    record_measurement(unit, animal.id, MeasurementEntered(kind=MeasureKind.MASS, mass_g=grams, measured_on=on))


def sheet_of(unit, transfer, **given):
    return transfer_file_sheet(unit, transfer.id, report_id=PAPER, **{"imprint": Imprint(), "filed_at": None, **given})


def test_an_animal_goes_with_what_a_receiver_has_to_know_of_it(unit, site, boas, boa):
    dam = makers.animal(unit, boas, tag="B-1", acquired_on="2020-01-01", enclosure_id=str(boa.enclosure_id))
    record_parent(unit, boa.id, ParentStated(role=ParentRole.DAM, parent_id=dam.id))
    marked(unit, boa, "999000000000019")
    for on, grams in ((date(2025, 2, 1), 700.0), (date(2026, 1, 5), 800.0), (date(2026, 2, 20), 812.0)):
        weighed(unit, boa, grams, on)

    [one] = sheet_of(unit, planned(unit, site, None, boa)).animals

    assert (one.tag, one.scientific_name, one.name_authorship, one.common_name) == ("B-2", "Boa fictiva", "Nobody, 1801", "invented boa")
    assert (one.hazard, one.sex, one.lived_in, one.held) == ("can_injure", "female", "A 01", None)
    assert [mark.code for mark in one.marks] == ["999000000000019"]
    assert [each.mass_g for each in one.weights] == [800.0, 812.0]
    assert [(each.role, each.who, each.scientific_name) for each in one.parents] == [("dam", "B-1", "Boa fictiva")]
    assert (one.target.air_low_c, one.target_source) == (24, "House guide")


def test_what_was_measured_where_it_lived_is_told_the_last_reading_of_each_lamp(unit, site, boa):
    lamp = makers.equipment(unit, makers.model(unit, output_unit="UV index"), site, enclosure_id=str(boa.enclosure_id))
    for on, value in (("2025-10-01", 4.0), ("2026-01-20", 3.4), ("2026-02-20", 3.1)):
        record_output(unit, lamp.id, OutputReadingStated(measured_on=date.fromisoformat(on), value=value))

    [one] = sheet_of(unit, planned(unit, site, None, boa)).animals

    assert [(each.measured_on, each.value) for each in one.measured_there] == [(date(2026, 2, 20), 3.1)]


def test_of_weights_the_last_one_is_told_however_old_it_is(unit, site, boa):
    weighed(unit, boa, 700.0, date(2025, 2, 1))

    [one] = sheet_of(unit, planned(unit, site, None, boa)).animals

    assert [(each.measured_on, each.mass_g) for each in one.weights] == [(date(2025, 2, 1), 700.0)]


def test_who_had_it_before_and_what_was_noted_in_words_stays_with_the_sender(unit, site, boa):
    makers.event(unit, boa, "sexed", "2026-02-11", sex="female", note="Ada Sedge looked at it", party="Ada Sedge")
    sheet = sheet_of(unit, planned(unit, site, None, boa))

    assert sheet.animals[0].acquired == "acquired 10 January 2025, gift"
    assert [one.what for one in sheet.animals[0].history] == ["sexed: female"]
    assert "Sedge" not in repr(sheet)


def test_both_ends_stand_with_their_licences_and_those_that_lapse_too_early_say_so(unit, site, boa):
    makers.document_kind(unit, "keeping")
    licence = makers.permit(unit, number="P-9", site_id=str(site.id), valid_until="2026-03-02")
    scan = makers.document(unit, licence)
    makers.permit(unit, number="P-OLD", site_id=str(site.id), valid_until="2026-01-02")
    plan = planned(unit, site, None, boa, party_licence_until="2026-05-01", party_address="Fen 7", party_contact="duty desk")

    sheet = sheet_of(unit, plan)

    assert (sheet.sender.name, sheet.sender.site, sheet.sender.address, sheet.sender.jurisdiction) == (
        sheet.organisation,
        site.name,
        "1 Mill Lane",
        "XR",
    )
    [held] = sheet.sender.licences
    assert (held.number, held.until_on, held.lapses) == ("P-9", date(2026, 3, 2), True)
    assert (held.title, held.sha256) == ("Permit to keep", scan.sha256)
    assert (sheet.receiver.name, sheet.receiver.site, sheet.receiver.contact) == ("Fen Rescue", None, "duty desk")
    assert [(one.number, one.lapses) for one in sheet.receiver.licences] == [("L-7", False)]


def test_papers_stand_with_their_last_day_by_their_kind_and_the_digest_of_their_scan(unit, site, boa):
    makers.document_kind(unit, "health", title="Certificate of health (fictional)", lasts=Span(10, Unit.DAYS), starts=Start.INSPECTION)
    plan = planned(unit, site, None, boa)
    scan = makers.document(unit, boa)
    makers.transfer_paper(unit, plan, kind="health", document_id=str(scan.id))
    makers.transfer_paper(unit, plan, kind="health", number="H-2", inspected_on=None)

    first, second = sheet_of(unit, plan).papers

    assert (first.kind_title, first.good_until, first.lapses, first.sha256) == (
        "Certificate of health (fictional)",
        date(2026, 3, 2),
        True,
        scan.sha256,
    )
    assert (second.good_until, second.lapses) == (None, True)


def test_a_paper_says_by_number_for_which_animals_it_is(unit, site, boas, boa):
    other = makers.animal(unit, boas, tag="B-3", enclosure_id=str(boa.enclosure_id), acquired_on="2025-01-10")
    plan = makers.transfer(unit, site, None)
    lines = [makers.transfer_animal(unit, plan, one) for one in (boa, other)]
    makers.transfer_paper(unit, plan, transfer_animal_ids=[str(lines[1].id)])
    makers.transfer_paper(unit, plan, number="H-2")

    assert [one.covers for one in sheet_of(unit, plan).papers] == [(2,), ()]


def test_what_is_open_is_what_the_check_says_with_the_earliest_days(unit, site, boa):
    makers.document_kind(unit, "health", lasts=Span(10, Unit.DAYS), starts=Start.INSPECTION)
    plan = planned(unit, site, None, boa, container=None, dispatch_on="2026-03-09", arrive_on="2026-03-09")
    makers.transfer_paper(unit, plan, kind="health")

    sheet = sheet_of(unit, plan)

    assert [one.code for one in sheet.open_items] == ["container_missing", "paper_lapses"]
    assert sheet.earliest is None
    assert sheet.renewals == ("Health certificate H-1: have it inspected anew between 1 March 2026 and 9 March 2026.",)
    assert sheet.through_on == date(2026, 3, 11)


@pytest.mark.parametrize(
    ("leaves", "told"),
    [
        ("2026-03-04", "have it inspected anew between 1 March 2026 and 4 March 2026."),
        ("2026-03-01", "have it inspected anew on 1 March 2026."),
        ("2026-02-27", "the day of dispatch has passed; set another, and have it inspected anew for that."),
    ],
)
def test_nobody_is_told_to_have_a_paper_made_anew_on_a_day_that_has_passed(unit, site, boa, leaves, told):
    makers.document_kind(unit, "health", lasts=Span(30, Unit.DAYS), starts=Start.INSPECTION)
    plan = planned(unit, site, None, boa, dispatch_on=leaves, arrive_on=leaves)
    makers.transfer_paper(unit, plan, kind="health", inspected_on="2026-01-02", issued_on="2026-01-02")

    assert sheet_of(unit, plan).renewals == (f"Health certificate H-1: {told}",)


@pytest.mark.parametrize(
    ("number", "until", "told"),
    [("C-1", None, ("C-1", None)), (None, "2026-12-31", (None, date(2026, 12, 31))), (None, None, None)],
)
def test_of_a_licence_of_others_only_what_is_on_record_is_told(unit, site, boa, number, until, told):
    plan = planned(
        unit,
        site,
        None,
        boa,
        **dict.fromkeys(("carrier_authorisation", "party_licence"), number),
        **dict.fromkeys(("carrier_until", "party_licence_until"), until),
    )

    sheet = sheet_of(unit, plan)

    carriers = [] if sheet.carriage.authorisation is None else [sheet.carriage.authorisation]
    for licences in (carriers, sheet.receiver.licences):
        assert [(one.number, one.until_on) for one in licences] == ([] if told is None else [told])


def test_what_comes_for_the_first_time_is_told_as_its_papers_have_it(unit, site, boas):
    plan = makers.transfer(unit, None, site)
    makers.transfer_animal(unit, plan, taxon_id=str(boas.id), tag="N-1", transponder="999000000000019", other_mark="notch", number=1)

    [one] = sheet_of(unit, plan).animals

    assert (one.tag, [mark.code for mark in one.marks], one.weights, one.acquired) == ("N-1", ["999000000000019", "notch"], (), None)
    assert one.hazard == "can_injure"


def test_once_the_animals_have_left_nothing_is_looked_at_and_their_marks_still_stand(unit, site, boa):
    marked(unit, boa, "999000000000019")
    plan = under_way(unit, planned(unit, site, None, boa), mark="999000000000019")
    left = sheet_of(unit, plan)
    received(unit, plan)

    arrived = sheet_of(unit, plan)

    assert (left.open_items, left.stage, left.animals[0].mark_loaded) == (None, "dispatched", "999000000000019")
    assert (arrived.stage, arrived.animals[0].condition) == ("received", "lively")
    assert [mark.code for mark in arrived.animals[0].marks] == ["999000000000019"]


def test_once_the_animals_have_left_the_days_are_counted_from_the_day_on_which_they_did(unit, site, boa):
    plan = approved(unit, planned(unit, site, None, boa, arrive_on="2026-03-02", party_licence_until="2026-03-06"))
    unit.origin = replace(unit.origin, at=makers.NOON + timedelta(days=2))
    dispatched(unit, plan)

    sheet = sheet_of(unit, plan)

    assert (sheet.dispatch_on, sheet.arrive_on, sheet.through_on) == (date(2026, 3, 3), date(2026, 3, 4), date(2026, 3, 6))
    assert [one.lapses for one in sheet.receiver.licences] == [False]


def test_a_transfer_that_was_called_off_says_so(unit, site, boa):
    plan = planned(unit, site, None, boa)
    end_transfer(unit, plan.id, Ending(reason="not needed"))

    sheet = sheet_of(unit, plan)

    assert (sheet.stage, sheet.open_items) == ("called_off", None)
    assert transfer_file_pdf(sheet).startswith(b"%PDF")


def test_parents_at_other_sites_are_not_named_in_a_file_of_one_site(unit, site, boas, boa):
    elsewhere = makers.enclosure(unit, makers.site(unit, name="Quillback", jurisdiction="XR"))
    dam = makers.animal(unit, boas, tag="Q-1", acquired_on="2020-01-01", enclosure_id=str(elsewhere.id))
    record_parent(unit, boa.id, ParentStated(role=ParentRole.DAM, parent_id=dam.id))

    [one] = sheet_of(unit, planned(unit, site, None, boa), filed_at=site.id).animals

    assert [(each.who, each.scientific_name) for each in one.parents] == [("in another record of the sender", None)]


def test_the_rules_that_it_was_looked_at_by_are_named_with_their_editions(unit, site, boa):
    makers.document_kind(unit, "keeping")

    names = {one.name for one in sheet_of(unit, planned(unit, site, None, boa)).rules}

    assert {"kind-keeping", "rule-xr-9"} <= names
