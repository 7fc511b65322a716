"""Taxa, and what is said of them: what a name covers, what animals need, and whom they may not live with."""

from __future__ import annotations

from typing import Any

from api.bodies import taxa as bodies
from api.nouns import Noun
from api.parts import Part
from domain.actions import taxa as actions
from domain.records import taxa as records

NOUN = Noun(
    path="/v1/taxa",
    singular="taxon",
    plural="taxa",
    parameter="taxon_id",
    record=records.Taxon,
    new=bodies.NewTaxon,
    kept=bodies.Taxon,
    page=bodies.TaxonPage,
    register=actions.register_taxon,
    change=actions.change_taxon,
    end=actions.end_taxon,
    filters=("rank", "parent_id", "accepted_id", "hazard", "scientific_name"),
)
_OF_TAXON: dict[str, Any] = {
    "owner": records.Taxon,
    "owner_path": NOUN.path,
    "owner_parameter": NOUN.parameter,
    "within": "taxon_id",
}
MEMBERS = Part(
    **_OF_TAXON,
    path="members",
    parameter="concept_member_id",
    singular="concept_member",
    plural="concept_members",
    record=records.ConceptMember,
    new=bodies.NewConceptMember,
    kept=bodies.ConceptMember,
    page=bodies.ConceptMemberPage,
    make=actions.record_concept_member,
    change=actions.change_concept_member,
    end=actions.end_concept_member,
)
TARGETS = Part(
    **_OF_TAXON,
    path="targets",
    parameter="husbandry_target_id",
    singular="husbandry_target",
    plural="husbandry_targets",
    record=records.HusbandryTarget,
    new=bodies.NewHusbandryTarget,
    kept=bodies.HusbandryTarget,
    page=bodies.HusbandryTargetPage,
    make=actions.record_husbandry_target,
    change=actions.change_husbandry_target,
    end=actions.end_husbandry_target,
    filters=("life_stage",),
)
SEPARATIONS = Part(
    **_OF_TAXON,
    path="separations",
    parameter="separation_id",
    singular="separation",
    plural="separations",
    record=records.Separation,
    new=bodies.NewSeparation,
    kept=bodies.Separation,
    page=bodies.SeparationPage,
    make=actions.record_separation,
    change=actions.change_separation,
    end=actions.end_separation,
)
DOORS = [*NOUN.doors(), *MEMBERS.doors(), *TARGETS.doors(), *SEPARATIONS.doors()]
