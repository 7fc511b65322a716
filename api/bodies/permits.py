"""Permits, what they are for, on which conditions, and what happened to them."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from api.bodies.records import Kept, LegalPage, New
from domain.records.permits import (
    PermitAnimalStated,
    PermitConditionStated,
    PermitEventStated,
    PermitStated,
    PermitTaxonStated,
)


class NewPermit(New, PermitStated):
    """A permit to be registered."""


class ChangedPermit(PermitStated):
    """What can be corrected of a permit."""


class Permit(Kept, PermitStated):
    """A permit on file."""

    valid_from: date


class PermitPage(LegalPage[Permit]):
    """One page of permits."""


class NewPermitTaxon(New, PermitTaxonStated):
    """A taxon that a permit is for."""


class ChangedPermitTaxon(PermitTaxonStated):
    """What can be corrected of a taxon of a permit."""


class PermitTaxon(Kept, PermitTaxonStated):
    """A taxon of a permit on file."""

    permit_id: UUID


class PermitTaxonPage(LegalPage[PermitTaxon]):
    """One page of a permit's taxa."""


class NewPermitAnimal(New, PermitAnimalStated):
    """An animal that a permit names."""


class PermitAnimal(Kept, PermitAnimalStated):
    """An animal of a permit on file."""

    permit_id: UUID


class PermitAnimalPage(LegalPage[PermitAnimal]):
    """One page of the animals that a permit names."""


class NewPermitCondition(New, PermitConditionStated):
    """A condition of a permit to be put on record."""


class ChangedPermitCondition(PermitConditionStated):
    """What can be corrected of a condition, and that it was met: one that recurs opens anew with that."""


class PermitCondition(Kept, PermitConditionStated):
    """A condition of a permit on file. ``follows_id`` is the one before it, of one that recurs and was met."""

    permit_id: UUID
    follows_id: UUID | None = None


class PermitConditionPage(LegalPage[PermitCondition]):
    """One page of a permit's conditions."""


class NewPermitEvent(New, PermitEventStated):
    """Something that happened and may end a permit."""


class ChangedPermitEvent(PermitEventStated):
    """What can be corrected of an event of a permit."""


class PermitEvent(Kept, PermitEventStated):
    """An event of a permit on file."""

    permit_id: UUID


class PermitEventPage(LegalPage[PermitEvent]):
    """One page of a permit's events."""
