"""What belongs to one record: a nested list of the API, such as an animal's marks, and the same doors that every such list has."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from api.answers import created, of_record
from api.bodies.records import with_disclaimer
from api.context import Call, expected_version, patch_in, read_one, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_MATCH, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from domain.actions.recording import Ending
from domain.records.base import Record


@dataclass(frozen=True, kw_only=True)
class Part:
    """A kind of record that belongs to another, which ``owner_path`` and ``owner_parameter`` lead to; ``within`` is the column with its id.

    ``make`` takes the unit, the owner's id, what was stated and ``record_id``; ``change`` the unit, the id, the patch, ``owner_id`` and
    ``expected_version``; ``end`` the unit, the id, the ending and ``owner_id``. Without ``change`` there is no such door; ``changed`` is
    what can be corrected, where that is less than what is put on record.
    """

    owner: type[Record]
    owner_path: str
    owner_parameter: str
    within: str
    path: str
    parameter: str
    singular: str
    plural: str
    record: type[Record]
    kept: type[BaseModel]
    page: type[BaseModel]
    new: type[BaseModel]
    make: Callable[..., Any]
    end: Callable[..., Any]
    change: Callable[..., Any] | None = None
    changed: type[BaseModel] | None = None
    filters: Sequence[str] = ()

    @property
    def here(self) -> str:
        """The path of the owner's list."""
        return f"{self.owner_path}/{{{self.owner_parameter}}}/{self.path}"

    @property
    def this(self) -> str:
        """The path of one record."""
        return f"{self.here}/{{{self.parameter}}}"

    @property
    def shown(self) -> type[BaseModel]:
        """The shape of an answer that shows one."""
        return self.kept if self.record.disclaimer is None else with_disclaimer(self.kept)

    @property
    def subject(self) -> str:
        """What one is called in a sentence."""
        return self.record.noun.replace("_", " ")

    def doors(self) -> list[Door]:
        """Return the doors: list, record, get, change where there is such an act, end."""
        changing = [] if self.change is None else [self.change_door()]
        return [self.list_door(), self.record_door(), self.get_door(), *changing, self.end_door()]

    def list_door(self) -> Door:
        """Return the door to the owner's list, page by page."""
        listing = Listing(self.record, self.filters, within=self.within)
        return Door(
            method="GET",
            path=self.here,
            answers=self.page,
            reads=self._list(listing),
            query=listing.readers,
            parameters=[id_parameter(self.owner_parameter), *listing.parameters],
            headers=["Link"],
            **self._common("list", self.plural, subject=self.owner.noun.replace("_", " ")),
        )

    def record_door(self) -> Door:
        """Return the door by which one is put on record."""
        return Door(
            method="POST",
            path=self.here,
            answers=self.shown,
            status=201,
            writes=self._record,
            body=self.new,
            parameters=[id_parameter(self.owner_parameter), IDEMPOTENCY_KEY],
            headers=["ETag", "Location"],
            **self._common("record", self.singular, subject=self.owner.noun.replace("_", " ")),
        )

    def get_door(self) -> Door:
        """Return the door to one record."""
        return Door(
            method="GET",
            path=self.this,
            answers=self.shown,
            reads=self._get,
            parameters=[*self._ids(), IF_NONE_MATCH],
            headers=["ETag"],
            **self._common("get", self.singular, subject=self.subject),
        )

    def change_door(self) -> Door:
        """Return the door by which one is corrected."""
        return Door(
            method="PATCH",
            path=self.this,
            answers=self.shown,
            writes=self._change,
            body=self.changed or self.new,
            parameters=[*self._ids(), {**IF_MATCH, "required": True}],
            headers=["ETag"],
            **self._common("change", self.singular, subject=self.subject),
        )

    def end_door(self) -> Door:
        """Return the door by which one that was entered wrongly is taken out of account."""
        return Door(
            method="POST",
            path=f"{self.this}/end",
            answers=self.shown,
            writes=self._end,
            body=Ending,
            parameters=[*self._ids(), IDEMPOTENCY_KEY],
            headers=["ETag"],
            **self._common("end", self.singular, subject=self.subject),
        )

    def _ids(self) -> list[Any]:
        return [id_parameter(self.owner_parameter), id_parameter(self.parameter)]

    def _common(self, verb: str, name: str, *, subject: str) -> dict[str, Any]:
        operation = f"{verb}_{name}"
        return {
            "action": operation,
            "operation_id": operation,
            "summary": f"{verb.capitalize()} {name.replace('_', ' ')}",
            "tag": self.owner_path.removeprefix("/v1/"),
            "subject": subject,
        }

    def _list(self, listing: Listing) -> Callable[[Call], Any]:
        async def page(call: Call) -> Answer:
            await read_one(call, self.owner, call.ids[0], subject=self.owner.noun.replace("_", " "))
            return await listing.page(call)

        return page

    def _record(self, call: Call) -> Answer:
        stated: Any = stated_in(call, self.new)
        return write(call, lambda unit: created(self.make(unit, call.ids[0], stated, record_id=stated.id), at=call.path))

    async def _get(self, call: Call) -> Answer:
        return await get_one(call, self.record, subject=self.subject, within=self.within)

    def _change(self, call: Call) -> Answer:
        assert self.change is not None  # noqa: S101 - such a door is only made where there is
        change, version, patch = self.change, expected_version(call), patch_in(call)
        return write(call, lambda unit: of_record(change(unit, call.ids[1], patch, owner_id=call.ids[0], expected_version=version)))

    def _end(self, call: Call) -> Answer:
        ending = stated_in(call, Ending)
        return write(call, lambda unit: of_record(self.end(unit, call.ids[1], ending, owner_id=call.ids[0])))
