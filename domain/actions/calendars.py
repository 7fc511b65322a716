"""Calendars that people subscribe to: making one, ending one, and the reminders that it shows."""

from __future__ import annotations

from collections.abc import Mapping
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, ended, recorded, referred
from domain.errors import NotFound
from domain.records.base import table_of
from domain.records.belonging import at_reached_sites, beyond_reach
from domain.records.reminders import CalendarFeed, CalendarFeedStated, Reminder
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.permissions import Reach
from domain.rules.reminders import ReminderState

_reminder, _site = table_of(Reminder), table_of(Site)


def _shown(*conditions: sa.ColumnElement[bool]) -> Statement:
    return Statement(
        sa.select(_reminder, _site.c.name.label("site_name"))
        .select_from(
            _reminder.outerjoin(_site, sa.and_(_site.c.organisation_id == _reminder.c.organisation_id, _site.c.id == _reminder.c.site_id))
        )
        .where(
            _reminder.c.organisation_id == sa.bindparam("organisation_id"),
            _reminder.c.state != sa.literal(ReminderState.CLOSED.value, type_=sa.String()),
            *conditions,
        )
        .order_by(_reminder.c.due_on, _reminder.c.id)
    )


SHOWN_ANYWHERE = _shown()
"""What has not been done, noted or not, with the name of its site, by the day that it is due."""
SHOWN_AT_SITES = _shown(at_reached_sites(Reminder))
"""The same at some sites."""


def register_calendar_feed(
    unit: Unit, stated: CalendarFeedStated, *, staff_id: UUID, secret_sha256: str, reach: Reach, record_id: UUID | None = None
) -> CalendarFeed:
    """Make a calendar of a member of staff, who sees reminders within a reach, and return it.

    Raises:
        RuleBroken: There is no such site.
        NotAllowed: It is a site whose reminders that person does not see.
    """
    if stated.site_id is not None:
        referred(unit, Site, stated.site_id, field="site_id")
        if not reach.covers(stated.site_id):
            raise beyond_reach(Site)
    return recorded(unit, CalendarFeed, stated, record_id=record_id, staff_id=staff_id, secret_sha256=secret_sha256)


def end_calendar_feed(unit: Unit, feed_id: UUID, ending: Ending, *, staff_id: UUID) -> CalendarFeed:
    """End one of a person's own calendars, whose address leads nowhere from the next request on, and return it.

    Raises:
        NotFound: That person has no such calendar.
        Conflict: It has ended already.
    """
    found = unit.fetch(CalendarFeed, feed_id)
    if found.staff_id != staff_id:
        raise NotFound("There is no such calendar.")
    return ended(unit, found, ending, today=unit.origin.at.date())


def reminders_within(reach: Reach) -> tuple[Statement, Mapping[str, object]]:
    """Return the statement for the reminders of what has not been done within a reach, and its parameters."""
    if reach.site_ids is None:
        return SHOWN_ANYWHERE, {}
    return SHOWN_AT_SITES, {"reach_site_ids": sorted(str(site_id) for site_id in reach.site_ids)}
