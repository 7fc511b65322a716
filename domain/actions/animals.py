"""Registering, changing and ending taxa and animals."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from domain.actions.recording import Ending, corrected, current, ended, recorded, referred, refuse_while_used
from domain.actions.sites import today_at
from domain.errors import RuleBroken
from domain.records.animals import Animal, AnimalStated, Taxon, TaxonStated
from domain.records.enclosures import Enclosure
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.unit import Unit
from domain.rules.text import same_name


def register_taxon(unit: Unit, stated: TaxonStated, *, record_id: UUID | None = None) -> Taxon:
    """Register a taxon and return it."""
    _check_parent(unit, stated, own_id=record_id)
    return recorded(unit, Taxon, stated, record_id=record_id, name_key=same_name(stated.scientific_name))


def change_taxon(unit: Unit, taxon_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Taxon:
    """Apply a correction to a taxon and return it."""
    found = current(unit, Taxon, taxon_id, expected_version=expected_version)
    stated = merged(TaxonStated, found, patch)
    _check_parent(unit, stated, own_id=taxon_id)
    return corrected(unit, found, stated, name_key=same_name(stated.scientific_name))


def end_taxon(unit: Unit, taxon_id: UUID, ending: Ending) -> Taxon:
    """End a taxon's record and return it.

    Raises:
        Conflict: Animals or other taxa are still of it.
    """
    found = unit.fetch(Taxon, taxon_id)
    refuse_while_used(unit, found, [(Animal, "taxon_id"), (Taxon, "parent_id")])
    return ended(unit, found, ending, today=unit.origin.at.date())


def register_animal(unit: Unit, stated: AnimalStated, *, record_id: UUID | None = None) -> Animal:
    """Register an animal or a group and return it."""
    _check_references(unit, stated, before=None)
    return recorded(unit, Animal, stated, record_id=record_id, tag_key=same_name(stated.tag))


def change_animal(unit: Unit, animal_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Animal:
    """Apply a correction to an animal or a group and return it."""
    found = current(unit, Animal, animal_id, expected_version=expected_version)
    stated = merged(AnimalStated, found, patch)
    _check_references(unit, stated, before=found)
    return corrected(unit, found, stated, tag_key=same_name(stated.tag))


def end_animal(unit: Unit, animal_id: UUID, ending: Ending) -> Animal:
    """End an animal's record and return it."""
    found = unit.fetch(Animal, animal_id)
    place = unit.find(Enclosure, found.enclosure_id) if found.enclosure_id else None
    today = today_at(unit, unit.fetch(Site, place.site_id)) if place else unit.origin.at.date()
    return ended(unit, found, ending, today=today)


def _check_references(unit: Unit, stated: AnimalStated, *, before: Animal | None) -> None:
    kept_taxon, kept_enclosure = (before.taxon_id, before.enclosure_id) if before else (None, None)
    referred(unit, Taxon, stated.taxon_id, field="taxon_id", kept=kept_taxon)
    if stated.enclosure_id is not None:
        referred(unit, Enclosure, stated.enclosure_id, field="enclosure_id", kept=kept_enclosure)


def _check_parent(unit: Unit, stated: TaxonStated, *, own_id: UUID | None) -> None:
    parent_id, seen = stated.parent_id, {own_id}
    while parent_id is not None:
        if parent_id in seen:
            raise RuleBroken("A taxon cannot lie above itself.", code="circular", field="parent_id")
        seen.add(parent_id)
        parent_id = referred(unit, Taxon, parent_id, field="parent_id").parent_id
