"""The paper of an incident: people first, then what has to be told by when."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from domain.rules.fitness import Hazard
from domain.rules.incidents import IncidentKind
from reports.cautions import CATALOGUE, of_incident
from reports.incident_sheet import ConcernedAnimal, ToldLine, incident_sheet_json, incident_sheet_pdf
from tests.reports.makers import incident_sheet, letters_of, notice_line, squeezed, text_of

HOSTILE = "<b>x</b> & ) Tj \\n 水 %s"


def test_people_come_first_and_each_kind_of_incident_has_its_own_caution():
    for kind in IncidentKind:
        first, *rest = of_incident(kind, [])
        assert (first, set(rest) <= set(CATALOGUE), len(rest) > 0) == ("people-first", True, True)


@pytest.mark.parametrize(("hazard", "told"), [(Hazard.VENOMOUS, True), (None, True), (Hazard.HARMLESS, False)])
def test_a_bite_of_what_may_be_venomous_is_told_to_be_an_emergency(hazard, told):
    assert ("venomous-bite" in of_incident(IncidentKind.BITE, [hazard])) is told


@pytest.mark.parametrize("kind", [IncidentKind.BITE, IncidentKind.INJURY, IncidentKind.ESCAPE])
def test_where_no_animal_is_entered_yet_it_may_have_been_a_venomous_one(kind):
    assert "venomous-bite" in of_incident(kind, [])


@pytest.mark.parametrize("kind", [IncidentKind.OUTAGE, IncidentKind.DEATH, IncidentKind.CONTAMINATION])
def test_what_hurts_nobody_by_an_animal_says_nothing_of_venom(kind):
    assert "venomous-bite" not in of_incident(kind, [])


@pytest.mark.parametrize("kind", [IncidentKind.BITE, IncidentKind.INJURY])
def test_a_wound_that_is_venomous_is_not_washed_and_of_one_that_may_be_that_is_said_first(kind):
    assert "venomous-bite" in of_incident(kind, [Hazard.VENOMOUS])
    assert "wound-care" not in of_incident(kind, [Hazard.HARMLESS, Hazard.VENOMOUS])
    assert "wound-care" in of_incident(kind, [Hazard.HARMLESS])
    assert CATALOGUE["wound-care"].sentence.startswith("Not if it may be venomous.")


def test_what_is_to_be_told_stands_with_its_time_at_the_site_its_source_and_room_to_write():
    said = text_of(incident_sheet_pdf(incident_sheet(notice_line())))

    for words in (
        "1 Mar 2026 21:00",
        "to be told",
        "Invented Act, s. 7 (fictional)",
        "who told, when",
        "Poison information",
        "Not legal advice",
    ):
        assert squeezed(words) in squeezed(said)


def test_what_was_missed_or_cannot_be_decided_is_said_in_words():
    late = notice_line(standing="missed", tell_by=datetime(2026, 2, 28, 22, 0, tzinfo=UTC))
    unsure = notice_line(standing="cannot_decide", missing=("life_stage",))

    said = squeezed(text_of(incident_sheet_pdf(incident_sheet(late, unsure, missing=("jurisdiction",)))))

    for words in ("NOT TOLD IN TIME", "CANNOT DECIDE", "Missing: life stage", "Cannot be decided: jurisdiction", "Tell it all the same"):
        assert squeezed(words) in said


@pytest.mark.parametrize(("hour", "late"), [(11, True), (13, False), (None, False)])
def test_what_cannot_be_decided_is_called_late_once_its_instant_has_passed(hour, late):
    at = None if hour is None else datetime(2026, 3, 1, hour, 0, tzinfo=UTC)

    said = text_of(incident_sheet_pdf(incident_sheet(notice_line(standing="cannot_decide", tell_by=at))))

    assert "CANNOT DECIDE" in said
    assert ("AND LATE" in said) is late


def test_to_whom_it_has_to_be_told_is_said_by_name_and_code():
    named, unknown = (text_of(incident_sheet_pdf(incident_sheet(notice_line(place=one, jurisdiction="XQ")))) for one in ("Arvenne", None))

    assert "Arvenne" in named
    assert all("XQ" in text for text in (named, unknown))


def test_whom_it_was_told_by_which_way_and_under_which_reference_stands_with_or_without_a_rule():
    at = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
    by_rule = ToldLine(told_to="Duty officer", told_at=at, way="telephone", reference="R-77", requirement="XR-INV-1")
    other = ToldLine(told_to="A neighbour", told_at=at, way="in person", reference=None, requirement=None)

    said = squeezed(text_of(incident_sheet_pdf(incident_sheet(told=(by_rule, other)))))

    for words in ("Told so far · 2", "Duty officer", "telephone", "R-77", "1 Mar 2026 10:00", "A neighbour", "in person", "no rule named"):
        assert squeezed(words) in said


def test_nothing_to_tell_is_said_and_not_left_blank():
    assert squeezed("ask nobody to be told of this") in squeezed(text_of(incident_sheet_pdf(incident_sheet())))


def test_hostile_text_stands_as_it_was_typed():
    animal = ConcernedAnimal(tag=HOSTILE, scientific_name=HOSTILE, rank="species", hazard=None, note=HOSTILE)
    texts = {"site": HOSTILE, "address": HOSTILE, "enclosure": HOSTILE, "account": HOSTILE, "outcome": HOSTILE}
    told = ToldLine(told_to=HOSTILE, told_at=datetime(2026, 3, 1, tzinfo=UTC), way=HOSTILE, reference=HOSTILE, requirement=None)
    sheet = incident_sheet(notice_line(title=HOSTILE, citation=HOSTILE, place=HOSTILE), animals=(animal,), told=(told,), **texts)

    assert letters_of(incident_sheet_pdf(sheet)).count(squeezed(HOSTILE)) >= 13


def test_equal_sheets_give_equal_bytes_and_the_json_holds_all():
    sheet = incident_sheet(notice_line())

    assert incident_sheet_pdf(sheet) == incident_sheet_pdf(incident_sheet(notice_line()))
    assert json.loads(incident_sheet_json(sheet))["notices"][0]["citation"] == "Invented Act, s. 7 (fictional)"
