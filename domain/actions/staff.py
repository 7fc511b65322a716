"""Registering, changing and ending staff."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from domain.actions.accounts import keeping_an_administrator
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred
from domain.records.sites import Site
from domain.records.staff import Staff, StaffStated
from domain.records.stated import merged
from domain.records.unit import Unit


def register_staff(unit: Unit, stated: StaffStated, *, record_id: UUID | None = None) -> Staff:
    """Register a member of staff and return the record."""
    _check_site(unit, stated)
    return recorded(unit, Staff, stated, record_id=record_id)


def change_staff(unit: Unit, staff_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Staff:
    """Apply a correction to a member of staff and return the record.

    Raises:
        Conflict: The organisation would be left without an administrator.
    """
    found = current(unit, Staff, staff_id, expected_version=expected_version)
    stated = merged(StaffStated, found, patch)
    _check_site(unit, stated)
    with keeping_an_administrator(unit):
        return corrected(unit, found, stated)


def end_staff(unit: Unit, staff_id: UUID, ending: Ending) -> Staff:
    """End a member of staff's record and return it. Their accounts sign in no more.

    Raises:
        Conflict: The organisation would be left without an administrator.
    """
    with keeping_an_administrator(unit):
        return ended(unit, unit.fetch(Staff, staff_id), ending, today=unit.origin.at.date())


def _check_site(unit: Unit, stated: StaffStated) -> None:
    if stated.site_id is not None:
        referred(unit, Site, stated.site_id, field="site_id")
