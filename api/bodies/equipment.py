"""Equipment, its models and readings, replacements and spares."""

from __future__ import annotations

from uuid import UUID

from api.bodies.records import Kept, New, Page
from domain.actions.equipment import ReplacementStated
from domain.records.equipment import (
    EquipmentCheckStated,
    EquipmentModelStated,
    EquipmentStated,
    HourReadingStated,
    OutputReadingStated,
    SpareStated,
)


class NewEquipmentModel(New, EquipmentModelStated):
    """An equipment model to be registered."""


class EquipmentModel(Kept, EquipmentModelStated):
    """An equipment model on file."""


class EquipmentModelPage(Page[EquipmentModel]):
    """One page of equipment models."""


class NewEquipment(New, EquipmentStated):
    """An item of equipment to be registered."""


class Equipment(Kept, EquipmentStated):
    """An item of equipment on file."""

    replaces_id: UUID | None = None


class EquipmentPage(Page[Equipment]):
    """One page of equipment."""


class Replacement(New, ReplacementStated):
    """A replacement that was carried out."""


class NewHourReading(New, HourReadingStated):
    """An hour-counter reading to be registered."""


class HourReading(Kept, HourReadingStated):
    """An hour-counter reading on file."""

    equipment_id: UUID


class HourReadingPage(Page[HourReading]):
    """One page of hour-counter readings."""


class NewOutputReading(New, OutputReadingStated):
    """An output reading to be registered."""


class OutputReading(Kept, OutputReadingStated):
    """An output reading on file."""

    equipment_id: UUID


class OutputReadingPage(Page[OutputReading]):
    """One page of output readings."""


class NewEquipmentCheck(New, EquipmentCheckStated):
    """A check to be registered."""


class EquipmentCheck(Kept, EquipmentCheckStated):
    """A check on file."""

    equipment_id: UUID


class EquipmentCheckPage(Page[EquipmentCheck]):
    """One page of checks."""


class NewSpare(New, SpareStated):
    """A count of spares to be registered."""


class Spare(Kept, SpareStated):
    """A count of spares on file."""


class SparePage(Page[Spare]):
    """One page of spares."""
