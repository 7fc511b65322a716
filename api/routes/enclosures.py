"""Enclosures."""

from __future__ import annotations

from api.bodies.enclosures import Enclosure, EnclosurePage, NewEnclosure
from api.nouns import Noun
from domain.actions.enclosures import change_enclosure, end_enclosure, register_enclosure
from domain.records import enclosures as records
from domain.records.lists import Order

NOUN = Noun(
    path="/v1/enclosures",
    singular="enclosure",
    plural="enclosures",
    parameter="enclosure_id",
    record=records.Enclosure,
    new=NewEnclosure,
    kept=Enclosure,
    page=EnclosurePage,
    register=register_enclosure,
    change=change_enclosure,
    end=end_enclosure,
    filters=("site_id", "kind", "parent_id", "life_support_system_id", "name"),
    orders=(Order.ID, Order.WALKING),
)
DOORS = NOUN.doors()
