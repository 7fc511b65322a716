"""What a person or a file may fill the columns with."""

from __future__ import annotations

from datetime import date

import pytest

from domain.errors import RuleBroken
from domain.records.base import Stated
from domain.records.columns import NAME_LENGTH, NOTE_LENGTH, Day, Name, Note, Passage
from domain.records.organisations import ApiKeyStated
from domain.records.stated import read_stated
from domain.records.statements import json_text

GROWS = "\N{MUSICAL SYMBOL EIGHTH NOTE}"
"""One character that is three when it is composed."""


class Leaf(Stated):
    name: Name = "x"
    note: Note = ""
    why: Passage = "x"
    on: Day | None = None


def faults(stated, *, kind=Leaf):
    with pytest.raises(RuleBroken) as refused:
        read_stated(kind, json_text(stated))
    return [(fault.pointer, fault.code) for fault in refused.value.faults]


@pytest.mark.parametrize("on", ["1900-01-01", "2024-02-29", "2200-12-31"])
def test_a_day_is_written_as_year_month_and_day(on):
    assert read_stated(Leaf, json_text({"on": on})).on == date.fromisoformat(on)
    assert Leaf(on=date.fromisoformat(on)).on == date.fromisoformat(on)


@pytest.mark.parametrize(
    "on",
    ["1740787200", "20131200", "20250301", "2025-3-1", "2025-03-01T00:00:00", " 2025-03-01", "2025-W09-6", "2025-02-29", "", "٢٠٢٥-٠٣-٠١"],
)
def test_any_other_text_is_no_day(on):
    assert faults({"on": on}) == [("/on", "not-date")]


@pytest.mark.parametrize("on", [1740787200, 20250301, 1.5, True, [], {}])
def test_what_is_no_text_is_no_day(on):
    assert faults({"on": on}) == [("/on", "not-date")]


@pytest.mark.parametrize("on", ["1899-12-31", "2201-01-01"])
def test_a_slip_of_the_pen_is_no_year(on):
    assert faults({"on": on}) == [("/on", "date-unlikely")]


@pytest.mark.parametrize(("on", "code"), [("1740787200", "not-date"), ("9999-01-01", "date-unlikely")])
def test_a_key_expires_on_such_a_day(on, code):
    assert faults({"name": "a", "access": "read", "expires_on": on}, kind=ApiKeyStated) == [("/expires_on", code)]


@pytest.mark.parametrize("why", [" \n\t ", "\ufe0f"])
def test_in_a_passage_something_has_to_be_said(why):
    assert faults({"why": why}) == [("/why", "required")]


def test_a_passage_may_have_several_lines():
    assert faults({"why": ""}) == [("/why", "string-too-short")]
    assert read_stated(Leaf, json_text({"why": " Lock the door.\r\nTwice. "})).why == "Lock the door.\nTwice."


@pytest.mark.parametrize(("field", "most"), [("name", NAME_LENGTH), ("note", NOTE_LENGTH), ("why", NOTE_LENGTH)])
def test_a_text_is_measured_as_it_is_kept(field, most):
    fits = GROWS * (most // 3)

    assert len(getattr(read_stated(Leaf, json_text({field: fits})), field)) <= most
    assert faults({field: GROWS * most}) == [(f"/{field}", "string-too-long")]
    assert faults({field: "x" * (most + 1)}) == [(f"/{field}", "string-too-long")]
