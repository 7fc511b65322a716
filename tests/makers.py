"""The smallest valid records; a test states only what matters to it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from hashlib import sha256
from typing import Any

from domain.actions.animals import register_animal
from domain.actions.broods import record_expected_brood
from domain.actions.calendars import register_calendar_feed
from domain.actions.competences import record_competence
from domain.actions.containments import register_containment
from domain.actions.documents import FileFacts, register_document
from domain.actions.enclosures import register_enclosure, register_life_support_system
from domain.actions.equipment import register_equipment, register_equipment_model
from domain.actions.incidents import record_incident_animal, record_notification, register_incident
from domain.actions.inspections import record_corrective_action, record_inspection_finding, register_inspection
from domain.actions.law import REQUIREMENTS, law_as_of, load_pack
from domain.actions.lives import Told, record_event
from domain.actions.organisations import create_organisation
from domain.actions.overrides import register_override
from domain.actions.permit_parts import record_permit_animal, record_permit_condition, record_permit_event, record_permit_taxon
from domain.actions.permits import register_permit
from domain.actions.placements import MoveStated, place_animal
from domain.actions.premises import record_premises
from domain.actions.sites import register_site
from domain.actions.spares import register_spare
from domain.actions.staff import register_staff
from domain.actions.taxa import record_concept_member, record_husbandry_target, record_separation, register_taxon
from domain.actions.transfers.close import record_transfer_report
from domain.actions.transfers.plan import record_transfer_animal, record_transfer_paper, register_transfer
from domain.records.animals import Animal, AnimalEventStated, AnimalStated, Placement
from domain.records.base import Record, Stated
from domain.records.broods import ExpectedBrood, ExpectedBroodStated
from domain.records.competences import Competence, CompetenceStated
from domain.records.documents import AttachmentStated, Document, DocumentStated, MediaType
from domain.records.enclosures import Enclosure, EnclosureStated, LifeSupportSystem, SystemStated
from domain.records.engine import Store
from domain.records.equipment import (
    Equipment,
    EquipmentModel,
    EquipmentModelStated,
    EquipmentStated,
    Spare,
    SpareStated,
)
from domain.records.incidents import Incident, IncidentAnimal, IncidentAnimalStated, IncidentStated, Notification, NotificationStated
from domain.records.inspections import (
    CorrectiveAction,
    CorrectiveActionStated,
    FindingStated,
    Inspection,
    InspectionFinding,
    InspectionStated,
)
from domain.records.journal import Origin
from domain.records.organisations import SERVER_BITS, OrganisationStated
from domain.records.overrides import Override, OverrideStated
from domain.records.permits import (
    Permit,
    PermitAnimal,
    PermitAnimalStated,
    PermitCondition,
    PermitConditionStated,
    PermitEvent,
    PermitEventStated,
    PermitStated,
    PermitTaxon,
    PermitTaxonStated,
)
from domain.records.premises import Premises, PremisesStated
from domain.records.reminders import CalendarFeed, CalendarFeedStated, Reminder
from domain.records.requirements import Requirement as StoredRequirement
from domain.records.sites import Site, SiteStated
from domain.records.staff import Staff, StaffStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.taxa import (
    ConceptMember,
    ConceptMemberStated,
    Containment,
    ContainmentStated,
    HusbandryTarget,
    HusbandryTargetStated,
    Separation,
    SeparationStated,
    Taxon,
    TaxonStated,
)
from domain.records.transfers import (
    Transfer,
    TransferAnimal,
    TransferAnimalStated,
    TransferPaper,
    TransferPaperStated,
    TransferReport,
    TransferReportStated,
    TransferStated,
)
from domain.records.unit import Unit
from domain.rules.law.jurisdictions import Jurisdiction, Level
from domain.rules.law.packs import RulePack
from domain.rules.law.requirements import Activity, Consequence, Requirement
from domain.rules.permissions import EVERYWHERE
from domain.rules.permits import DocumentKind
from domain.rules.reminders import ReminderKind, Stage

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
ORGANISATION = (1 << SERVER_BITS) + 1
OTHER_ORGANISATION = ORGANISATION + 1


def origin(*, organisation_id: int = ORGANISATION, at: datetime = NOON, request_id: str = "test") -> Origin:
    """Return where a test's changes come from."""
    return Origin(organisation_id=organisation_id, at=at, actor="test", request_id=request_id)


