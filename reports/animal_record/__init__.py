"""The animal record: the whole life of one animal or counted group as it is on record; as paper and JSON."""

from reports.animal_record.render import animal_record_json, animal_record_pdf
from reports.animal_record.sheet import (
    AnimalRecordSheet,
    DocumentLine,
    EventLine,
    HoldingLine,
    MarkLine,
    MeasurementLine,
    NameLine,
    OffspringLine,
    ParentLine,
    PlacementLine,
    StateLine,
)

__all__ = [
    "AnimalRecordSheet",
    "DocumentLine",
    "EventLine",
    "HoldingLine",
    "MarkLine",
    "MeasurementLine",
    "NameLine",
    "OffspringLine",
    "ParentLine",
    "PlacementLine",
    "StateLine",
    "animal_record_json",
    "animal_record_pdf",
]
