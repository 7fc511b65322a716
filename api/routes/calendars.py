"""One's own calendars of what is due, and the calendar itself as calendar programs fetch it: with its address for the only proof."""

from __future__ import annotations

import re
import secrets
from collections.abc import Sequence
from hashlib import sha256
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.answers import encode, etag, shown_record, told_once
from api.bodies import calendars as bodies
from api.calendars import CALENDAR, Feed, calendar_of
from api.context import Call, House, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from api.permissions import permitted
from api.signin import SECRET_BYTES, Caller, grants_in
from domain.actions.calendars import end_calendar_feed, register_calendar_feed, reminders_within
from domain.actions.recording import Ending
from domain.errors import NotFound
from domain.records.powers import POWERS_OF_CALENDAR
from domain.records.reminders import CalendarFeed
from domain.records.statements import Row, Statement
from domain.records.unit import Unit
from domain.rules.permissions import Powers, Reach

PATH = "/v1/calendar-feeds"
ONE = f"{PATH}/{{calendar_feed_id}}"
FEED = id_parameter("calendar_feed_id")
_SEEN_BY = "list_reminders"
"""The action whose reach a calendar has."""
_TOKEN = re.compile("rbc_([1-9][0-9]{0,18})_[A-Za-z0-9_-]{43}")
_LISTING = Listing(CalendarFeed, within="staff_id")

_TOKEN_PARAMETER = {"name": "token", "in": "path", "required": True, "schema": {"type": "string", "pattern": _TOKEN.pattern}}

router = APIRouter(tags=["calendars"])


async def list_own(call: Call) -> Answer:
    """Answer with a page of the caller's own calendars."""
    call.ids = (_own(call),)
    return await _LISTING.page(call)


async def get_own(call: Call) -> Answer:
    """Answer with one of the caller's own calendars."""
    call.ids = (_own(call), *call.ids)
    return await get_one(call, CalendarFeed, subject="calendar", within="staff_id")


def register(call: Call) -> Answer:
    """Make a calendar and tell where it is."""
    said = stated_in(call, bodies.NewCalendarFeed)
    token = f"rbc_{call.caller.organisation_id}_{secrets.token_urlsafe(SECRET_BYTES)}"
    reach = permitted(call.house.permissions.matrix, call.caller, _SEEN_BY)

    def act(unit: Unit) -> Answer:
        made = register_calendar_feed(unit, said, staff_id=_own(call), secret_sha256=_digest(token), reach=reach, record_id=said.id)
        place = (b"location", f"{PATH}/{made.id}".encode())
        headers = [etag(made.version), place]
        return told_once(shown_record(made), secret="path", text=f"/calendar/{token}.ics", status=201, headers=headers)  # noqa: S106 - its name

    return write(call, act)


def end(call: Call) -> Answer:
    """End one of the caller's own calendars."""
    ending = stated_in(call, Ending)

    def act(unit: Unit) -> Answer:
        ended = end_calendar_feed(unit, call.ids[0], ending, staff_id=_own(call))
        return Answer(encode(shown_record(ended)), headers=[etag(ended.version)])

    return write(call, act)


@router.get(
    "/calendar/{token}.ics",  # noqa: FAST003 - read from the request: whatever stands there is looked up, and none is malformed
    operation_id="get_calendar",
    summary="Get a calendar of what is due, as iCalendar (RFC 5545)",
    response_class=Response,
    openapi_extra={"parameters": [_TOKEN_PARAMETER]},
    responses={200: {"content": {"text/calendar": {"schema": {"type": "string"}}}}, 304: {"description": "The caller has this state"}},
)
async def get_calendar(request: Request) -> Response:
    """Answer with what whoever made the calendar may see now.

    Raises:
        NotFound: There is none at this address, it has ended, or its holder may see none; which of these is not said.
    """
    house: House = request.app.state.house
    caller, feed = await _asked(house, request.path_params["token"])
    house.limits.charge(caller, request.scope)
    reach = house.permissions.matrix.reach(caller.powers, _SEEN_BY)
    if reach is None:
        raise _no_calendar()
    content = calendar_of(feed, await _reminders(house, caller, _narrowed(reach, feed)))
    tag = f'"{sha256(content).hexdigest()[:32]}"'
    headers = [(b"etag", tag.encode())]
    if tag in request.headers.get("If-None-Match", ""):
        return Answer(status=304, headers=headers)
    return Answer(content, headers=[*headers, (b"content-disposition", b'inline; filename="reedbed.ics"')], media=CALENDAR)


