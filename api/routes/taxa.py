"""Taxa."""

from __future__ import annotations

from api.bodies.animals import NewTaxon, Taxon, TaxonPage
from api.nouns import Noun
from domain.actions.animals import change_taxon, end_taxon, register_taxon
from domain.records import animals as records

NOUN = Noun(
    path="/v1/taxa",
    singular="taxon",
    plural="taxa",
    parameter="taxon_id",
    record=records.Taxon,
    new=NewTaxon,
    kept=Taxon,
    page=TaxonPage,
    register=register_taxon,
    change=change_taxon,
    end=end_taxon,
    filters=("rank", "parent_id", "scientific_name"),
)
DOORS = NOUN.doors()