def organisation(store: Store, *, organisation_id: int = ORGANISATION, name: str = "Marshlight Trust") -> int:
    """Create an organisation and return its number."""
    with store.transaction(origin(organisation_id=organisation_id)) as unit:
        create_organisation(unit, OrganisationStated(name=name, base_currency="EUR"))
    return organisation_id


def site(unit: Unit, **stated: Any) -> Site:
    """Register a site."""
    return register_site(unit, _stated(SiteStated, {"name": "Reedmere House", "zone": "Europe/Lisbon"}, stated))


def system(unit: Unit, at: Site, **stated: Any) -> LifeSupportSystem:
    """Register a life-support system."""
    return register_life_support_system(unit, _stated(SystemStated, {"site_id": at.id, "name": "Hall loop"}, stated))


def enclosure(unit: Unit, at: Site, **stated: Any) -> Enclosure:
    """Register an enclosure."""
    return register_enclosure(unit, _stated(EnclosureStated, {"site_id": at.id, "name": "Hall A 01"}, stated))


def model(unit: Unit, **stated: Any) -> EquipmentModel:
    """Register an equipment model."""
    return register_equipment_model(unit, _stated(EquipmentModelStated, {"name": "Halden T5 54W high", "kind": "uvb-tube"}, stated))


def equipment(unit: Unit, of: EquipmentModel, at: Site, **stated: Any) -> Equipment:
    """Register an installed item."""
    least = {"tag": "RE-1", "model_id": of.id, "site_id": at.id, "installed_on": "2025-03-01"}
    return register_equipment(unit, _stated(EquipmentStated, least, stated))


def taxon(unit: Unit, name: str = "Testudo fictiva", **stated: Any) -> Taxon:
    """Register a taxon."""
    return register_taxon(unit, _stated(TaxonStated, {"scientific_name": name, "rank": "species"}, stated))


def concept_member(unit: Unit, of: Taxon, member: Taxon, **stated: Any) -> ConceptMember:
    """Put on record that a name covers another taxon as well."""
    return record_concept_member(unit, of.id, _stated(ConceptMemberStated, {"member_id": member.id, "source": "List of 2024"}, stated))


def target(unit: Unit, of: Taxon, **stated: Any) -> HusbandryTarget:
    """Put on record what animals of a taxon need."""
    least = {"from_on": "2025-01-01", "least_floor_m2": 0.5, "floor_each_more_m2": 0.25, "source": "House guide"}
    return record_husbandry_target(unit, of.id, _stated(HusbandryTargetStated, least, stated))


def separation(unit: Unit, of: Taxon, other: Taxon, **stated: Any) -> Separation:
    """Put on record that two taxa may not share."""
    least = {"other_taxon_id": other.id, "from_on": "2025-01-01", "reason": "one eats the other", "source": "House rule 4"}
    return record_separation(unit, of.id, _stated(SeparationStated, least, stated))


def containment(unit: Unit, hazard: str = "venomous", **stated: Any) -> Containment:
    """Register what is asked for before animals of a hazard class are kept."""
    least = {"hazard": hazard, "from_on": "2025-01-01", "least_closure": "locked", "source": "Safety code 2"}
    return register_containment(unit, _stated(ContainmentStated, least, stated))


def staff(unit: Unit, at: Site | None = None, **stated: Any) -> Staff:
    """Register a member of staff, of a site or of the whole organisation."""
    return register_staff(unit, _stated(StaffStated, {"name": "A. Keeper", "role": "keeper", "site_id": at and at.id}, stated))


def competence(unit: Unit, of: Staff, **stated: Any) -> Competence:
    """Put on record what a member of staff can do."""
    least = {"title": "Venomous snakes, hook and tube", "hazard": "venomous", "from_on": "2025-06-01"}
    return record_competence(unit, of.id, _stated(CompetenceStated, least, stated))


