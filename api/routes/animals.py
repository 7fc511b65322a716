"""Animals and counted groups: the records, and what goes from one to another."""

from __future__ import annotations

from typing import Any

from api.answers import created, of_record
from api.bodies.animals import Animal, AnimalPage, ChangedAnimal, Merge, NewAnimal, Split
from api.context import Call, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, Noun, id_parameter
from domain.actions.animals import change_animal, end_animal, register_animal
from domain.actions.groups import merge_animal, split_animal
from domain.records import animals as records

NOUN = Noun(
    path="/v1/animals",
    singular="animal",
    plural="animals",
    parameter="animal_id",
    record=records.Animal,
    new=NewAnimal,
    changed=ChangedAnimal,
    kept=Animal,
    page=AnimalPage,
    register=register_animal,
    change=change_animal,
    end=end_animal,
    filters=("taxon_id", "site_id", "enclosure_id", "grouping", "tag", "sex", "life_stage", "status"),
)


def _split(call: Call) -> Answer:
    stated = stated_in(call, Split)
    return write(call, lambda unit: created(split_animal(unit, call.ids[0], stated, record_id=stated.id), at=NOUN.path))


def _merge(call: Call) -> Answer:
    stated = stated_in(call, Merge)
    return write(call, lambda unit: of_record(merge_animal(unit, call.ids[0], stated)))


def _between(verb: str, summary: str, **rest: Any) -> Door:  # noqa: ANN401 - what a door is made of
    operation = f"{verb}_animal"
    return Door(
        method="POST",
        path=f"{NOUN.one_path}/{verb}",
        action=operation,
        operation_id=operation,
        summary=summary,
        tag="animals",
        subject="animal",
        answers=Animal,
        parameters=[id_parameter("animal_id"), IDEMPOTENCY_KEY],
        **rest,
    )


DOORS = [
    *NOUN.doors(),
    _between(
        "split",
        "Let animals of a group go on in a record of their own",
        writes=_split,
        body=Split,
        status=201,
        headers=["ETag", "Location"],
    ),
    _between("merge", "Let animals of a record join a group", writes=_merge, body=Merge, headers=["ETag"]),
]
