"""Life-support systems, each with the enclosures it serves and the filter media lots that hang on it."""

from __future__ import annotations

from dataclasses import replace

from api.answers import encode, etag
from api.bodies.enclosures import LifeSupportSystem, LifeSupportSystemPage, LifeSupportSystemWithParts, NewLifeSupportSystem
from api.context import Call, read
from api.errors import Answer
from api.nouns import Noun, id_parameter, shown_one
from domain.actions.enclosures import change_life_support_system, end_life_support_system, register_life_support_system
from domain.records import enclosures as records
from domain.records.lists import ENCLOSURES_OF_SYSTEM, MEDIA_LOTS_OF_SYSTEM
from domain.records.statements import Statement

NOUN = Noun(
    path="/v1/life-support-systems",
    singular="life_support_system",
    plural="life_support_systems",
    parameter="life_support_system_id",
    record=records.LifeSupportSystem,
    new=NewLifeSupportSystem,
    kept=LifeSupportSystem,
    page=LifeSupportSystemPage,
    register=register_life_support_system,
    change=change_life_support_system,
    end=end_life_support_system,
    filters=("site_id", "name"),
)


async def get_with_parts(call: Call) -> Answer:
    """Return a system and what hangs on it. Never 304: the parts change without a new version of the system."""
    shown = await shown_one(call, NOUN.record, subject=NOUN.subject)
    enclosure_ids = await _ids(call, ENCLOSURES_OF_SYSTEM)
    media_lot_ids = await _ids(call, MEDIA_LOTS_OF_SYSTEM)
    return Answer(encode({**shown, "enclosure_ids": enclosure_ids, "media_lot_ids": media_lot_ids}), headers=[etag(shown["version"])])


async def _ids(call: Call, statement: Statement) -> list[object]:
    compiled = statement.on(call.house.store.dialect)
    return [compiled.json_row(row)[0] for row in await read(call, statement, life_support_system_id=call.ids[0])]


_get_door = replace(NOUN.get_door(), reads=get_with_parts, answers=LifeSupportSystemWithParts, parameters=[id_parameter(NOUN.parameter)])
DOORS = [NOUN.list_door(), _get_door, NOUN.register_door(), NOUN.change_door(), NOUN.end_door()]
