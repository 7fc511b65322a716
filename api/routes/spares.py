"""Spares."""

from __future__ import annotations

from api.bodies.equipment import NewSpare, Spare, SparePage
from api.nouns import Noun
from domain.actions.spares import change_spare, end_spare, register_spare
from domain.records import equipment as records

NOUN = Noun(
    path="/v1/spares",
    singular="spare",
    plural="spares",
    parameter="spare_id",
    record=records.Spare,
    new=NewSpare,
    kept=Spare,
    page=SparePage,
    register=register_spare,
    change=change_spare,
    end=end_spare,
    filters=("site_id", "model_id", "shelf"),
)
DOORS = NOUN.doors()
