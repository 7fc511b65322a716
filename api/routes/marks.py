"""Marks: those of one animal, and all of them by their code."""

from __future__ import annotations

from api.bodies.marks import ChangedMark, Mark, MarkPage, NewMark
from api.doors import Door
from api.pages import Listing
from api.parts import Part
from domain.actions.marks import change_mark, end_mark, record_mark
from domain.records import animals, marks
from domain.rules.text import kept_line
from domain.rules.transponders import code_key

MARKS = Part(
    owner=animals.Animal,
    owner_path="/v1/animals",
    owner_parameter="animal_id",
    within="animal_id",
    path="marks",
    parameter="mark_id",
    singular="mark",
    plural="marks",
    record=marks.Mark,
    new=NewMark,
    changed=ChangedMark,
    kept=Mark,
    page=MarkPage,
    make=record_mark,
    change=change_mark,
    end=end_mark,
    filters=("kind",),
)


def _read_code(text: str) -> str:
    """Return the form in which codes are compared: one is found however its digits were set apart."""
    return code_key(kept_line(text))


ALL = Listing(marks.Mark, filters=("code", "kind"))
ALL.readers["code"] = _read_code
LIST_ALL = Door(
    method="GET",
    path="/v1/marks",
    action="list_all_marks",
    operation_id="list_all_marks",
    summary="List the marks of all animals: who bears a code, and who bore it",
    tag="marks",
    subject="mark",
    answers=MarkPage,
    reads=ALL.page,
    query=ALL.readers,
    parameters=ALL.parameters,
    headers=["Link"],
)
DOORS = [*MARKS.doors(), LIST_ALL]
