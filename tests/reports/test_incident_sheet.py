"""The paper of an incident: people first, then what has to be told by when."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from domain.rules.fitness import Hazard
from domain.rules.incidents import IncidentKind
from reports.cautions import CATALOGUE, of_incident
from reports.incident_sheet import ConcernedAnimal, incident_sheet_json, incident_sheet_pdf
from tests.reports.makers import incident_sheet, letters_of, notice_line, squeezed, text_of

HOSTILE = "<b>x</b> & ) Tj \\n 水 %s"


def test_people_come_first_and_each_kind_of_incident_has_its_own_caution():
    for kind in IncidentKind:
        first, *rest = of_incident(kind, [])
        assert (first, set(rest) <= set(CATALOGUE), len(rest) > 0) == ("people-first", True, True)


@pytest.mark.parametrize(("hazard", "told"), [(Hazard.VENOMOUS, True), (None, True), (Hazard.HARMLESS, False)])
def test_a_bite_of_what_may_be_venomous_is_told_to_be_an_emergency(hazard, told):
    assert ("venomous-bite" in of_incident(IncidentKind.BITE, [hazard])) is told


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


def test_nothing_to_tell_is_said_and_not_left_blank():
    assert squeezed("ask nobody to be told of this") in squeezed(text_of(incident_sheet_pdf(incident_sheet())))


def test_hostile_text_stands_as_it_was_typed():
    animal = ConcernedAnimal(tag=HOSTILE, scientific_name=HOSTILE, rank="species", hazard=None, note=HOSTILE)
    texts = {"site": HOSTILE, "address": HOSTILE, "enclosure": HOSTILE, "account": HOSTILE, "outcome": HOSTILE}
    sheet = incident_sheet(notice_line(title=HOSTILE, citation=HOSTILE), animals=(animal,), **texts)

    assert letters_of(incident_sheet_pdf(sheet)).count(squeezed(HOSTILE)) >= 9


def test_equal_sheets_give_equal_bytes_and_the_json_holds_all():
    sheet = incident_sheet(notice_line())

    assert incident_sheet_pdf(sheet) == incident_sheet_pdf(incident_sheet(notice_line()))
    assert json.loads(incident_sheet_json(sheet))["notices"][0]["citation"] == "Invented Act, s. 7 (fictional)"
