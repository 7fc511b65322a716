"""Taxa and animals."""

from __future__ import annotations

from api.bodies.records import Kept, New, Page
from domain.records.animals import AnimalStated, TaxonStated


class NewTaxon(New, TaxonStated):
    """A taxon to be registered."""


class Taxon(Kept, TaxonStated):
    """A taxon on file."""


class TaxonPage(Page[Taxon]):
    """One page of taxa."""


class NewAnimal(New, AnimalStated):
    """An animal or group to be registered."""


class Animal(Kept, AnimalStated):
    """An animal or group on file."""


class AnimalPage(Page[Animal]):
    """One page of animals."""
