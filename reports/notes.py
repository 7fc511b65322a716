"""Notes too long for a cell: the cell refers to them by number, and they stand in full after the tables."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from reports.fonts import Face
from reports.page import BODY_SIZE, LEADING, SECTION_HEIGHT, Paper
from reports.tables import Phrase
from reports.text import Line, lines

LONGEST_IN_A_CELL: Final = 280  # characters

_note_characters = 5_000
_between = 10.0


class LongNote(NamedTuple):
    """A note too long for a cell, and what it is about."""

    about: str
    text: str


class Notes:
    """The notes that stand in full after the tables; a cell refers to one by its number."""

    def __init__(self) -> None:
        self.long: list[LongNote] = []

    def cell(self, text: str, *, about: str) -> tuple[Phrase, ...]:
        """Return a note as it stands in a cell."""
        if len(text) <= LONGEST_IN_A_CELL:
            return (Phrase(text),) if text else ()
        self.long.append(LongNote(about, text))
        return (Phrase(f"see note {len(self.long)}", Face.OBLIQUE),)


def draw_notes(paper: Paper, notes: Sequence[LongNote]) -> None:
    """Draw the notes that are too long for a cell, in full, under a heading of their own; nothing where there are none."""
    if not notes:
        return
    paper.need(SECTION_HEIGHT + 4 * LEADING)
    paper.section("Notes in full")
    for number, note in enumerate(notes, start=1):
        heading = lines(f"{number} · {note.about}", face=Face.BOLD, size=BODY_SIZE, width=paper.width)
        text = lines(note.text, face=Face.REGULAR, size=BODY_SIZE, width=paper.width, limit=_note_characters, most=_note_characters)
        paper.need((len(heading) + 2) * LEADING)
        for paragraph in (heading, text):
            with paper.tags.element("P"):
                _write_on_pages(paper, paragraph)
        paper.skip(_between / 2)
    paper.skip(_between / 2)


def _write_on_pages(paper: Paper, paragraph: Sequence[Line]) -> None:
    for line in paragraph:
        paper.need(LEADING)
        ink = paper.ink()
        ink.tag("Span")
        ink.write(line, x=paper.left, y=paper.y - BODY_SIZE, size=BODY_SIZE)
        ink.dry(paper.canvas)
        paper.skip(LEADING)
