"""Whether an enclosure would suit an animal, without putting it there."""

from __future__ import annotations

from datetime import date
from functools import partial
from uuid import UUID

from api.answers import encode
from api.bodies import fitness as bodies
from api.context import Call, computed, origin_of
from api.doors import Door
from api.errors import Answer
from api.nouns import id_parameter
from api.query import fault_in, read_day, read_id, refusal_of
from domain.actions.fitness import decision_json, fitness_of, number_there
from domain.actions.sites import today_at
from domain.records.animals import Animal
from domain.records.columns import DAY_SCHEMA
from domain.records.enclosures import Enclosure
from domain.records.sites import Site


async def get_fitness(call: Call) -> Answer:
    """Answer with the decision whether an enclosure would suit the animals of a record.

    Raises:
        RuleBroken: No enclosure is asked about, it has ended, or none of the animals were here on the day.
    """
    enclosure_id: UUID | None = call.query.get("enclosure_id")
    if enclosure_id is None:
        raise refusal_of(fault_in("enclosure_id", "required", "Say which enclosure."))
    return await computed(call, partial(_decision, enclosure_id=enclosure_id))


def _decision(call: Call, *, enclosure_id: UUID) -> Answer:
    with call.house.store.snapshot(origin_of(call)) as unit:
        animal = unit.fetch_reached(Animal, call.ids[0])
        enclosure = unit.fetch_reached(Enclosure, enclosure_id)
        on: date = call.query.get("on") or today_at(unit, unit.fetch(Site, enclosure.site_id))
        if enclosure.ended_on is not None and enclosure.ended_on <= on:
            raise refusal_of(fault_in("enclosure_id", "reference-ended", f"That enclosure ended on {enclosure.ended_on.isoformat()}."))
        number = number_there(unit, animal, on=on)
        if number == 0:
            raise refusal_of(fault_in("on", "none-there", f"There were none of these animals here on {on.isoformat()}."))
        found = fitness_of(unit, animal, enclosure, on=on, number=number)
    shown = {"animal_id": animal.id, "enclosure_id": enclosure.id, **decision_json(found, on=on, number=number)}
    return Answer(encode(shown))


DOORS = (
    Door(
        method="GET",
        path="/v1/animals/{animal_id}/fitness",
        action="get_fitness",
        operation_id="get_fitness",
        summary="Get whether an enclosure would suit an animal, and why",
        tag="animals",
        subject="animal",
        answers=bodies.Fitness,
        reads=get_fitness,
        query={"enclosure_id": read_id, "on": read_day},
        parameters=[
            id_parameter("animal_id"),
            {
                "name": "enclosure_id",
                "in": "query",
                "required": True,
                "schema": {"type": "string", "format": "uuid"},
                "description": "The enclosure that it would be put into.",
            },
            {
                "name": "on",
                "in": "query",
                "required": False,
                "schema": DAY_SCHEMA,
                "description": "The day from which it would live there; today at the enclosure's site where it is left out.",
            },
        ],
    ),
)
