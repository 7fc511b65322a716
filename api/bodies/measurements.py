"""Measurements of animals."""

from __future__ import annotations

from uuid import UUID

from pydantic import Field

from api.bodies.records import Kept, New, Page
from domain.records.measurements import MeasurementEntered, MeasurementStated


class NewMeasurement(New, MeasurementEntered):
    """A measurement to be recorded."""


class ChangedMeasurement(MeasurementEntered):
    """What can be corrected of a measurement."""


class Measurement(Kept, MeasurementStated):
    """A measurement on file."""

    animal_id: UUID
    surprising: bool = Field(description="Whether it looked like a slip of the unit, and was confirmed.")


class MeasurementPage(Page[Measurement]):
    """One page of measurements."""
