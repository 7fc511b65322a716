"""Equipment models."""

from __future__ import annotations

from api.bodies.equipment import EquipmentModel, EquipmentModelPage, NewEquipmentModel
from api.nouns import Noun
from domain.actions.equipment import change_equipment_model, end_equipment_model, register_equipment_model
from domain.records import equipment as records

NOUN = Noun(
    path="/v1/equipment-models",
    singular="equipment_model",
    plural="equipment_models",
    parameter="equipment_model_id",
    record=records.EquipmentModel,
    new=NewEquipmentModel,
    kept=EquipmentModel,
    page=EquipmentModelPage,
    register=register_equipment_model,
    change=change_equipment_model,
    end=end_equipment_model,
    filters=("kind", "name"),
)
DOORS = NOUN.doors()
