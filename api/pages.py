"""Lists, page by page: the parameters a list takes, the statement they choose, and the cursor to the next page."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from hashlib import blake2b
from typing import Any, TypeVar
from urllib.parse import urlencode
from uuid import UUID

import msgspec

from api.answers import encode, said_beside, shown_row
from api.context import Call, read, sites_reached
from api.errors import Answer, Header, Malformed
from api.query import CURSOR, LARGEST_PAGE, USUAL_PAGE, Reader, fault_in, one_of, read_day, read_limit, reader_of, refusal_of, schema_of
from domain.records.base import Record
from domain.records.columns import DAY_SCHEMA
from domain.records.lists import Order, Period, filter_column, page, rank_of, ranked

C = TypeVar("C")

_PERIODS = {"false": Period.KEPT, "true": Period.ENDED, "any": Period.ANY}
_GENERAL: Mapping[str, Mapping[str, Any]] = {
    "ended": {
        "schema": {"type": "string", "enum": list(_PERIODS), "default": "false"},
        "description": "Which records: kept, ended, or any.",
    },
    "as_of": {
        "schema": DAY_SCHEMA,
        "description": "Only records that existed on this day: registered by its end in UTC, and not ended on or before it.",
    },
    "limit": {
        "schema": {"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": USUAL_PAGE},
        "description": "Records on a page.",
    },
    "cursor": {
        "schema": CURSOR,
        "description": "The next of the page before, with the same other parameters.",
    },
}


@dataclass(frozen=True, slots=True)
class Cursor:
    """The record that a page goes on after. ``of`` binds it to the list that it came from."""

    of: str
    rank: int
    id: UUID


@dataclass(frozen=True)
class Listing:
    """The list of one kind of record: the fields it can be filtered by, and the column of what it belongs to, if any."""

    record: type[Record]
    filters: Sequence[str] = ()
    orders: Sequence[Order] = (Order.ID,)
    within: str | None = None
    readers: dict[str, Reader] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Make the readers of the parameters."""
        self.readers.update({name: reader_of(filter_column(self.record, name)) for name in self.filters})
        self.readers.update(ended=_period, as_of=read_day, limit=read_limit, cursor=_cursor)
        if len(self.orders) > 1:
            self.readers["sort"] = one_of(self.orders)

    @property
    def parameters(self) -> list[dict[str, Any]]:
        """The parameters as OpenAPI describes them."""
        own = {name: {"schema": schema_of(filter_column(self.record, name))} for name in self.filters}
        if len(self.orders) > 1:
            own["sort"] = {"schema": {"type": "string", "enum": [order.value for order in self.orders], "default": self.orders[0].value}}
        return [{"name": name, "in": "query", "required": False, **rest} for name, rest in {**own, **_GENERAL}.items()]

    async def page(self, call: Call) -> Answer:
        """Return the page that the call's parameters ask for; what is at sites that the call does not reach is not on it."""
        asked, limit = call.query, call.query.get("limit", USUAL_PAGE)
        filters = {name: asked[name] for name in self.filters if name in asked}
        if self.within:
            filters[self.within] = call.ids[0]
        order = asked.get("sort", self.orders[0])
        after = self._after(call)
        bounds = sites_reached(call, self.record)
        chosen = {"filters": frozenset(filters), "period": _period_of(asked), "order": order}
        statement = page(self.record, **chosen, goes_on=after is not None, at_sites=bool(bounds))
        rows = await read(call, statement, **filters, **_day(asked), **_last(after, order), **bounds, limit=limit + 1)
        compiled = statement.on(call.house.store.dialect)
        items = [shown_row(compiled, row) for row in rows[:limit]]
        beside = said_beside(self.record)
        if len(rows) <= limit:
            return Answer(encode({"items": items, "next": None, **beside}))
        cursor = _next(call, items[-1], order)
        return Answer(encode({"items": items, "next": cursor, **beside}), headers=[link_to_next(call, cursor)])

    def _after(self, call: Call) -> Cursor | None:
        found: Cursor | None = call.query.get("cursor")
        if found is not None:
            refuse_foreign(call, of=found.of)
        return found


def refuse_foreign(call: Call, *, of: str) -> None:
    """Refuse a cursor that is not of the list that a call asks for.

    Raises:
        Malformed: ``of``, which the cursor bears, is another list, filter or sort, or another organisation's.
    """
    if of != list_of(call):
        raise Malformed("This cursor belongs to another list, filter or sort.", code="cursor-foreign")


def list_of(call: Call) -> str:
    """Return what binds a cursor to the list that a call asks for: the caller's organisation, the path, filters and sort."""
    said = sorted((name, str(value)) for name, value in call.query.items() if name not in {"cursor", "limit"})
    return blake2b(f"{call.caller.organisation_id} {call.path} {said}".encode(), digest_size=12).hexdigest()


def cursor_text(cursor: Any) -> str:  # noqa: ANN401 - a cursor of any list
    """Return a cursor as a page gives it."""
    return base64.urlsafe_b64encode(encode(cursor)).rstrip(b"=").decode()


def cursor_in(text: str, kind: type[C]) -> C:
    """Return the cursor of a kind that a page gave.

    Raises:
        Malformed: It is none.
    """
    try:
        raw = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        return msgspec.json.decode(raw, type=kind)
    except ValueError:
        raise Malformed("This cursor is not one of ours.", code="cursor-malformed") from None


def link_to_next(call: Call, cursor: str) -> Header:
    """Return the header that leads from a page to the one after it."""
    again = {name: str(value) for name, value in call.query.items() if name != "cursor"}
    return (b"link", f'<{call.path}?{urlencode({**again, "cursor": cursor})}>; rel="next"'.encode())


def _period(text: str) -> Period:
    if text not in _PERIODS:
        raise ValueError(f"this should be one of {', '.join(_PERIODS)}")
    return _PERIODS[text]


def _period_of(asked: Mapping[str, Any]) -> Period:
    if "as_of" not in asked:
        return asked.get("ended", Period.KEPT)  # type: ignore[no-any-return]
    if "ended" in asked:
        raise refusal_of(fault_in("ended", "not-together", "Say as_of or ended, not both."))
    return Period.ON_A_DAY


def _day(asked: Mapping[str, Any]) -> dict[str, Any]:
    day: date | None = asked.get("as_of")
    if day is None:
        return {}
    return {"as_of": day, "as_of_end": datetime.combine(day + timedelta(days=1), time(), tzinfo=UTC)}


def _last(after: Cursor | None, order: Order) -> dict[str, Any]:
    if after is None:
        return {}
    try:
        return {"after_rank": ranked(after.rank, order), "after_id": after.id}
    except (ValueError, OverflowError):
        raise Malformed("This cursor is not one of ours.", code="cursor-malformed") from None


def _cursor(text: str) -> Cursor:
    found = cursor_in(text, Cursor)
    if not 0 <= found.rank < 2**31:
        raise Malformed("This cursor is not one of ours.", code="cursor-malformed")
    return found


def _next(call: Call, last: Mapping[str, Any], order: Order) -> str:
    return cursor_text(Cursor(list_of(call), rank_of(last, order), UUID(str(last["id"]))))