def animal(unit: Unit, of: Taxon, **stated: Any) -> Animal:
    """Register an animal."""
    return register_animal(unit, _stated(AnimalStated, {"taxon_id": of.id, "tag": "T-1"}, stated))


def group(unit: Unit, of: Taxon, count: int = 12, **stated: Any) -> Animal:
    """Register a counted group."""
    return animal(unit, of, **{"tag": "G-1", "grouping": "group", "count": count, **stated})


def event(unit: Unit, of: Animal, kind: str, on: str, **stated: Any) -> Told:
    """Put on record what happened to an animal."""
    return record_event(unit, of.id, _stated(AnimalEventStated, {"kind": kind, "happened_on": on}, stated))


def move(unit: Unit, of: Animal, to: Enclosure, on: str, **stated: Any) -> Placement:
    """Put an animal into an enclosure."""
    return place_animal(unit, of.id, _stated(MoveStated, {"enclosure_id": to.id, "from_on": on}, stated))


def spare(unit: Unit, of: EquipmentModel, at: Site, **stated: Any) -> Spare:
    """Register spares on a shelf."""
    return register_spare(unit, _stated(SpareStated, {"site_id": at.id, "model_id": of.id, "shelf": "B4", "on_hand": 2}, stated))


def pack(unit: Unit, name: str, **said: Any) -> None:
    """Put an invented rule pack on record, with the jurisdiction XR where that is not on record."""
    there = "XR" in law_as_of(unit).jurisdictions
    place = Jurisdiction(code="XR", name="Arvenne (fictional)", level=Level.STATE, zone="UTC", fictional=True)
    basic = {"version": "1", "title": "An invented pack", "fictional": True, "source": name, "digest": sha256(name.encode()).hexdigest()}
    load_pack(unit, RulePack(name=name, **{**basic, "jurisdictions": () if there else (place,), **said}))


def document_kind(unit: Unit, code: str = "keeping", **said: Any) -> None:
    """Have a rule pack of its own know a kind of document."""
    basic = {"jurisdiction": "XR", "title": "Permit to keep", "citation": "s. 2 (fictional)"}
    pack(unit, f"kind-{code}", kinds=(DocumentKind(code=code, **{**basic, **said}),))


def requirement(unit: Unit, code: str = "XR-1", **said: Any) -> StoredRequirement:
    """Have a rule pack of its own state a requirement, and return the record of it."""
    basic = {
        "version": "1",
        "jurisdiction": "XR",
        "instrument": "Invented Act",
        "title": "An invented rule",
        "citation": "s. 1 (fictional)",
        "consequence": Consequence.PROHIBITED,
        "applies_from": date(2020, 1, 1),
        "activities": frozenset((Activity.HOLD,)),
        "reviewed_on": date(2026, 1, 10),
    }
    name = f"rule-{code.lower()}"
    pack(unit, name, requirements=(Requirement(code=code, pack=name, **{**basic, **said}),))
    return next(one for one in unit.all(StoredRequirement, REQUIREMENTS) if one.code == code)


def permit(unit: Unit, **stated: Any) -> Permit:
    """Register a permit for animals of any taxon, whose kind a rule pack is made to know."""
    least = {"kind": "keeping", "jurisdiction": "XR", "authority": "Reed County", "number": "P-1", "issued_on": "2025-01-01"}
    said = {**least, "any_taxon": True, **stated}
    if said["kind"] not in law_as_of(unit).kinds:
        document_kind(unit, said["kind"])
    return register_permit(unit, _stated(PermitStated, said, {}))


def permit_taxon(unit: Unit, of: Permit, taxon: Taxon, **stated: Any) -> PermitTaxon:
    """Put a taxon that a permit is for on record."""
    return record_permit_taxon(unit, of.id, _stated(PermitTaxonStated, {"taxon_id": taxon.id}, stated))


