"""What belongs to one animal's life: where it lived, what happened to it, and in which states it was."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from api.answers import encode, shown_record
from api.bodies.animals import (
    AnimalEvent,
    AnimalEventPage,
    AnimalStatePage,
    ChangedPlacement,
    NewAnimalEvent,
    NewPlacement,
    Placement,
    PlacementPage,
)
from api.bodies.histories import AnimalHistory, HistoryDocument, Offspring
from api.context import Call, computed, origin_of, read_one
from api.doors import Door
from api.errors import Answer
from api.nouns import id_parameter
from api.pages import Listing
from api.parts import Part
from domain.actions.histories import history
from domain.actions.lives import record_event, withdraw_event
from domain.actions.placements import change_placement, end_placement, place_animal
from domain.actions.recording import Ending
from domain.records import animals as records
from domain.records.unit import Unit


def _record_event(unit: Unit, animal_id: UUID, stated: NewAnimalEvent, *, record_id: UUID | None) -> records.AnimalEvent:
    return record_event(unit, animal_id, stated, record_id=record_id).event


def _end_event(unit: Unit, event_id: UUID, ending: Ending, *, owner_id: UUID) -> records.AnimalEvent:
    return withdraw_event(unit, event_id, ending, owner_id=owner_id).event


_OF_ANIMAL: dict[str, Any] = {
    "owner": records.Animal,
    "owner_path": "/v1/animals",
    "owner_parameter": "animal_id",
    "within": "animal_id",
}
PLACEMENTS = Part(
    **_OF_ANIMAL,
    path="placements",
    parameter="placement_id",
    singular="placement",
    plural="placements",
    record=records.Placement,
    new=NewPlacement,
    changed=ChangedPlacement,
    kept=Placement,
    page=PlacementPage,
    make=place_animal,
    change=change_placement,
    end=end_placement,
)
EVENTS = Part(
    **_OF_ANIMAL,
    path="events",
    parameter="event_id",
    singular="animal_event",
    plural="animal_events",
    record=records.AnimalEvent,
    new=NewAnimalEvent,
    kept=AnimalEvent,
    page=AnimalEventPage,
    make=_record_event,
    end=_end_event,
    filters=("kind",),
)
STATES = Listing(records.AnimalState, within="animal_id")


async def _states(call: Call) -> Answer:
    await read_one(call, records.Animal, call.ids[0], subject="animal")
    return await STATES.page(call)


LIST_STATES = Door(
    method="GET",
    path="/v1/animals/{animal_id}/states",
    action="list_animal_states",
    operation_id="list_animal_states",
    summary="List the states that an animal was in, as they follow from its events",
    tag="animals",
    subject="animal",
    answers=AnimalStatePage,
    reads=_states,
    query=STATES.readers,
    parameters=[id_parameter("animal_id"), *STATES.parameters],
    headers=["Link"],
)
_LISTS = ("names", "marks", "states", "placements", "measurements", "parents", "holdings", "events")


async def _get_history(call: Call) -> Answer:
    return await computed(call, _history)


def _history(call: Call) -> Answer:
    with call.house.store.snapshot(origin_of(call)) as unit:
        life = history(unit, call.ids[0])
    taxon = {name: getattr(life.taxon, name) for name in ("id", "scientific_name", "name_authorship", "rank", "common_name")}
    return Answer(
        encode(
            {
                "animal": shown_record(life.animal),
                "today": life.today,
                "taxon": {**taxon, "hazard": life.hazard},
                **{name: [shown_record(one) for one in getattr(life, name)] for name in _LISTS},
                "offspring": [{name: one[name] for name in Offspring.model_fields} for one in life.offspring],
                "documents": [{name: one[name] for name in HistoryDocument.model_fields} for one in life.documents],
                "withdrawn": life.withdrawn,
                "corrected": life.corrected,
            }
        )
    )


GET_HISTORY = Door(
    method="GET",
    path="/v1/animals/{animal_id}/history",
    action="get_animal_history",
    operation_id="get_animal_history",
    summary="Get everything on record about an animal",
    tag="animals",
    subject="animal",
    answers=AnimalHistory,
    reads=_get_history,
    parameters=[id_parameter("animal_id")],
)
DOORS = [*PLACEMENTS.doors(), *EVENTS.doors(), LIST_STATES, GET_HISTORY]
