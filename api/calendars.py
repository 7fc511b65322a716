"""Reminders as a calendar (RFC 5545): days without a time, since each is the date at its own site, whatever the zone of whoever looks."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from icalendar import Calendar, Event, Timezone, TimezoneStandard

from domain.rules.calendar import in_words
from domain.rules.law.decision import DISCLAIMER
from domain.rules.reminders import ReminderKind, ReminderState

CALENDAR = b"text/calendar; charset=utf-8"
MOST_EVENTS = 5000
"""On one calendar, those that are due first."""
FETCH_EVERY = timedelta(hours=6)
LONGEST_SUMMARY = 100
"""Characters of a heading; the description has all."""
KIND_WORDS: Mapping[ReminderKind, str] = {
    ReminderKind.RENEWAL: "Renewal",
    ReminderKind.CONDITION: "Condition of a permit",
    ReminderKind.RETURN: "Return",
    ReminderKind.INSPECTION: "Inspection",
    ReminderKind.COMPETENCE: "Competence",
    ReminderKind.CHECK: "Check",
    ReminderKind.DRILL: "Drill",
    ReminderKind.RETENTION_END: "End of keeping",
    ReminderKind.REPLACEMENT: "Replacement",
    ReminderKind.HEAD_ROOM: "Permitted number",
    ReminderKind.LOAN: "Loan",
    ReminderKind.REPORT: "Report after a transfer",
    ReminderKind.QUARANTINE: "Quarantine",
    ReminderKind.ARRIVAL: "Arrival of a transfer",
}


@dataclass(frozen=True, slots=True)
class Feed:
    """A calendar as it is asked for: whose organisation's, its title, and the site and kinds that it is of, ``None`` for all."""

    organisation_id: int
    title: str
    site_id: UUID | None
    kinds: Collection[str] | None


def calendar_of(feed: Feed, reminders: Iterable[Mapping[str, Any]]) -> bytes:
    """Return the calendar of some reminders, each by column with ``site_name``, those that are due first before the others.

    Equal reminders give equal bytes. An occurrence keeps its identifier from stage to stage: calendars move it and do not double it.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Reedbed//Reminders//EN")
    calendar.add("version", "2.0")
    calendar.add("name", feed.title)
    calendar.add("x-wr-calname", feed.title)
    calendar.add("description", DISCLAIMER)
    calendar.add("refresh-interval", FETCH_EVERY, parameters={"VALUE": "DURATION"})
    chosen = (one for one in reminders if feed.kinds is None or one["kind"].value in feed.kinds)
    for one in islice(chosen, MOST_EVENTS):
        calendar.add_component(_event(feed, one))
    if not calendar.subcomponents:
        calendar.add_component(_utc())
    content: bytes = calendar.to_ical()
    return content


def _event(feed: Feed, one: Mapping[str, Any]) -> Event:
    event = Event()
    key = f"{feed.organisation_id}/{one['subject']}/{one['subject_id']}/{one['kind'].value}/{one['occurrence']}"
    event.add("uid", str(uuid5(NAMESPACE_URL, f"urn:reedbed:reminder:{key}")))
    event.add("dtstamp", one["changed_at"])
    event.add("dtstart", one["due_on"])
    event.add("dtend", one["due_on"] + timedelta(days=1))
    event.add("summary", _shortened(f"{KIND_WORDS[one['kind']]}: {one['sentence']}"))
    event.add("description", "\n".join(_description(one)))
    event.add("categories", [one["kind"].value])
    event.add("transp", "TRANSPARENT")
    if one["site_name"] is not None:
        event.add("location", one["site_name"])
    return event


def _utc() -> Timezone:
    """Return what a calendar without events has, since it has to have something (RFC 5545, 3.6) and this is not shown."""
    zone, always = Timezone(), TimezoneStandard()
    zone.add("tzid", "UTC")
    always.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 - by the standard, the local time of its own zone
    always.add("tzoffsetfrom", timedelta())
    always.add("tzoffsetto", timedelta())
    zone.add_component(always)
    return zone


def _description(one: Mapping[str, Any]) -> Iterable[str]:
    yield one["sentence"]
    yield f"Due on {in_words(one['due_on'])}" + (f", by the date at {one['site_name']}." if one["site_name"] is not None else ".")
    if one["state"] is ReminderState.DEFERRED:
        yield f"Put off until {in_words(one['deferred_until'])}: {one['reason']}"
    if one["state"] is ReminderState.ACKNOWLEDGED:
        yield "Somebody has taken note of it."
    if one["role"] is not None:
        yield f"Handed to: {one['role'].value}."
    yield DISCLAIMER


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_SUMMARY else f"{text[: LONGEST_SUMMARY - 1].rstrip()}…"
