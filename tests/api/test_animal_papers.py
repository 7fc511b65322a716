"""From what is on record of animals to the sheets that are printed."""

from __future__ import annotations

from datetime import date
from uuid import UUID

import pytest

from api.animal_papers import animal_record_sheet, label_sheet
from domain.actions.kinship import record_parent
from domain.actions.lives import withdraw_event
from domain.actions.measurements import record_measurement
from domain.actions.recording import Ending
from domain.actions.taxa import register_taxon
from domain.records.kinship import ParentRole, ParentStated
from domain.records.measurements import MeasurementEntered
from domain.records.taxa import TaxonRank, TaxonStated
from domain.rules.fitness import Hazard
from domain.rules.lives import EventKind, Status
from domain.rules.measures import MeasureKind
from reports.animal_record import animal_record_pdf
from reports.labels import labels_pdf
from tests import makers

PAPER = UUID("019ca945-0a00-7303-9a41-d18b21ab2c01")


@pytest.fixture
def unit(store, organisation):
    with store.transaction(makers.origin()) as opened:
        yield opened


@pytest.fixture
def site(unit):
    return makers.site(unit)


@pytest.fixture
def boas(unit):
    family = register_taxon(unit, TaxonStated(scientific_name="Boidae", rank=TaxonRank.FAMILY, hazard=Hazard.CAN_INJURE))
    return makers.taxon(unit, "Boa fictiva", parent_id=str(family.id))


def test_the_record_sheet_holds_the_whole_life(unit, site, boas):
    halls = [makers.enclosure(unit, site, name=name) for name in ("A 01", "B 02")]
    dam = makers.animal(unit, boas, tag="B-1", acquired_on="2020-01-01", sex="female", enclosure_id=str(halls[0].id))
    boa = makers.animal(
        unit, boas, tag="B-2", name="Sedge", acquired_on="2026-01-10", enclosure_id=str(halls[0].id), hatched_on="2024-05-01"
    )
    record_parent(unit, boa.id, ParentStated(role=ParentRole.DAM, parent_id=dam.id))
    makers.move(unit, boa, halls[1], "2026-02-01")
    record_measurement(unit, boa.id, MeasurementEntered(kind=MeasureKind.MASS, mass_g=812.0, measured_on=date(2026, 2, 3)))
    wrong = makers.event(unit, boa, "escaped", "2026-02-10")
    withdraw_event(unit, wrong.event.id, Ending(reason="it was under the bark"), owner_id=boa.id)

    sheet = animal_record_sheet(unit, boa.id, report_id=PAPER)

    assert (sheet.tag, sheet.name, sheet.hazard, sheet.withdrawn) == ("B-2", "Sedge", Hazard.CAN_INJURE, 1)
    assert [(one.enclosure, one.site) for one in sheet.placements] == [("A 01", "Reedmere House"), ("B 02", "Reedmere House")]
    assert [(one.tag, one.role) for one in sheet.parents] == [("B-1", "dam")]
    assert [one.kind for one in sheet.events] == [EventKind.ACQUIRED]
    assert [one.status for one in sheet.states] == [Status.PRESENT]
    assert [one.mass_g for one in sheet.measurements] == [812.0]
    assert animal_record_pdf(sheet).startswith(b"%PDF")
    assert [one.tag for one in animal_record_sheet(unit, dam.id, report_id=PAPER).offspring] == ["B-2"]


def test_labels_say_who_lives_there_on_the_day(unit, site, boas):
    hall, empty = (makers.enclosure(unit, site, name=name, walking_order=n) for n, name in enumerate(("A 01", "B 02")))
    for number, sex in enumerate(("male", "female", "female", "unknown")):
        makers.animal(unit, boas, tag=f"B-{number}", sex=sex, acquired_on="2026-01-10", enclosure_id=str(hall.id))
    makers.group(unit, makers.taxon(unit, "Danio fictivus"), 30, acquired_on="2026-01-10", enclosure_id=str(empty.id))
    makers.target(unit, boas)

    sheet = label_sheet(unit, site, on=date(2026, 2, 1), first_label=3, link_base="", report_id=PAPER)
    before = label_sheet(unit, site, on=date(2026, 1, 9), first_label=1, link_base="", report_id=PAPER)

    [boa] = sheet.labels[0].taxa
    [danio] = sheet.labels[1].taxa
    assert (boa.males, boa.females, boa.unsexed, boa.in_groups, boa.hazard) == (1, 2, 1, 0, Hazard.CAN_INJURE)
    assert boa.targets is not None
    assert (danio.in_groups, danio.hazard, danio.targets) == (30, None, None)
    assert [label.taxa for label in before.labels] == [(), ()]
    assert len({label.short_id for label in sheet.labels}) == 2
    assert labels_pdf(sheet).startswith(b"%PDF")


def test_a_lamp_that_gives_ultraviolet_is_on_the_label(unit, site):
    hall = makers.enclosure(unit, site)
    makers.equipment(unit, makers.model(unit), site, enclosure_id=str(hall.id))

    [label] = label_sheet(unit, site, on=date(2026, 2, 1), first_label=1, link_base="", report_id=PAPER).labels

    assert label.uv_lamp


def test_a_record_that_is_filed_at_a_site_tells_of_no_offspring_elsewhere(unit, site, boas):
    elsewhere = makers.site(unit, name="Saltings Hall")
    dam, near, far = (
        makers.animal(unit, boas, tag=tag, acquired_on="2024-01-01", enclosure_id=str(makers.enclosure(unit, at, name=tag).id))
        for tag, at in (("B-1", site), ("B-2", site), ("B-3", elsewhere))
    )
    for one in (near, far):
        record_parent(unit, one.id, ParentStated(role=ParentRole.DAM, parent_id=dam.id))

    filed, whole = (animal_record_sheet(unit, dam.id, report_id=PAPER, filed_at=at) for at in (site.id, None))

    assert [line.tag for line in filed.offspring] == ["B-2"]
    assert [line.tag for line in whole.offspring] == ["B-2", "B-3"]
