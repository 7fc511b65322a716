"""Measurements of an animal."""

from __future__ import annotations

from api.bodies.measurements import ChangedMeasurement, Measurement, MeasurementPage, NewMeasurement
from api.parts import Part
from domain.actions.measurements import change_measurement, end_measurement, record_measurement
from domain.records import animals, measurements

MEASUREMENTS = Part(
    owner=animals.Animal,
    owner_path="/v1/animals",
    owner_parameter="animal_id",
    within="animal_id",
    path="measurements",
    parameter="measurement_id",
    singular="measurement",
    plural="measurements",
    record=measurements.Measurement,
    new=NewMeasurement,
    changed=ChangedMeasurement,
    kept=Measurement,
    page=MeasurementPage,
    make=record_measurement,
    change=change_measurement,
    end=end_measurement,
    filters=("kind",),
)
DOORS = MEASUREMENTS.doors()
