"""An animal's parents, and its offspring."""

from __future__ import annotations

from api.bodies.kinship import ChangedParent, NewParent, Parent, ParentPage
from api.context import Call, read_one
from api.doors import Door
from api.errors import Answer
from api.nouns import id_parameter
from api.pages import Listing
from api.parts import Part
from domain.actions.kinship import change_parent, end_parent, record_parent
from domain.records import animals, kinship

PARENTS = Part(
    owner=animals.Animal,
    owner_path="/v1/animals",
    owner_parameter="animal_id",
    within="animal_id",
    path="parents",
    parameter="parentage_id",
    singular="parent",
    plural="parents",
    record=kinship.Parent,
    new=NewParent,
    changed=ChangedParent,
    kept=Parent,
    page=ParentPage,
    make=record_parent,
    change=change_parent,
    end=end_parent,
    filters=("role",),
)
OFFSPRING = Listing(kinship.Parent, filters=("role",), within="parent_id")


async def _offspring(call: Call) -> Answer:
    await read_one(call, animals.Animal, call.ids[0], subject="animal")
    return await OFFSPRING.page(call)


LIST_OFFSPRING = Door(
    method="GET",
    path="/v1/animals/{animal_id}/offspring",
    action="list_offspring",
    operation_id="list_offspring",
    summary="List the animals that have this one on record as a parent",
    tag="animals",
    subject="animal",
    answers=ParentPage,
    reads=_offspring,
    query=OFFSPRING.readers,
    parameters=[id_parameter("animal_id"), *OFFSPRING.parameters],
    headers=["Link"],
)
DOORS = [*PARENTS.doors(), LIST_OFFSPRING]
