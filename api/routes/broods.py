"""Broods that are expected of an animal."""

from __future__ import annotations

from api.bodies.broods import ChangedExpectedBrood, ExpectedBrood, ExpectedBroodPage, NewExpectedBrood
from api.parts import Part
from domain.actions.broods import change_expected_brood, end_expected_brood, record_expected_brood
from domain.records import animals, broods

PART = Part(
    owner=animals.Animal,
    owner_path="/v1/animals",
    owner_parameter="animal_id",
    within="animal_id",
    path="expected-broods",
    parameter="expected_brood_id",
    singular="expected_brood",
    plural="expected_broods",
    record=broods.ExpectedBrood,
    new=NewExpectedBrood,
    changed=ChangedExpectedBrood,
    kept=ExpectedBrood,
    page=ExpectedBroodPage,
    make=record_expected_brood,
    change=change_expected_brood,
    end=end_expected_brood,
)
DOORS = PART.doors()
