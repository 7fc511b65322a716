"""What is said of animals in tests of their parts, and how a refusal is read."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from domain.actions.recording import Ending
from domain.errors import Refusal
from domain.records.animals import Animal
from domain.records.holdings import CallNameStated, HoldingStated
from domain.records.journal import Origin
from domain.records.kinship import ParentStated
from domain.records.marks import MarkEntered
from domain.records.measurements import MeasurementEntered
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.permissions import Reach
from tests import makers

CHIP, OTHER_CHIP = "985112003456789", "985112003456788"
CAME_ON = "2025-05-01"
MISTAKE = Ending(reason="entered wrongly")


def mark(**stated: Any) -> MarkEntered:
    """Return a transponder that a scanner read, but for what is said otherwise."""
    return read_stated(
        MarkEntered, json_text({"kind": "transponder", "code": CHIP, "reading": "scanner", "from_on": "2025-06-01"} | stated)
    )


def mass(mass_g: float, measured_on: str, **stated: Any) -> MeasurementEntered:
    """Return a mass."""
    return read_stated(MeasurementEntered, json_text({"kind": "mass", "mass_g": mass_g, "measured_on": measured_on} | stated))


def parent(of: Animal | None = None, role: str = "dam", **stated: Any) -> ParentStated:
    """Return a parent: a record here, or an animal elsewhere."""
    who = {"elsewhere": "a wild one"} if of is None else {"parent_id": str(of.id)}
    return read_stated(ParentStated, json_text({"role": role, **who, **stated}))


def holding(kind: str, from_on: str, **stated: Any) -> HoldingStated:
    """Return a holding; whoever is not the owner is named."""
    party = {} if kind == "owned" else {"party": "Saltings Aquarium"}
    return read_stated(HoldingStated, json_text({"kind": kind, "from_on": from_on, **party, **stated}))


def call_name(name: str, from_on: str, **stated: Any) -> CallNameStated:
    """Return a name."""
    return read_stated(CallNameStated, json_text({"name": name, "from_on": from_on, **stated}))


def an_animal(unit: Unit, tag: str = "T-1", *, at: Site | None = None, **stated: Any) -> Animal:
    """Register an animal that came in good time, at a site of its own unless one is said."""
    place = makers.enclosure(unit, at or makers.site(unit, name=f"House of {tag}"), name=f"Pen of {tag}")
    of = makers.taxon(unit, name=f"Testudo {tag.lower()}")
    return makers.animal(unit, of, **{"tag": tag, "enclosure_id": str(place.id), "acquired_on": CAME_ON, **stated})


def refusal(work: Any, *given: Any, **named: Any) -> tuple[str, str]:
    """Return the code of the refusal that an act meets, and the field that it names."""
    refused = refused_by(work, *given, **named)
    return (refused.faults[0].code, refused.faults[0].pointer) if refused.faults else (refused.code, "")


def refused_by(work: Any, *given: Any, **named: Any) -> Refusal:
    """Return the refusal that an act meets."""
    with pytest.raises(Refusal) as refused:
        work(*given, **named)
    return refused.value


def bound_to(*sites: Site) -> Origin:
    """Return the origin of somebody who reaches some sites only."""
    return replace(makers.origin(), reach=Reach(frozenset(site.id for site in sites)))
