"""Registering, changing and ending enclosures and life-support systems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from domain.actions.recording import Ending, corrected, current, ended, recorded, referred, refuse_while_used
from domain.actions.sites import today_at
from domain.errors import RuleBroken
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure, EnclosureStated, LifeSupportSystem, SystemStated
from domain.records.equipment import Equipment
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.unit import Unit
from domain.rules.text import same_name
from domain.rules.volumes import net_of_furnishing_l


def register_life_support_system(unit: Unit, stated: SystemStated, *, record_id: UUID | None = None) -> LifeSupportSystem:
    """Register a life-support system and return it."""
    referred(unit, Site, stated.site_id, field="site_id")
    return recorded(unit, LifeSupportSystem, stated, record_id=record_id, name_key=same_name(stated.name))


def change_life_support_system(unit: Unit, system_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> LifeSupportSystem:
    """Apply a correction to a life-support system and return it. A system stays at its site."""
    found = current(unit, LifeSupportSystem, system_id, expected_version=expected_version)
    stated = merged(SystemStated, found, patch)
    _refuse_other_site(found.site_id, stated.site_id)
    return corrected(unit, found, stated, name_key=same_name(stated.name))


def end_life_support_system(unit: Unit, system_id: UUID, ending: Ending) -> LifeSupportSystem:
    """End a life-support system and return it.

    Raises:
        Conflict: Enclosures or equipment still hang on it.
    """
    found = unit.fetch(LifeSupportSystem, system_id)
    refuse_while_used(unit, found, [(Enclosure, "life_support_system_id"), (Equipment, "life_support_system_id")])
    return ended(unit, found, ending, today=today_at(unit, unit.fetch(Site, found.site_id)))


def register_enclosure(unit: Unit, stated: EnclosureStated, *, record_id: UUID | None = None) -> Enclosure:
    """Register an enclosure with its computed size and return it."""
    referred(unit, Site, stated.site_id, field="site_id")
    _check_places(unit, stated, own_id=record_id, before=None)
    return recorded(unit, Enclosure, stated, record_id=record_id, **derived_size(stated))


def change_enclosure(unit: Unit, enclosure_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Enclosure:
    """Apply a correction to an enclosure and return it. An enclosure stays at its site."""
    found = current(unit, Enclosure, enclosure_id, expected_version=expected_version)
    stated = merged(EnclosureStated, found, patch)
    _refuse_other_site(found.site_id, stated.site_id)
    _check_places(unit, stated, own_id=enclosure_id, before=found)
    return corrected(unit, found, stated, **derived_size(stated))


def end_enclosure(unit: Unit, enclosure_id: UUID, ending: Ending) -> Enclosure:
    """End an enclosure and return it.

    Raises:
        Conflict: Enclosures, animals or equipment are still in it.
    """
    found = unit.fetch(Enclosure, enclosure_id)
    refuse_while_used(unit, found, [(Enclosure, "parent_id"), (Animal, "enclosure_id"), (Equipment, "enclosure_id")])
    return ended(unit, found, ending, today=today_at(unit, unit.fetch(Site, found.site_id)))


def derived_size(stated: EnclosureStated) -> dict[str, Any]:
    """Return the columns of an enclosure that follow from what is stated: its size, and its name for comparison."""
    shape = stated.shape
    return {
        "name_key": same_name(stated.name),
        "volume_l": net_of_furnishing_l(shape.volume_l(), stated.displacement_fraction) if shape else None,
        "floor_m2": shape.floor_m2() if shape else None,
    }


def _check_places(unit: Unit, stated: EnclosureStated, *, own_id: UUID | None, before: Enclosure | None) -> None:
    kept_system, kept_parent = (before.life_support_system_id, before.parent_id) if before else (None, None)
    if stated.life_support_system_id is not None:
        system = referred(unit, LifeSupportSystem, stated.life_support_system_id, field="life_support_system_id", kept=kept_system)
        if system.site_id != stated.site_id:
            raise RuleBroken("That life-support system is at another site.", code="other-site", field="life_support_system_id")
    parent_id, seen = stated.parent_id, {own_id}
    while parent_id is not None:
        if parent_id in seen:
            raise RuleBroken("An enclosure cannot lie within itself.", code="circular", field="parent_id")
        seen.add(parent_id)
        parent = referred(unit, Enclosure, parent_id, field="parent_id", kept=kept_parent)
        if parent.site_id != stated.site_id:
            raise RuleBroken("That enclosure is at another site.", code="other-site", field="parent_id")
        parent_id = parent.parent_id


def _refuse_other_site(old: UUID, new: UUID) -> None:
    if old != new:
        raise RuleBroken("It stays at its site; end it here and register it there.", code="stays-at-site", field="site_id")
