"""What must be done by when: one list, and what people do about it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import BaseModel

from api.answers import of_record
from api.bodies import reminders as bodies
from api.bodies.records import with_disclaimer
from api.context import Call, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, get_one, id_parameter
from api.pages import Listing
from domain.actions.reminders import acknowledge_reminder, defer_reminder, hand_reminder
from domain.records.lists import Order
from domain.records.reminders import Acknowledgement, Deferral, Handing, Reminder
from domain.records.unit import Unit

PATH = "/v1/reminders"
ONE = f"{PATH}/{{reminder_id}}"
_SHOWN = with_disclaimer(bodies.Reminder)
_LISTING = Listing(
    Reminder,
    ("site_id", "kind", "state", "stage", "due_by", "role", "subject", "subject_id"),
    (Order.DUE, Order.ID),
)


async def get_reminder(call: Call) -> Answer:
    """Answer with one reminder, or 304 where the caller has this version."""
    return await get_one(call, Reminder, subject="reminder")


def _acknowledged(unit: Unit, call: Call, _: Acknowledgement) -> Reminder:
    return acknowledge_reminder(unit, call.ids[0])


def _deferred(unit: Unit, call: Call, said: Deferral) -> Reminder:
    return defer_reminder(unit, call.ids[0], said)


def _handed(unit: Unit, call: Call, said: Handing) -> Reminder:
    return hand_reminder(unit, call.ids[0], said)


def _door(verb: str, summary: str, body: type[BaseModel], act: Callable[[Unit, Call, Any], Reminder]) -> Door:
    def writes(call: Call) -> Answer:
        said = stated_in(call, body)
        return write(call, lambda unit: of_record(act(unit, call, said)))

    return Door(
        method="POST",
        path=f"{ONE}/{verb}",
        action=f"{verb}_reminder",
        operation_id=f"{verb}_reminder",
        summary=summary,
        tag="reminders",
        subject="reminder",
        answers=_SHOWN,
        writes=writes,
        body=body,
        parameters=[id_parameter("reminder_id"), IDEMPOTENCY_KEY],
        headers=["ETag"],
    )


DOORS = (
    Door(
        method="GET",
        path=PATH,
        action="list_reminders",
        operation_id="list_reminders",
        summary="List what must be done by when",
        tag="reminders",
        subject="reminder",
        answers=bodies.ReminderPage,
        reads=_LISTING.page,
        query=_LISTING.readers,
        parameters=_LISTING.parameters,
        headers=["Link"],
    ),
    Door(
        method="GET",
        path=ONE,
        action="get_reminder",
        operation_id="get_reminder",
        summary="Get reminder",
        tag="reminders",
        subject="reminder",
        answers=_SHOWN,
        reads=get_reminder,
        parameters=[id_parameter("reminder_id"), IF_NONE_MATCH],
        headers=["ETag"],
    ),
    _door("acknowledge", "Say that somebody has taken note", Acknowledgement, _acknowledged),
    _door("defer", "Put off until a day, with the reason", Deferral, _deferred),
    _door("hand", "Hand to a role", Handing, _handed),
)
