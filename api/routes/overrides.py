"""Overrides of requirements."""

from __future__ import annotations

from api.bodies.overrides import ChangedOverride, NewOverride, Override, OverridePage
from api.nouns import Noun
from domain.actions.overrides import change_override, end_override, register_override
from domain.records import overrides as records

NOUN = Noun(
    path="/v1/overrides",
    singular="override",
    plural="overrides",
    parameter="override_id",
    record=records.Override,
    new=NewOverride,
    changed=ChangedOverride,
    kept=Override,
    page=OverridePage,
    register=register_override,
    change=change_override,
    end=end_override,
    filters=("requirement_code", "animal_id", "site_id", "staff_id"),
)
DOORS = NOUN.doors()
