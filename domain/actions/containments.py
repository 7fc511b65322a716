"""Registering, changing and ending what an organisation asks for before animals of a hazard class are kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from domain.actions.intervals import make_room, refuse_overlap
from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.records.stated import merged
from domain.records.taxa import Containment, ContainmentStated
from domain.records.unit import Unit


def register_containment(unit: Unit, stated: ContainmentStated, *, record_id: UUID | None = None) -> Containment:
    """Register a containment rule and return it. The one that held for its hazard class until further notice ends the day before.

    Raises:
        Conflict: Another rule for the class holds on one of these days.
    """
    make_room(unit, Containment, from_on=stated.from_on, until_on=stated.until_on, hazard=stated.hazard)
    return recorded(unit, Containment, stated, record_id=record_id)


def change_containment(unit: Unit, containment_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Containment:
    """Apply a correction to a containment rule and return it. What is asked for anew is another rule.

    Raises:
        Conflict: Another rule for the class holds on one of these days.
    """
    found = current(unit, Containment, containment_id, expected_version=expected_version)
    stated = merged(ContainmentStated, found, patch)
    refuse_overlap(unit, found, from_on=stated.from_on, until_on=stated.until_on, hazard=stated.hazard)
    return corrected(unit, found, stated)


def end_containment(unit: Unit, containment_id: UUID, ending: Ending) -> Containment:
    """Take a containment rule that was entered wrongly out of account and return it."""
    return ended(unit, unit.fetch(Containment, containment_id), ending, today=unit.origin.at.date())
