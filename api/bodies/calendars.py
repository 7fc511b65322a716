"""Shapes of calendars that people subscribe to."""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

from pydantic import Field

from api.bodies.records import Kept, New, Page
from api.bodies.sessions import Told
from domain.records.reminders import CalendarFeedStated


class NewCalendarFeed(New, CalendarFeedStated):
    """A calendar to be made."""


class CalendarFeed(Kept, CalendarFeedStated):
    """A calendar on file, without its address."""

    staff_id: Annotated[UUID, Field(description="Whose it is: it shows what this person may see.")]


class MadeCalendarFeed(CalendarFeed):
    """A calendar that was just made."""

    path: Annotated[
        Told | None,
        Field(
            description="Where it is, below the service's own address. Whoever knows it sees the calendar. "
            "Told once: null where the answer is given again for an Idempotency-Key."
        ),
    ]


class CalendarFeedPage(Page[CalendarFeed]):
    """One page of one's own calendars."""
