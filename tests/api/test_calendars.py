"""Reminders as iCalendar, read back by a parser that had no part in writing them, and by the rules of the standard."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from api.calendars import KIND_WORDS, LONGEST_SUMMARY, MOST_EVENTS, Feed, calendar_of
from domain.rules.permissions import Role
from domain.rules.reminders import ReminderKind, ReminderState
from domain.rules.text import kept_lines

FEED = Feed(1, "What is due", None, None)
SAID = "Not legal advice: local codes, the issuing authority and licensed practice come first."
HOSTILE = [
    'semicolon; comma, colon: backslash \\ and quote "',
    "BEGIN:VEVENT\nEND:VCALENDAR",
    "X\nATTENDEE:mailto:x",
    "ends with a backslash \\",
    "\\n is no newline",
    "水龟和蛙 " * 40,
    "🐍" * 80,
    "שלום עולם",
    "%0d%0aBEGIN:VALARM",
]


def reminder(**facts):
    least = {
        "subject": "site",
        "subject_id": UUID(int=7),
        "kind": ReminderKind.INSPECTION,
        "occurrence": "XR-1/visit/2025-03-10/1",
        "due_on": date(2026, 3, 29),
        "sentence": "Have the inspection made.",
        "state": ReminderState.OPEN,
        "deferred_until": None,
        "reason": None,
        "role": None,
        "changed_at": datetime(2026, 3, 1, 12, tzinfo=UTC),
        "site_name": "Reedmere House",
    }
    return {**least, **facts}


def read(content):
    """Return the events of a calendar as vobject reads them."""
    return list(vobject.readOne(content.decode()).contents.get("vevent", ()))


def refuse_malformed(content):
    """Fail where lines do not end as RFC 5545 wants, are longer than 75 octets, or say what no calendar of ours says."""
    assert content.endswith(b"\r\n")
    lines = content.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert b"\r" not in b"".join(lines)
    assert max(len(line) for line in lines) <= 75
    unfolded = content.replace(b"\r\n ", b"").split(b"\r\n")
    names = {line.partition(b":")[0].partition(b";")[0] for line in unfolded if line}
    assert names <= {
        *(b"BEGIN", b"END", b"PRODID", b"VERSION", b"NAME", b"X-WR-CALNAME", b"DESCRIPTION", b"REFRESH-INTERVAL", b"UID", b"DTSTAMP"),
        *(b"DTSTART", b"DTEND", b"SUMMARY", b"CATEGORIES", b"TRANSP", b"LOCATION"),
    }


def test_an_event_is_the_whole_day_at_its_site_with_all_that_is_to_be_known():
    content = calendar_of(FEED, [reminder()])

    [event] = read(content)
    refuse_malformed(content)
    assert (event.dtstart.value, event.dtend.value) == (date(2026, 3, 29), date(2026, 3, 30))
    assert event.summary.value == "Inspection: Have the inspection made."
    assert event.description.value == f"Have the inspection made.\nDue on 29 March 2026, by the date at Reedmere House.\n{SAID}"
    assert (event.location.value, event.dtstamp.value) == ("Reedmere House", datetime(2026, 3, 1, 12, tzinfo=UTC))
    assert b"DTSTART;VALUE=DATE:20260329\r\n" in content
    assert b"TZID" not in content


def test_an_occurrence_keeps_its_identifier_from_stage_to_stage_and_others_have_their_own():
    other = [{"occurrence": "2"}, {"subject_id": UUID(int=8)}, {"kind": ReminderKind.CHECK}, {"subject": "permit"}]
    first, moved = (read(calendar_of(FEED, [one]))[0] for one in (reminder(), reminder(due_on=date(2026, 4, 2), sentence="x")))
    others = {read(calendar_of(FEED, [reminder(**one)]))[0].uid.value for one in other}
    elsewhere = read(calendar_of(Feed(2, "What is due", None, None), [reminder()]))[0]

    assert first.uid.value == moved.uid.value
    assert len({first.uid.value, elsewhere.uid.value, *others}) == 6


def test_what_was_put_off_and_handed_over_says_so():
    put_off = {"state": ReminderState.DEFERRED, "deferred_until": date(2026, 3, 20), "reason": "the vet is away", "role": Role.CURATOR}

    [event] = read(calendar_of(FEED, [reminder(**put_off, site_name=None)]))

    lines = event.description.value.split("\n")
    assert lines[1:4] == ["Due on 29 March 2026.", "Put off until 20 March 2026: the vet is away", "Handed to: curator."]
    assert "location" not in event.contents


def test_equal_reminders_give_equal_bytes_and_a_calendar_of_kinds_has_those():
    rows = [reminder(), reminder(kind=ReminderKind.RENEWAL, occurrence="2")]

    assert calendar_of(FEED, rows) == calendar_of(FEED, rows)
    assert [one.categories.value for one in read(calendar_of(Feed(1, "x", None, {"renewal"}), rows))] == [["renewal"]]
    assert read(calendar_of(Feed(1, "x", None, {"drill"}), rows)) == []


def test_a_calendar_of_which_nothing_is_due_has_the_component_that_the_standard_asks_for():
    empty = calendar_of(FEED, [])

    assert [line for line in empty.split(b"\r\n") if line.startswith(b"BEGIN")] == [
        b"BEGIN:VCALENDAR",
        b"BEGIN:VTIMEZONE",
        b"BEGIN:STANDARD",
    ]
    assert vobject.readOne(empty.decode()).contents["vtimezone"][0].tzid.value == "UTC"
    assert b"VTIMEZONE" not in calendar_of(FEED, [reminder()])


def test_no_calendar_is_endless():
    rows = [reminder(occurrence=str(number)) for number in range(MOST_EVENTS + 1)]

    assert calendar_of(FEED, rows).count(b"BEGIN:VEVENT") == MOST_EVENTS


def test_every_kind_has_its_words():
    assert set(KIND_WORDS) == set(ReminderKind)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text(text):
    line = text.replace("\n", " ")
    put_off = {"state": ReminderState.DEFERRED, "reason": text, "deferred_until": date(2026, 4, 1)}

    content = calendar_of(Feed(1, line, None, None), [reminder(sentence=text, site_name=line, **put_off)])

    refuse_malformed(content)
    [event] = read(content)
    assert event.description.value.startswith(f"{text}\nDue on")
    assert f"Put off until 1 April 2026: {text}\n{SAID}" in event.description.value
    assert event.location.value == line
    assert len(event.summary.value) <= LONGEST_SUMMARY
    assert f"\r\n{content.decode()}".count("\r\nBEGIN:") == 2


def keepable(text):
    try:
        return kept_lines(text) == text
    except ValueError:
        return False


@given(st.text(max_size=200).filter(keepable), st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_whatever_can_be_kept_comes_back_as_it_was(text, due_on):
    content = calendar_of(FEED, [reminder(sentence=text, due_on=due_on)])

    refuse_malformed(content)
    [event] = Calendar.from_ical(content).walk("VEVENT")
    assert str(event["description"]).startswith(text)
    assert event["dtstart"].dt == due_on
    assert event["dtend"].dt - due_on == timedelta(days=1)
