"""Whose an animal is, and what it is called."""

from __future__ import annotations

from typing import Any

from api.bodies.holdings import (
    CallName,
    CallNamePage,
    ChangedCallName,
    ChangedHolding,
    Holding,
    HoldingPage,
    NewCallName,
    NewHolding,
)
from api.parts import Part
from domain.actions.holdings import (
    change_call_name,
    change_holding,
    end_call_name,
    end_holding,
    record_call_name,
    record_holding,
)
from domain.records import animals, holdings

_OF_ANIMAL: dict[str, Any] = {
    "owner": animals.Animal,
    "owner_path": "/v1/animals",
    "owner_parameter": "animal_id",
    "within": "animal_id",
}
HOLDINGS = Part(
    **_OF_ANIMAL,
    path="holdings",
    parameter="holding_id",
    singular="holding",
    plural="holdings",
    record=holdings.Holding,
    new=NewHolding,
    changed=ChangedHolding,
    kept=Holding,
    page=HoldingPage,
    make=record_holding,
    change=change_holding,
    end=end_holding,
    filters=("kind",),
)
NAMES = Part(
    **_OF_ANIMAL,
    path="names",
    parameter="call_name_id",
    singular="call_name",
    plural="call_names",
    record=holdings.CallName,
    new=NewCallName,
    changed=ChangedCallName,
    kept=CallName,
    page=CallNamePage,
    make=record_call_name,
    change=change_call_name,
    end=end_call_name,
)
DOORS = [*HOLDINGS.doors(), *NAMES.doors()]