def permit_animal(unit: Unit, of: Permit, animal: Animal, **stated: Any) -> PermitAnimal:
    """Put an animal that a permit names on record."""
    return record_permit_animal(unit, of.id, _stated(PermitAnimalStated, {"animal_id": animal.id}, stated))


def permit_condition(unit: Unit, of: Permit, **stated: Any) -> PermitCondition:
    """Put a condition of a permit on record."""
    return record_permit_condition(unit, of.id, _stated(PermitConditionStated, {"text": "Keep the outer door locked."}, stated))


def permit_event(unit: Unit, of: Permit, **stated: Any) -> PermitEvent:
    """Put on record what happened that may end a permit."""
    least = {"occasion": "address_change", "happened_on": "2026-02-01"}
    return record_permit_event(unit, of.id, _stated(PermitEventStated, least, stated))


def premises(unit: Unit, at: Site, **stated: Any) -> Premises:
    """Put on record what is known of a site's premises."""
    return record_premises(unit, at.id, _stated(PremisesStated, {"from_on": "2025-01-01"}, stated))


def override(unit: Unit, of: Animal | Site, by: Staff, **stated: Any) -> Override:
    """Register an override for an animal or a site, of a requirement that a rule pack is made to know."""
    column = "animal_id" if isinstance(of, Animal) else "site_id"
    least = {
        "requirement_code": "XR-1",
        column: of.id,
        "staff_id": by.id,
        "reason": "In custody for the authority.",
        "evidence": "Letter of 3 February.",
        "from_on": "2026-02-03",
        "expires_on": "2026-08-31",
    }
    said = {**least, **stated}
    if said["requirement_code"] not in {one.code for one in law_as_of(unit).requirements}:
        requirement(unit, said["requirement_code"])
    return register_override(unit, _stated(OverrideStated, said, {}))


def expected_brood(unit: Unit, of: Animal, **stated: Any) -> ExpectedBrood:
    """Put on record that young of an animal are expected."""
    return record_expected_brood(unit, of.id, _stated(ExpectedBroodStated, {"seen_on": "2026-02-10"}, stated))


def inspection(unit: Unit, at: Site, **stated: Any) -> Inspection:
    """Register a visit to a site."""
    return register_inspection(
        unit, _stated(InspectionStated, {"site_id": at.id, "visited_on": "2026-02-10", "authority": "Reed County"}, stated)
    )


def inspection_finding(unit: Unit, of: Inspection, **stated: Any) -> InspectionFinding:
    """Put on record what a visit found."""
    return record_inspection_finding(unit, of.id, _stated(FindingStated, {"text": "The outer door did not lock."}, stated))


def corrective_action(unit: Unit, about: InspectionFinding, **stated: Any) -> CorrectiveAction:
    """Put on record what is done about a finding."""
    least = {"finding_id": about.id, "text": "Fit a new lock."}
    return record_corrective_action(unit, about.inspection_id, _stated(CorrectiveActionStated, least, stated))


def incident(unit: Unit, at: Site, **stated: Any) -> Incident:
    """Register what went wrong at a site."""
    least = {"site_id": at.id, "kind": "escape", "found_at": "2026-02-10T08:30:00Z", "account": "The lid was found open."}
    return register_incident(unit, _stated(IncidentStated, least, stated))


def incident_animal(unit: Unit, of: Incident, animal: Animal, **stated: Any) -> IncidentAnimal:
    """Put on record that an animal was concerned."""
    return record_incident_animal(unit, of.id, _stated(IncidentAnimalStated, {"animal_id": animal.id}, stated))


def notification(unit: Unit, of: Incident, **stated: Any) -> Notification:
    """Put on record whom an incident was told."""
    least = {"told_to": "Reed County", "told_at": "2026-02-10T09:00:00Z", "way": "telephone"}
    return record_notification(unit, of.id, _stated(NotificationStated, least, stated))


