"""How the sections of an inspection file are drawn: numbered headings with their pages, tables, and what is not recorded."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from reports import words
from reports.fonts import Face
from reports.inspection_file.sheet import MOST_LINES_PRINTED
from reports.page import BODY_SIZE, SECTION_HEIGHT, Paper
from reports.tables import MOST_CELL_LINES, Column, Row, Setting, Table
from reports.text import lines

NOT_RECORDED: Final = "Not recorded in this system."
NONE: Final = "None on record."
IN_JSON: Final = "the JSON has all."
SECTIONS: Final = (
    "Site, period, open items and contents",
    "What is included, and what is not",
    "Stock summary",
    "Register of animals",
    "Permits",
    "Enclosures",
    "Environment",
    "Equipment",
    "Health",
    "Incidents, bites, inspections and findings",
    "Training and authorisations",
    "Exceptions",
    "Provenance",
    "Signatures",
)

_setting = Setting(pad=2.6, lowest_row=15.2, most_lines=MOST_CELL_LINES)
between = 10.0
_sub_height = 20.0


class Sections:
    """The file being drawn, and on which page each of its sections begins."""

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.pages: dict[int, int] = {}

    def begin(self, number: int, *above: str, room: float = 4 * BODY_SIZE) -> None:
        """Begin a section with sentences, and with ``room`` [pt] left below them."""
        self.paper.need(SECTION_HEIGHT + sum(map(self._height, above)) + room)
        self.pages[number] = self.paper.canvas.getPageNumber()
        self.paper.section(f"{number} · {SECTIONS[number - 1]}")
        self.say(*above)

    def _height(self, sentence: str) -> float:
        return len(lines(sentence, face=Face.REGULAR, size=BODY_SIZE, width=self.paper.width)) * BODY_SIZE * 1.3

    def room_for(self, rows: Sequence[Row], columns: Sequence[Column]) -> float:
        """Return the room [pt] for a table's heading and the rows that stand with it, so that what is above it never stands alone."""
        if not rows:
            return _sub_height + 3 * BODY_SIZE
        return _sub_height + Table(_as_wide(columns, self.paper.width), rows[:3], setting=_setting).least_height

    def say(self, *sentences: str) -> None:
        """Draw sentences, each a paragraph."""
        for sentence in sentences:
            self.paper.sentence(sentence, size=BODY_SIZE)

    def under(self, text: str, *, room: float = 3 * BODY_SIZE) -> None:
        """Draw a heading within a section."""
        self.paper.need(_sub_height + room)
        self.paper.skip(4)
        self.paper.sentence(text, size=BODY_SIZE + 1, face=Face.BOLD)
        self.paper.skip(2)

    def table(
        self,
        name: str,
        rows: Sequence[Row],
        columns: Sequence[Column],
        *,
        most: int = MOST_LINES_PRINTED,
        rest: str = IN_JSON,
        nothing: str = NONE,
        counted: bool = True,
    ) -> None:
        """Draw the first ``most`` rows under a heading of their own, and say how many are left off and where the ``rest`` is.

        The heading counts the rows, unless some of them are sums of others.
        """
        heading = f"{name} · {words.number(len(rows))}" if counted else name
        if not rows:
            self.under(heading)
            self.say(nothing)
            return
        self.rows(name, rows[:most], columns, heading=heading)
        if len(rows) > most:
            self.say(f"{words.number(len(rows) - most)} more are left off this paper; {rest}")

    def rows(self, name: str, rows: Sequence[Row], columns: Sequence[Column], *, heading: str | None = None) -> None:
        """Draw rows, with a heading that is never left alone at the foot of a page; nothing where there are none."""
        if not rows:
            return
        table = Table(_as_wide(columns, self.paper.width), rows, setting=_setting)
        if heading is not None:
            self.under(heading, room=table.least_height)
        self._draw(table, name)

    def begin_with(
        self, number: int, rows: Sequence[Row], columns: Sequence[Column], *, above: Sequence[str] = (), nothing: str = NONE
    ) -> None:
        """Begin a section that is a table, with sentences above it, so that its heading is never left alone; or say there is nothing."""
        if not rows:
            self.begin(number, *above, nothing)
            return
        table = Table(_as_wide(columns, self.paper.width), rows, setting=_setting)
        self.begin(number, *above, room=table.least_height)
        self._draw(table, SECTIONS[number - 1])

    def _draw(self, table: Table, name: str) -> None:
        self.paper.need(table.least_height)
        table.draw(self.paper, name=name)
        self.paper.skip(between / 2)


def _as_wide(columns: Sequence[Column], width: float) -> tuple[Column, ...]:
    """Return columns that share the whole ``width`` [pt] as their own widths are to each other."""
    scale = width / sum(column.width for column in columns)
    return tuple(replace(column, width=column.width * scale) for column in columns)
