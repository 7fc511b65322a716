"""Taxa, what their names cover, what animals of them need, and whom they may not live with."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.records.taxa import ConceptMemberStated, HusbandryTargetStated, SeparationStated, TaxonStated


class NewTaxon(New, TaxonStated):
    """A taxon to be registered."""


class Taxon(Kept, TaxonStated):
    """A taxon on file."""


class TaxonPage(Page[Taxon]):
    """One page of taxa."""


class NewConceptMember(New, ConceptMemberStated):
    """A taxon that a name is to cover as well."""


class ConceptMember(Kept, ConceptMemberStated):
    """A taxon that a name covers as well."""

    taxon_id: UUID


class ConceptMemberPage(Page[ConceptMember]):
    """One page of the taxa that a name covers as well."""


class NewHusbandryTarget(New, HusbandryTargetStated):
    """A husbandry target to be put on record."""


class HusbandryTarget(Kept, HusbandryTargetStated):
    """A husbandry target on file."""

    taxon_id: UUID


class HusbandryTargetPage(Page[HusbandryTarget]):
    """One page of husbandry targets."""


class NewSeparation(New, SeparationStated):
    """A separation of two taxa to be put on record."""


class Separation(Kept, SeparationStated):
    """A separation of two taxa on file. It holds both ways, and is listed with either."""

    taxon_id: UUID


class SeparationPage(Page[Separation]):
    """One page of separations."""
