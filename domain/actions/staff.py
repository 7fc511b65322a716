"""Registering, changing and ending staff."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any
from uuid import UUID

from domain.actions.accounts import GRANTS, end_access_of, keeping_an_administrator, refuse_oneself
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred
from domain.errors import NotAllowed
from domain.records.sites import Site
from domain.records.staff import Staff, StaffStated
from domain.records.stated import merged
from domain.records.unit import Unit
from domain.rules.permissions import EVERYWHERE, Reach, Role

GivesRole = Callable[[Role], Reach | None]
"""Where the person or program at hand may give a role; ``None``: nowhere."""


def anywhere(_: Role) -> Reach | None:
    """Return where whoever operates the installation may give a role."""
    return EVERYWHERE


def register_staff(unit: Unit, stated: StaffStated, *, record_id: UUID | None = None) -> Staff:
    """Register a member of staff and return the record."""
    _check_site(unit, stated)
    return recorded(unit, Staff, stated, record_id=record_id)


def change_staff(unit: Unit, staff_id: UUID, patch: Mapping[str, Any], *, expected_version: int, gives: GivesRole = anywhere) -> Staff:
    """Apply a correction to a member of staff and return the record.

    Raises:
        NotAllowed: It changes the role or the site, and the role before or after is none to give there.
        Conflict: The organisation would be left without an administrator.
    """
    found = current(unit, Staff, staff_id, expected_version=expected_version)
    stated = merged(StaffStated, found, patch)
    _check_site(unit, stated)
    places = {(found.role, found.site_id), (stated.role, stated.site_id)}
    if len(places) > 1:
        _refuse_roles_of_others(places, gives=gives)
    with keeping_an_administrator(unit):
        return corrected(unit, found, stated)


def end_staff(unit: Unit, staff_id: UUID, ending: Ending, *, gives: GivesRole = anywhere) -> Staff:
    """End a member of staff's record, their accounts and their grants, and return the record.

    Raises:
        NotAllowed: It is one's own, or the person has a role, of the record or granted, that is none to give there.
        Conflict: The organisation would be left without an administrator.
    """
    found = unit.fetch_reached(Staff, staff_id)
    refuse_oneself(unit, staff_id)
    _refuse_roles_of_others({(found.role, found.site_id), *unit.rows(GRANTS, staff_id=staff_id)}, gives=gives)
    with keeping_an_administrator(unit):
        closed = ended(unit, found, ending, today=unit.origin.at.date())
        end_access_of(unit, staff_id, ending)
        return closed


def _refuse_roles_of_others(places: Iterable[tuple[Role, UUID | None]], *, gives: GivesRole) -> None:
    """Refuse to give or take away a role, each with its site, that whoever asks may not give there.

    Raises:
        NotAllowed: One of them is such a role; they are named.
    """
    beyond = sorted({role for role, site_id in places if (reach := gives(role)) is None or not reach.covers(site_id)})
    if beyond:
        sentence = f"You may not give this role there, so you may not take it away either: {', '.join(beyond)}."
        raise NotAllowed(sentence, code="role-not-yours")


def _check_site(unit: Unit, stated: StaffStated) -> None:
    if stated.site_id is not None:
        referred(unit, Site, stated.site_id, field="site_id")