async def _asked(house: House, token: str) -> tuple[Caller, Feed]:
    """Return the person in whose name a calendar is asked for, and the calendar."""
    found = _TOKEN.fullmatch(token)
    organisation_id = int(found[1]) if found else 0
    if not 0 < organisation_id < 1 << 63:
        raise _no_calendar()
    rows = await _rows(house, POWERS_OF_CALENDAR, organisation_id=organisation_id, secret_sha256=_digest(token))
    if not rows:
        raise _no_calendar()
    staff_id, name, *_ = rows[0]
    feed_id, title, site_id, kinds = rows[0][6:]
    powers = Powers(grants=grants_in(rows))
    caller = Caller(organisation_id, f"staff:{staff_id}", f"calendar:{feed_id}", name, powers, staff_id=staff_id)
    return caller, Feed(organisation_id, title, site_id, None if kinds is None else frozenset(kinds))


async def _reminders(house: House, caller: Caller, reach: Reach) -> Sequence[dict[str, Any]]:
    statement, bounds = reminders_within(reach)
    rows = await _rows(house, statement, organisation_id=caller.organisation_id, **bounds)
    keys = statement.on(house.store.dialect).keys
    return [dict(zip(keys, row, strict=True)) for row in rows]


async def _rows(house: House, statement: Statement, *, organisation_id: int, **parameters: Any) -> list[Row]:  # noqa: ANN401 - columns
    compiled = statement.on(house.store.dialect)
    return [compiled.python_row(row) for row in await house.store.read(statement, organisation_id=organisation_id, **parameters)]


def _narrowed(reach: Reach, feed: Feed) -> Reach:
    return reach if feed.site_id is None else reach.within(Reach(frozenset((feed.site_id,))))


def _no_calendar() -> NotFound:
    return NotFound("There is no such calendar.")


def _own(call: Call) -> Any:  # noqa: ANN401 - an id
    assert call.caller.staff_id is not None  # noqa: S101 - the actions are for people only
    return call.caller.staff_id


def _digest(token: str) -> str:
    return sha256(token.encode()).hexdigest()


DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_calendar_feeds",
        operation_id="list_calendar_feeds",
        summary="List one's own calendars",
        tag="calendars",
        subject="calendar",
        answers=bodies.CalendarFeedPage,
        reads=list_own,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="GET",
        path=ONE,
        action="get_calendar_feed",
        operation_id="get_calendar_feed",
        summary="Get one of one's own calendars",
        tag="calendars",
        subject="calendar",
        answers=bodies.CalendarFeed,
        reads=get_own,
        parameters=[FEED, IF_NONE_MATCH],
        headers=["ETag"],
    ),
    Door(
        method="POST",
        path=PATH,
        action="register_calendar_feed",
        operation_id="register_calendar_feed",
        summary="Make a calendar of one's own that calendar programs can subscribe to",
        tag="calendars",
        subject="calendar",
        answers=bodies.MadeCalendarFeed,
        status=201,
        writes=register,
        body=bodies.NewCalendarFeed,
        parameters=[IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
    Door(
        method="POST",
        path=f"{ONE}/end",
        action="end_calendar_feed",
        operation_id="end_calendar_feed",
        summary="End one of one's own calendars",
        tag="calendars",
        subject="calendar",
        answers=bodies.CalendarFeed,
        writes=end,
        body=Ending,
        parameters=[FEED, IDEMPOTENCY_KEY],
        headers=["ETag"],
    ),
)
