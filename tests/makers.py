"""The smallest valid records; a test states only what matters to it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from domain.actions.enclosures import register_enclosure, register_life_support_system
from domain.actions.equipment import register_equipment, register_equipment_model
from domain.actions.organisations import create_organisation
from domain.actions.sites import register_site
from domain.actions.spares import register_spare
from domain.records.base import Stated
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
from domain.records.stated import read_stated
from domain.records.statements import json_text
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


def spare(unit: Unit, of: EquipmentModel, at: Site, **stated: Any) -> Spare:
    """Register spares on a shelf."""
    return register_spare(unit, _stated(SpareStated, {"site_id": at.id, "model_id": of.id, "shelf": "B4", "on_hand": 2}, stated))


def behind(unit: Unit, sql: str) -> None:
    """Change rows as whoever has the database could: past the records, and on SQLite past the views before the tables."""
    table = "main." if unit.dialect == "sqlite" else ""
    unit.cursor.execute(sql.replace("UPDATE ", f"UPDATE {table}"), {})


def _stated(kind: type[Stated], least: dict[str, Any], stated: dict[str, Any]) -> Any:
    return read_stated(kind, json_text({**least, **stated}))
