"""Animals and counted groups."""

from __future__ import annotations

from api.bodies.animals import Animal, AnimalPage, NewAnimal
from api.nouns import Noun
from domain.actions.animals import change_animal, end_animal, register_animal
from domain.records import animals as records

NOUN = Noun(
    path="/v1/animals",
    singular="animal",
    plural="animals",
    parameter="animal_id",
    record=records.Animal,
    new=NewAnimal,
    kept=Animal,
    page=AnimalPage,
    register=register_animal,
    change=change_animal,
    end=end_animal,
    filters=("taxon_id", "enclosure_id", "grouping", "tag"),
)
DOORS = NOUN.doors()
