"""Permits, their taxa and animals, their conditions, and what happened to them."""

from __future__ import annotations

from typing import Any

from api.bodies.permits import (
    ChangedPermit,
    ChangedPermitCondition,
    ChangedPermitEvent,
    ChangedPermitTaxon,
    NewPermit,
    NewPermitAnimal,
    NewPermitCondition,
    NewPermitEvent,
    NewPermitTaxon,
    Permit,
    PermitAnimal,
    PermitAnimalPage,
    PermitCondition,
    PermitConditionPage,
    PermitEvent,
    PermitEventPage,
    PermitPage,
    PermitTaxon,
    PermitTaxonPage,
)
from api.nouns import Noun
from api.parts import Part
from domain.actions.permit_parts import (
    change_permit_condition,
    change_permit_event,
    change_permit_taxon,
    end_permit_animal,
    end_permit_condition,
    end_permit_event,
    end_permit_taxon,
    record_permit_animal,
    record_permit_condition,
    record_permit_event,
    record_permit_taxon,
)
from domain.actions.permits import change_permit, end_permit, register_permit
from domain.records import permits as records

NOUN = Noun(
    path="/v1/permits",
    singular="permit",
    plural="permits",
    parameter="permit_id",
    record=records.Permit,
    new=NewPermit,
    changed=ChangedPermit,
    kept=Permit,
    page=PermitPage,
    register=register_permit,
    change=change_permit,
    end=end_permit,
    filters=("site_id", "kind", "jurisdiction", "authority", "number"),
)
_OF_PERMIT: dict[str, Any] = {
    "owner": records.Permit,
    "owner_path": NOUN.path,
    "owner_parameter": NOUN.parameter,
    "within": "permit_id",
}
TAXA = Part(
    **_OF_PERMIT,
    path="taxa",
    parameter="permit_taxon_id",
    singular="permit_taxon",
    plural="permit_taxa",
    record=records.PermitTaxon,
    new=NewPermitTaxon,
    changed=ChangedPermitTaxon,
    kept=PermitTaxon,
    page=PermitTaxonPage,
    make=record_permit_taxon,
    change=change_permit_taxon,
    end=end_permit_taxon,
)
ANIMALS = Part(
    **_OF_PERMIT,
    path="animals",
    parameter="permit_animal_id",
    singular="permit_animal",
    plural="permit_animals",
    record=records.PermitAnimal,
    new=NewPermitAnimal,
    kept=PermitAnimal,
    page=PermitAnimalPage,
    make=record_permit_animal,
    end=end_permit_animal,
)
CONDITIONS = Part(
    **_OF_PERMIT,
    path="conditions",
    parameter="permit_condition_id",
    singular="permit_condition",
    plural="permit_conditions",
    record=records.PermitCondition,
    new=NewPermitCondition,
    changed=ChangedPermitCondition,
    kept=PermitCondition,
    page=PermitConditionPage,
    make=record_permit_condition,
    change=change_permit_condition,
    end=end_permit_condition,
)
EVENTS = Part(
    **_OF_PERMIT,
    path="events",
    parameter="permit_event_id",
    singular="permit_event",
    plural="permit_events",
    record=records.PermitEvent,
    new=NewPermitEvent,
    changed=ChangedPermitEvent,
    kept=PermitEvent,
    page=PermitEventPage,
    make=record_permit_event,
    change=change_permit_event,
    end=end_permit_event,
    filters=("occasion",),
)
DOORS = [*NOUN.doors(), *TAXA.doors(), *ANIMALS.doors(), *CONDITIONS.doors(), *EVENTS.doors()]
