"""Animals that the routes of their parts are tested on."""

from __future__ import annotations

from typing import Any

from domain.records.engine import Store
from tests import makers


def two_animals(store: Store, organisation: int) -> tuple[list[str], list[str]]:
    """Register an animal at each of two sites and return the paths of the animals, and the ids of the sites."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        of = makers.taxon(unit)
        sites = [makers.site(unit, name=name) for name in ("Reedmere House", "Saltings Hall")]
        animals = [
            makers.animal(unit, of, tag=f"T-{number}", enclosure_id=str(makers.enclosure(unit, site).id), acquired_on="2025-05-01")
            for number, site in enumerate(sites, start=1)
        ]
    return [f"/v1/animals/{animal.id}" for animal in animals], [str(site.id) for site in sites]


def pointers(answer: Any) -> list[tuple[str, str]]:
    """Return where a refusal lies and its code, fault by fault."""
    return [(one["pointer"], one["code"]) for one in answer.json()["errors"]]
