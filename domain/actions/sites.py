"""Registering, changing and ending sites."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import UUID

from domain.actions.recording import Ending, corrected, current, ended, recorded, refuse_while_used
from domain.records.enclosures import Enclosure, LifeSupportSystem
from domain.records.equipment import Equipment, Spare
from domain.records.sites import Site, SiteStated
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from domain.rules.text import same_name


def register_site(unit: Unit, stated: SiteStated, *, record_id: UUID | None = None) -> Site:
    """Register a site and return it."""
    return recorded(unit, Site, stated, record_id=record_id, name_key=same_name(stated.name))


def change_site(unit: Unit, site_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Site:
    """Apply a correction to a site and return it."""
    found = current(unit, Site, site_id, expected_version=expected_version)
    stated = merged(SiteStated, found, patch)
    return corrected(unit, found, stated, name_key=same_name(stated.name))


def end_site(unit: Unit, site_id: UUID, ending: Ending) -> Site:
    """End a site and return it.

    Raises:
        Conflict: Enclosures, systems, equipment, spares or staff still belong to it.
    """
    found = unit.fetch(Site, site_id)
    refuse_while_used(unit, found, [(record, "site_id") for record in (Enclosure, LifeSupportSystem, Equipment, Spare, Staff)])
    return ended(unit, found, ending, today=today_at(unit, found))


def today_there(unit: Unit, site_id: UUID | None) -> date:
    """Return the date at the site of an id; in UTC for what is the whole organisation's."""
    return unit.origin.at.date() if site_id is None else today_at(unit, unit.fetch(Site, site_id))


def today_at(unit: Unit, site: Site) -> date:
    """Return the date that it is at the site, by the unit's instant; the day that is told of, where that is later."""
    return max(date_at_site(unit.origin.at, site.zone), unit.told_day)
