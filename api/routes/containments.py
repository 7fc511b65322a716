"""What an organisation asks for before animals of a hazard class are kept."""

from __future__ import annotations

from api.bodies.containments import Containment, ContainmentPage, NewContainment
from api.nouns import Noun
from domain.actions.containments import change_containment, end_containment, register_containment
from domain.records import taxa as records

NOUN = Noun(
    path="/v1/containments",
    singular="containment",
    plural="containments",
    parameter="containment_id",
    record=records.Containment,
    new=NewContainment,
    kept=Containment,
    page=ContainmentPage,
    register=register_containment,
    change=change_containment,
    end=end_containment,
    filters=("hazard",),
)
DOORS = NOUN.doors()
