"""A small collection on record, so that what is generated also meets records that there are."""

from __future__ import annotations

from datetime import date

from domain.actions.animals import register_animal
from domain.actions.lives import EVENTS_OF
from domain.actions.readings import record_check, record_hours, record_output
from domain.actions.staff import register_staff
from domain.actions.taxa import register_taxon
from domain.records.animals import Animal, AnimalEvent, AnimalStated
from domain.records.base import Record
from domain.records.engine import Store
from domain.records.equipment import CheckResult, EquipmentCheckStated, HourReadingStated, OutputReadingStated
from domain.records.sites import Site
from domain.records.staff import Staff, StaffStated
from domain.records.taxa import Taxon, TaxonRank, TaxonStated
from domain.records.unit import Unit
from domain.rules.permissions import Role
from domain.rules.service_life import CheckKind
from domain.rules.transfers import TransferStage
from tests import makers

ON = date(2026, 2, 1)


def registered(store: Store, *, organisation_id: int) -> dict[str, str]:
    """Register one of everything, and return the ids by the names that the API gives them in paths and bodies."""
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        site = makers.site(unit)
        system = makers.system(unit, site)
        enclosure = makers.enclosure(unit, site, life_support_system_id=str(system.id))
        model = makers.model(unit, output_unit="uW/cm2", output_minimum=10.0, life_hours=5000.0)
        item = makers.equipment(unit, model, site, enclosure_id=str(enclosure.id), run_schedule=[{"hours_per_day": 10.0}])
        other_model = makers.model(unit, name="Halden T5 39W high")
        spare = makers.spare(unit, other_model, site)
        makers.spare(unit, model, site, shelf="B5", on_hand=1000)
        taxon = register_taxon(unit, TaxonStated(scientific_name="Bombina fictiva", rank=TaxonRank.SPECIES))
        animal = register_animal(unit, AnimalStated(taxon_id=taxon.id, tag="A-1", enclosure_id=enclosure.id, acquired_on=ON))
        group, other_group = (makers.group(unit, taxon, 5000, tag=tag, acquired_on=ON.isoformat()) for tag in ("G-1", "G-2"))
        member = register_staff(unit, StaffStated(name="Ada Reed", role=Role.KEEPER, site_id=site.id))
        hours = record_hours(unit, item.id, HourReadingStated(read_on=ON, counter_h=100.0))
        output = record_output(unit, item.id, OutputReadingStated(measured_on=ON, value=50.0))
        other_taxon, third_taxon = (makers.taxon(unit, name) for name in ("Bufo alter", "Bufo tertius"))
        said = {
            "concept_member_id": makers.concept_member(unit, taxon, other_taxon),
            "husbandry_target_id": makers.target(unit, taxon, least_water_l=10.0),
            "separation_id": makers.separation(unit, taxon, other_taxon),
            "containment_id": makers.containment(unit),
            "requirement_id": makers.requirement(unit, "XR-7"),
            "competence_id": makers.competence(unit, member),
            "other_taxon_id": third_taxon,
            "member_id": third_taxon,
            **of_the_law(unit, site, other_taxon, animal, member),
        }
        check = record_check(unit, item.id, EquipmentCheckStated(kind=CheckKind.CALIBRATION, done_on=ON, result=CheckResult.PASSED))
    records = {
        "site_id": site,
        "to_site_id": site,
        "life_support_system_id": system,
        "enclosure_id": enclosure,
        "equipment_model_id": other_model,
        "model_id": model,
        "equipment_id": item,
        "spare_id": spare,
        "taxon_id": taxon,
        "animal_id": animal,
        "group_id": group,
        "into_id": other_group,
        "staff_id": member,
        "check_id": check,
        "hour_reading_id": hours,
        "output_reading_id": output,
        **said,
    }
    return {name: str(record.id) for name, record in records.items()}


def of_the_law(unit: Unit, site: Site, taxon: Taxon, animal: Animal, member: Staff) -> dict[str, Record]:
    """Register a permit with all that belongs to it and the one that it replaced, and what else is known for the law's sake."""
    replaced = makers.permit(unit, number="P-0", site_id=str(site.id))
    permit = makers.permit(unit, site_id=str(site.id), any_taxon=False, replaces_id=str(replaced.id))
    hatched = makers.group(unit, taxon, 9, tag="G-9", came_by="hatched", acquired_on="2026-02-12")
    [birth] = unit.all(AnimalEvent, EVENTS_OF, animal_id=hatched.id)
    return {
        "permit_id": permit,
        "replaces_id": replaced,
        "holder_id": member,
        "permit_taxon_id": makers.permit_taxon(unit, permit, taxon, number=5),
        "permit_animal_id": makers.permit_animal(unit, permit, hatched),
        "permit_condition_id": makers.permit_condition(unit, permit, every_months=12, first_due_on="2026-02-01"),
        "met_by_id": member,
        "permit_event_id": makers.permit_event(unit, permit),
        "premises_id": makers.premises(unit, site, public_days=9),
        "override_id": makers.override(unit, animal, member),
        "expected_brood_id": makers.expected_brood(unit, animal, seen_on="2026-02-01"),
        "outcome_event_id": birth,
        "reminder_id": makers.reminder(unit, site),
        "calendar_feed_id": makers.calendar_feed(unit, member),
        **of_visits(unit, site, animal),
        **of_transfer(unit, site),
    }


def of_visits(unit: Unit, site: Site, animal: Animal) -> dict[str, Record]:
    """Register a visit with a finding and what is done about it, and an incident with an animal and whom it was told."""
    visit, mishap = makers.inspection(unit, site), makers.incident(unit, site)
    found = makers.inspection_finding(unit, visit)
    return {
        "inspection_id": visit,
        "finding_id": found,
        "corrective_action_id": makers.corrective_action(unit, found),
        "incident_id": mishap,
        "incident_animal_id": makers.incident_animal(unit, mishap, animal),
        "notification_id": makers.notification(unit, mishap),
    }


def of_transfer(unit: Unit, site: Site) -> dict[str, Record]:
    """Register a transfer to come to a site, with an animal, a paper, and what was reported of it."""
    transfer = makers.transfer(unit, None, site, report_after_days=[7])
    going = makers.transfer_animal(unit, transfer, taxon_id=str(makers.taxon(unit, "Bufo viator").id), tag="N-1")
    paper = makers.transfer_paper(unit, transfer)
    arrived = unit.change(transfer, {"stage": TransferStage.RECEIVED, "arrived_at": unit.origin.at}, action="receive_transfer")
    report = makers.transfer_report(unit, arrived)
    unit.change(arrived, {"stage": TransferStage.DRAFT, "arrived_at": None}, action="check_transfer")
    return {"transfer_id": transfer, "transfer_animal_id": going, "transfer_paper_id": paper, "transfer_report_id": report}
