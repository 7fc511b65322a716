"""What is read, measured and checked on an item of equipment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from api.answers import created, of_record
from api.bodies import equipment as bodies
from api.context import Call, read_one, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from domain.actions.readings import end_measured, record_check, record_hours, record_output
from domain.actions.recording import Ending
from domain.records import equipment as records
from domain.records.base import Record

ITEM = id_parameter("equipment_id")
NOTHING = b'{"items":[],"next":null}'


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One kind of what is recorded of an item: its path below the item, its names, shapes and action."""

    path: str
    parameter: str
    list_id: str
    record_id: str
    singular: str
    record: type[Record]
    new: type[BaseModel]
    kept: type[BaseModel]
    page: type[BaseModel]
    make: Callable[..., Any]

    @property
    def here(self) -> str:
        """The path of the item's list."""
        return f"/v1/equipment/{{equipment_id}}/{self.path}"

    @property
    def this(self) -> str:
        """The path of one record."""
        return f"{self.here}/{{{self.parameter}}}"

    def doors(self) -> list[Door]:
        """Return the four doors: list, record, get, end."""
        return [self.list_door(), self.record_door(), self.get_door(), self.end_door()]

    def list_door(self) -> Door:
        """Return the door to the item's list, page by page."""
        listing = Listing(self.record, within="equipment_id")
        return Door(
            method="GET",
            path=self.here,
            action=self.list_id,
            operation_id=self.list_id,
            summary=f"List an item's {self.path.replace('-', ' ')}",
            tag="equipment",
            subject="equipment",
            answers=self.page,
            reads=self._list(listing),
            query=listing.readers,
            parameters=[ITEM, *listing.parameters],
            headers=["Link"],
        )

    def record_door(self) -> Door:
        """Return the door by which one is recorded."""
        return Door(
            method="POST",
            path=self.here,
            action=self.record_id,
            operation_id=self.record_id,
            summary=f"Record {self.singular.replace('_', ' ')}",
            tag="equipment",
            subject="equipment",
            answers=self.kept,
            status=201,
            writes=self._record,
            body=self.new,
            parameters=[ITEM, IDEMPOTENCY_KEY],
            headers=["ETag", "Location"],
        )

    def get_door(self) -> Door:
        """Return the door to one record."""
        return Door(
            method="GET",
            path=self.this,
            action=f"get_{self.singular}",
            operation_id=f"get_{self.singular}",
            summary=f"Get {self.singular.replace('_', ' ')}",
            tag="equipment",
            subject=self.subject,
            answers=self.kept,
            reads=self._get,
            parameters=[ITEM, id_parameter(self.parameter), IF_NONE_MATCH],
            headers=["ETag"],
        )

    def end_door(self) -> Door:
        """Return the door by which a wrong record is taken out of account."""
        return Door(
            method="POST",
            path=f"{self.this}/end",
            action=f"end_{self.singular}",
            operation_id=f"end_{self.singular}",
            summary=f"Take {self.singular.replace('_', ' ')} out of account",
            tag="equipment",
            subject=self.subject,
            answers=self.kept,
            writes=self._end,
            body=Ending,
            parameters=[ITEM, id_parameter(self.parameter), IDEMPOTENCY_KEY],
            headers=["ETag"],
        )

    @property
    def subject(self) -> str:
        """What it is called in a sentence."""
        return self.record.noun.replace("_", " ")

    def _list(self, listing: Listing) -> Callable[[Call], Any]:
        async def list_of_item(call: Call) -> Answer:
            answer = await listing.page(call)
            if answer.body == NOTHING:
                await read_one(call, records.Equipment, call.ids[0], subject="equipment")
            return answer

        return list_of_item

    async def _get(self, call: Call) -> Answer:
        return await get_one(call, self.record, subject=self.subject, within="equipment_id")

    def _record(self, call: Call) -> Answer:
        stated: Any = stated_in(call, self.new)
        return write(call, lambda unit: created(self.make(unit, call.ids[0], stated, record_id=stated.id), at=call.path))

    def _end(self, call: Call) -> Answer:
        ending = stated_in(call, Ending)
        kind: Any = self.record
        return write(call, lambda unit: of_record(end_measured(unit, kind, call.ids[0], call.ids[1], ending)))


HOURS = Measured(
    path="hour-readings",
    parameter="reading_id",
    list_id="list_hour_readings",
    record_id="record_hours",
    singular="hour_reading",
    record=records.HourReading,
    new=bodies.NewHourReading,
    kept=bodies.HourReading,
    page=bodies.HourReadingPage,
    make=record_hours,
)
OUTPUTS = Measured(
    path="output-readings",
    parameter="reading_id",
    list_id="list_output_readings",
    record_id="record_output",
    singular="output_reading",
    record=records.OutputReading,
    new=bodies.NewOutputReading,
    kept=bodies.OutputReading,
    page=bodies.OutputReadingPage,
    make=record_output,
)
CHECKS = Measured(
    path="checks",
    parameter="check_id",
    list_id="list_checks",
    record_id="record_check",
    singular="check",
    record=records.EquipmentCheck,
    new=bodies.NewEquipmentCheck,
    kept=bodies.EquipmentCheck,
    page=bodies.EquipmentCheckPage,
    make=record_check,
)
DOORS = [*HOURS.doors(), *OUTPUTS.doors(), *CHECKS.doors()]
