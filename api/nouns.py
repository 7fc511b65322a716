"""A noun of the API: what kind of record it is of, and the same five doors that every noun has."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from api.answers import created, encode, etag, of_record, said_beside, shown_row
from api.bodies.records import with_disclaimer
from api.context import Call, expected_version, patch_in, read_one, stated_in, unchanged, write
from api.doors import Door
from api.errors import Answer
from api.pages import Listing
from domain.actions.recording import Ending
from domain.records.base import Record
from domain.records.lists import Order, one


@dataclass(frozen=True, kw_only=True)
class Noun:
    """A kind of record with the actions on it. ``singular`` and ``plural`` are as operation ids say them.

    ``parameter`` names its id in a path.
    """

    path: str
    singular: str
    plural: str
    parameter: str
    record: type[Record]
    new: type[BaseModel]
    kept: type[BaseModel]
    page: type[BaseModel]
    register: Callable[..., Any]
    change: Callable[..., Any]
    end: Callable[..., Any]
    changed: type[BaseModel] | None = None
    """What can be corrected, where that is less than what is registered."""
    filters: Sequence[str] = ()
    orders: Sequence[Order] = (Order.ID,)

    @property
    def subject(self) -> str:
        """What it is called in a sentence."""
        return self.record.noun.replace("_", " ")

    @property
    def shown(self) -> type[BaseModel]:
        """The shape of an answer that shows one."""
        return self.kept if self.record.disclaimer is None else with_disclaimer(self.kept)

    @property
    def one_path(self) -> str:
        """The path of one record."""
        return f"{self.path}/{{{self.parameter}}}"

    def common(self, verb: str, name: str) -> dict[str, Any]:
        """Return what all its doors have, given the verb and noun of the operation."""
        spoken = name.replace("_", " ")
        return {
            "action": f"{verb}_{name}",
            "operation_id": f"{verb}_{name}",
            "summary": f"{verb.capitalize()} {spoken}",
            "tag": self.path.removeprefix("/v1/"),
            "subject": self.subject,
        }

    def doors(self) -> list[Door]:
        """Return the five doors: list, get, register, change, end."""
        return [self.list_door(), self.get_door(), self.register_door(), self.change_door(), self.end_door()]

    def list_door(self) -> Door:
        """Return the door to the list, page by page."""
        listing = Listing(self.record, self.filters, self.orders)
        return Door(
            method="GET",
            path=self.path,
            answers=self.page,
            reads=listing.page,
            query=listing.readers,
            parameters=listing.parameters,
            headers=["Link"],
            **self.common("list", self.plural),
        )

    def get_door(self) -> Door:
        """Return the door to one record."""
        return Door(
            method="GET",
            path=self.one_path,
            answers=self.shown,
            reads=self._get,
            parameters=[id_parameter(self.parameter), IF_NONE_MATCH],
            headers=["ETag"],
            **self.common("get", self.singular),
        )

    def register_door(self) -> Door:
        """Return the door by which a record is registered."""
        return Door(
            method="POST",
            path=self.path,
            status=201,
            answers=self.shown,
            writes=self._register,
            body=self.new,
            parameters=[IDEMPOTENCY_KEY],
            headers=["ETag", "Location"],
            **self.common("register", self.singular),
        )

    def change_door(self) -> Door:
        """Return the door by which a record is corrected."""
        return Door(
            method="PATCH",
            path=self.one_path,
            answers=self.shown,
            writes=self._change,
            body=self.changed or self.new,
            parameters=[id_parameter(self.parameter), {**IF_MATCH, "required": True}],
            headers=["ETag"],
            **self.common("change", self.singular),
        )

    def end_door(self) -> Door:
        """Return the door by which a record is ended."""
        return Door(
            method="POST",
            path=f"{self.one_path}/end",
            answers=self.shown,
            writes=self._end,
            body=Ending,
            parameters=[id_parameter(self.parameter), IDEMPOTENCY_KEY],
            headers=["ETag"],
            **self.common("end", self.singular),
        )

    async def _get(self, call: Call) -> Answer:
        return await get_one(call, self.record, subject=self.subject)

    def _register(self, call: Call) -> Answer:
        stated: Any = stated_in(call, self.new)
        return write(call, lambda unit: created(self.register(unit, stated, record_id=stated.id), at=call.path))

    def _change(self, call: Call) -> Answer:
        version, patch = expected_version(call), patch_in(call)
        return write(call, lambda unit: of_record(self.change(unit, call.ids[0], patch, expected_version=version)))

    def _end(self, call: Call) -> Answer:
        ending = stated_in(call, Ending)
        return write(call, lambda unit: of_record(self.end(unit, call.ids[0], ending)))


async def get_one(call: Call, record: type[Record], *, subject: str, within: str | None = None) -> Answer:
    """Return one record as an answer, or 304 where the caller has this version. Its id is the last in the path.

    Raises:
        NotFound: There is none in the caller's organisation.
        NotAllowed: It is at a site that the call does not reach.
    """
    shown = await shown_one(call, record, subject=subject, within=within)
    tag = etag(shown["version"])
    if unchanged(call, shown["version"]):
        return Answer(status=304, headers=[tag])
    return Answer(encode(shown), headers=[tag])


async def shown_one(call: Call, record: type[Record], *, subject: str, within: str | None = None) -> dict[str, Any]:
    """Return one record by column, ready to be encoded.

    Raises:
        NotFound: There is none in the caller's organisation.
        NotAllowed: It is at a site that the call does not reach.
    """
    belongs = {within: call.ids[0]} if within else {}
    row = await read_one(call, record, call.ids[-1], subject=subject, **belongs)
    return {**shown_row(one(record, within=within).on(call.house.store.dialect), row), **said_beside(record)}


def id_parameter(name: str) -> Mapping[str, Any]:
    """Return an id in a path as OpenAPI describes it."""
    return {"name": name, "in": "path", "required": True, "schema": {"type": "string", "format": "uuid"}}


IDEMPOTENCY_KEY: Mapping[str, Any] = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "schema": {"type": "string", "minLength": 1, "maxLength": 200, "pattern": "^[!-~]([ -~]*[!-~])?$"},
    "description": "Makes it safe to send the request again: the first answer is given again, and nothing is done twice.",
}
IF_MATCH: Mapping[str, Any] = {
    "name": "If-Match",
    "in": "header",
    "required": False,
    "schema": {"type": "string", "pattern": '^"[1-9][0-9]{0,9}"$'},
    "example": '"1"',
    "description": "The ETag of the version that this is a change of.",
}
IF_NONE_MATCH: Mapping[str, Any] = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "schema": {"type": "string"},
    "description": "The ETag of the version that the caller has; it is not sent again.",
}