def transfer(unit: Unit, come_from: Site | None, go_to: Site | None, **stated: Any) -> Transfer:
    """Register the plan of a transfer between sites of ours, or of a gift by or to a rescue centre, with all that a journey needs."""
    least: dict[str, Any] = {
        "reference": "T-1",
        "dispatch_on": "2026-03-10",
        "arrive_on": "2026-03-10",
        "carrier": "Fen Carriers",
        "carrier_authorisation": "C-3",
        "container": "Ventilated crate, marked LIVE ANIMALS",
        "least_c": 18.0,
        "most_c": 28.0,
        "quarantine_days": 30,
    }
    if come_from is not None and go_to is not None:
        least |= {"basis": "move"}
    else:
        least |= {"basis": "gift", "party": "Fen Rescue", "party_licence": "L-7", "party_jurisdiction": "XR"}
    if come_from is not None:
        least["from_site_id"] = come_from.id
    if go_to is not None:
        least["to_site_id"] = go_to.id
    else:
        least.pop("quarantine_days")
    return register_transfer(unit, _stated(TransferStated, least, stated))


def transfer_animal(unit: Unit, of: Transfer, animal: Animal | None = None, **stated: Any) -> TransferAnimal:
    """Put an animal on a transfer, or one that comes for the first time."""
    least = {} if animal is None else {"animal_id": animal.id}
    return record_transfer_animal(unit, of.id, _stated(TransferAnimalStated, least, stated))


def transfer_paper(unit: Unit, of: Transfer, **stated: Any) -> TransferPaper:
    """Put a paper on a transfer."""
    least = {"title": "Health certificate", "number": "H-1", "issued_on": "2026-02-20", "inspected_on": "2026-02-20"}
    return record_transfer_paper(unit, of.id, _stated(TransferPaperStated, least, stated))


def transfer_report(unit: Unit, of: Transfer, **stated: Any) -> TransferReport:
    """Put a report from where animals went on record."""
    least = {"after_days": 7, "reported_on": "2026-03-01", "text": "They eat."}
    return record_transfer_report(unit, of.id, _stated(TransferReportStated, least, stated))


def reminder(unit: Unit, at: Site | None = None, **facts: Any) -> Reminder:
    """Put a reminder on record as a night does, of a site or of the whole organisation."""
    least = {
        "subject": "site",
        "subject_id": unit.new_id() if at is None else at.id,
        "kind": ReminderKind.INSPECTION,
        "occurrence": "XR-1/visit/2025-03-10/1",
        "stage": Stage.SOON,
        "site_id": None if at is None else at.id,
        "due_on": date(2026, 3, 10),
        "sentence": "Have the inspection made.",
    }
    of_every = {"organisation_id": unit.organisation_id, "id": unit.new_id(), "created_at": unit.origin.at, "changed_at": unit.origin.at}
    return unit.add(Reminder(**of_every, **{**least, **facts}), action="add_reminder")


def calendar_feed(unit: Unit, of: Staff, token: str = "a token", **stated: Any) -> CalendarFeed:  # noqa: S107 - of a test
    """Make a calendar of a member of staff that is found by a token."""
    said = _stated(CalendarFeedStated, {"name": "What is due"}, stated)
    return register_calendar_feed(unit, said, staff_id=of.id, secret_sha256=sha256(token.encode()).hexdigest(), reach=EVERYWHERE)


def document(unit: Unit, of: Record, **stated: Any) -> Document:
    """Put a document on record that is attached to a record; its file is kept nowhere."""
    digest = sha256(b"%PDF").hexdigest()
    facts = FileFacts("scan.pdf", MediaType.PDF, 4, digest, digest)
    first = AttachmentStated(subject=of.noun, subject_id=of.id)
    return register_document(unit, _stated(DocumentStated, {"title": "A scan"}, stated), facts, first=first)


def behind(unit: Unit, sql: str) -> None:
    """Change rows as whoever has the database could: past the records, and on SQLite past the views before the tables."""
    table = "main." if unit.dialect == "sqlite" else ""
    unit.cursor.execute(sql.replace("UPDATE ", f"UPDATE {table}"), {})


def _stated(kind: type[Stated], least: dict[str, Any], stated: dict[str, Any]) -> Any:
    return read_stated(kind, json_text({**least, **stated}))
