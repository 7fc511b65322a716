"""The smallest valid records; a test states only what matters to it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from domain.actions.animals import register_animal
from domain.actions.competences import record_competence
from domain.actions.containments import register_containment
from domain.actions.enclosures import register_enclosure, register_life_support_system
from domain.actions.equipment import register_equipment, register_equipment_model
from domain.actions.lives import Told, record_event
from domain.actions.organisations import create_organisation
from domain.actions.placements import MoveStated, place_animal
from domain.actions.sites import register_site
from domain.actions.spares import register_spare
from domain.actions.staff import register_staff
from domain.actions.taxa import record_concept_member, record_husbandry_target, record_separation, register_taxon
from domain.records.animals import Animal, AnimalEventStated, AnimalStated, Placement
from domain.records.base import Stated
from domain.records.competences import Competence, CompetenceStated
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
from domain.records.journal import Origin
from domain.records.organisations import SERVER_BITS, OrganisationStated
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
from domain.records.unit import Unit

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


def behind(unit: Unit, sql: str) -> None:
    """Change rows as whoever has the database could: past the records, and on SQLite past the views before the tables."""
    table = "main." if unit.dialect == "sqlite" else ""
    unit.cursor.execute(sql.replace("UPDATE ", f"UPDATE {table}"), {})


def _stated(kind: type[Stated], least: dict[str, Any], stated: dict[str, Any]) -> Any:
    return read_stated(kind, json_text({**least, **stated}))
