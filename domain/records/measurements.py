"""What was measured on animals: mass and lengths."""

from __future__ import annotations

from typing import Annotated, ClassVar

import sqlalchemy as sa
from pydantic import model_validator
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, Name, Note, UuidColumn, words_of
from domain.records.stated import misstated
from domain.rules.measures import MeasureKind

Grams = Annotated[float, Field(gt=0, le=10_000_000)]
Millimetres = Annotated[float, Field(gt=0, le=100_000)]


class MeasurementStated(Stated):
    """A measurement of an animal: its mass [g] or, along the line that ``kind`` names, a length [mm]; how, when and by whom.

    Of a group it is the mean of ``of_number`` animals.
    """

    kind: MeasureKind = Field(sa_type=words_of(MeasureKind))
    mass_g: Grams | None = None
    length_mm: Millimetres | None = None
    measured_on: Day
    method: Name | None = None
    staff_id: Id | None = Field(default=None, sa_type=UuidColumn)
    of_number: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _says_what_its_kind_measures(self) -> MeasurementStated:
        wanted = self.kind.field
        (other,) = {"mass_g", "length_mm"} - {wanted}
        if getattr(self, other) is not None:
            raise misstated(other, f"{self.kind.value.replace('_', ' ')} is said as {wanted}")
        if getattr(self, wanted) is None:
            raise misstated(wanted, f"say {self.kind.value.replace('_', ' ')} here", code="required")
        return self


class MeasurementEntered(MeasurementStated):
    """A measurement as it is entered; ``confirmed`` says that a value which looks like a slip of the unit is right, and is not kept."""

    confirmed: bool = False


class Measurement(Record, MeasurementStated, table=True):
    """A stored measurement. ``surprising`` says that it was confirmed although it looked like a slip of the unit."""

    __tablename__ = "measurement"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("animal", "animal_id"),
        refers_to("staff", "staff_id"),
        sa.Index("ix_measurement_animal", "organisation_id", "animal_id", "kind", "measured_on"),
    )
    noun: ClassVar[str] = "measurement"

    animal_id: Id = Field(sa_type=UuidColumn)
    surprising: bool = False
