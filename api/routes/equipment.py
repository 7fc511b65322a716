"""Installed equipment, and its replacement."""

from __future__ import annotations

from api.answers import created
from api.bodies.equipment import Equipment, EquipmentPage, NewEquipment, Replacement
from api.context import Call, expected_version, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_MATCH, Noun, id_parameter
from domain.actions.equipment import change_equipment, end_equipment, register_equipment, replace_equipment
from domain.records import equipment as records

NOUN = Noun(
    path="/v1/equipment",
    singular="equipment",
    plural="equipment",
    parameter="equipment_id",
    record=records.Equipment,
    new=NewEquipment,
    kept=Equipment,
    page=EquipmentPage,
    register=register_equipment,
    change=change_equipment,
    end=end_equipment,
    filters=("site_id", "model_id", "kind", "enclosure_id", "life_support_system_id", "tag"),
)


def replace(call: Call) -> Answer:
    """Retire an item, install another in its place and take the part from the shelf; return the new item."""
    version = expected_version(call) if b"if-match" in call.headers else None
    stated = stated_in(call, Replacement)
    return write(call, lambda unit: created(replace_equipment(unit, call.ids[0], stated, expected_version=version), at=NOUN.path))


DOORS = [
    *NOUN.doors(),
    Door(
        method="POST",
        path=f"{NOUN.one_path}/replacement",
        status=201,
        answers=Equipment,
        writes=replace,
        body=Replacement,
        parameters=[id_parameter("equipment_id"), IF_MATCH, IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
        **NOUN.common("replace", "equipment"),
    ),
]
