"""Tables, fast: columns declared once, rows wrapped by a cached breaker, heights known before a page is made.

A page takes a range of the one list of rows, so nothing is copied; all rules of a page are one path.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Literal, NamedTuple

from reports.fonts import Face
from reports.ink import ALARM, INK, Ink
from reports.page import BODY_SIZE, HEAD_GROUND, LEADING, RULE, SMALL_SIZE, Paper
from reports.text import ELLIPSIS, MOST_LINES, Line, Tone, line_width, lines

MOST_CELL_LINES = 40  # so that a row stays lower than a page

_continued = 15.0
_bar = 3.0


@dataclass(frozen=True, slots=True)
class Column:
    """A column [pt]: ``box`` puts a tick box above its text, ``line`` a hairline left of it, to write behind."""

    key: str
    title: str
    width: float
    align: Literal["left", "right"] = "left"
    font: Face = Face.REGULAR
    box: bool = False
    line: bool = False

    @property
    def text_width(self) -> float:
        """What is left for text; figures set to the right keep clear of the next column [pt]."""
        return self.width - (6 if self.align == "left" else 14)


class Phrase(NamedTuple):
    """A text of a cell that has its own face or tone; each begins a line of its own."""

    text: str
    font: Face = Face.REGULAR
    tone: Tone = "ink"


Cell = str | tuple[Phrase, ...]


class Row(NamedTuple):
    """Cells by column key; ``act_now`` sets the bar left of the row, and the cells must say the same in words."""

    cells: Mapping[str, Cell]
    act_now: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """How a table is set [pt]; ``most_lines`` of one text stand in a cell."""

    size: float = BODY_SIZE
    leading: float = LEADING
    pad: float = 3.5
    lowest_row: float = 30.0
    tick: float = 13.0
    most_lines: int = MOST_LINES


_SetCell = tuple[Line, ...]


class Table:
    """Columns and rows, set and measured; drawn by ranges of rows."""

    def __init__(self, columns: Sequence[Column], rows: Sequence[Row], *, setting: Setting) -> None:
        self._columns = columns
        self._setting = setting
        self._lefts = tuple(accumulate((column.width for column in columns), initial=0.0))
        self._head = tuple(lines(column.title, face=Face.BOLD, size=SMALL_SIZE, width=column.text_width) for column in columns)
        self._texts = [(column.key, column.font, column.text_width) for column in columns]
        self._boxed = [number for number, column in enumerate(columns) if column.box]
        self._rows = rows
        self._cells = [self._set_row(row) for row in rows]
        self._heights = [self._height(cells) for cells in self._cells]
        self.head_height = 8.0 + 10.0 * max(len(cell) for cell in self._head)

    @property
    def least_height(self) -> float:
        """The room for the head and the rows that must stand with it: the first two, or all three of three [pt]."""
        together = len(self._rows) if len(self._rows) <= 3 else 2  # noqa: PLR2004
        return self.head_height + sum(self._heights[:together])

    def draw(self, paper: Paper, *, name: str) -> None:
        """Draw all rows, on as many pages as they take; a later page says of what it is the continuation."""
        if self._rows:
            with paper.tags.element("Table"):
                self._draw_pages(paper, name=name)

    def _draw_pages(self, paper: Paper, *, name: str) -> None:
        start = 0
        while start < len(self._rows):
            end = self._end_of_page(start, room=paper.room - self.head_height)
            if end == start:
                paper.new_page()
                self._say_continued(paper, name=name, start=start)
                end = max(start + 1, self._end_of_page(start, room=paper.room - self.head_height))
            self._draw_range(paper, start, end)
            start = end
            if start < len(self._rows):
                paper.new_page()
                self._say_continued(paper, name=name, start=start)

    def _set_row(self, row: Row) -> tuple[_SetCell, ...]:
        size, most = self._setting.size, self._setting.most_lines
        return tuple(
            [
                lines(cell, face=font, size=size, width=width, most=most)
                if isinstance(cell := row.cells.get(key, ""), str)
                else _set_phrases(cell, size=size, width=width, most=most)
                for key, font, width in self._texts
            ]
        )

    def _height(self, cells: tuple[_SetCell, ...]) -> float:
        setting = self._setting
        text = max(map(len, cells)) * setting.leading + 2 * setting.pad
        boxed = [len(cells[number]) * setting.leading + setting.tick + 2 * setting.pad for number in self._boxed]
        return max(setting.lowest_row, text, *boxed)

    def _end_of_page(self, start: int, *, room: float) -> int:
        """Return the end of the rows that fit, one less when that would leave a single row over."""
        end, used = start, 0.0
        while end < len(self._rows) and used + self._heights[end] <= room:
            used += self._heights[end]
            end += 1
        return end - 1 if end == len(self._rows) - 1 and end - start > 1 else end

    def _say_continued(self, paper: Paper, *, name: str, start: int) -> None:
        if start == 0:
            return
        ink = paper.ink()
        for line in lines(f"{name}, continued", face=Face.BOLD, size=9, width=paper.width, most=1, tone="muted"):
            ink.write(line, x=paper.left, y=paper.y - 8, size=9)
        ink.dry(paper.canvas)
        paper.skip(_continued)

    def _draw_range(self, paper: Paper, start: int, end: int) -> None:
        tops = list(accumulate(self._heights[start:end], lambda y, height: y - height, initial=paper.y))
        tops = [top - self.head_height for top in tops]
        self._draw_marks(paper, start, tops)
        ink = paper.ink()
        self._write_head(ink, paper, again=start > 0)
        for number, top in zip(range(start, end), tops[:-1], strict=True):
            with paper.tags.element("TR"):
                self._write_row(ink, paper, self._cells[number], top=top)
        ink.dry(paper.canvas)
        paper.y = tops[-1]

    def _write_head(self, ink: Ink, paper: Paper, *, again: bool) -> None:
        """Write the head; where it is written again on a later page, it is told no more than any repetition."""
        if again:
            self._write_titles(ink, paper, tagged=False)
        else:
            with paper.tags.element("TR"):
                self._write_titles(ink, paper, tagged=True)

    def _write_titles(self, ink: Ink, paper: Paper, *, tagged: bool) -> None:
        for cell, column, offset in zip(self._head, self._columns, self._lefts, strict=False):
            if tagged:
                ink.tag("TH")
            for number, line in enumerate(cell):
                x = paper.left + offset + 3
                if column.align == "right":
                    x += column.text_width - line_width(line, size=SMALL_SIZE)
                ink.write(line, x=x, y=paper.y - 12 - number * 10, size=SMALL_SIZE)

    def _write_row(self, ink: Ink, paper: Paper, cells: tuple[_SetCell, ...], *, top: float) -> None:
        setting, left = self._setting, paper.left
        size, leading = setting.size, setting.leading
        baseline = top - setting.pad - size
        for cell, column, offset in zip(cells, self._columns, self._lefts, strict=False):
            y = baseline - setting.tick - 1 if column.box else baseline
            if cell:
                ink.tag("TD")
            else:
                paper.tags.empty("TD")
            for line in cell:
                x = left + offset + 3
                if column.align == "right":
                    x += column.text_width - line_width(line, size=size)
                ink.write(line, x=x, y=y, size=size)
                y -= leading

    def _draw_marks(self, paper: Paper, start: int, tops: Sequence[float]) -> None:
        canvas = paper.canvas
        width = self._lefts[-1]
        canvas.setFillColor(HEAD_GROUND)
        canvas.rect(paper.left, tops[0], width, self.head_height, stroke=0, fill=1)
        self._draw_bars(paper, start, tops)
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        left, right = paper.left, paper.left + width
        uprights = [
            (left + offset, tops[0], left + offset, tops[-1])
            for column, offset in zip(self._columns, self._lefts, strict=False)
            if column.line
        ]
        canvas.lines([(left, top, right, top) for top in tops[1:]] + uprights)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.8)
        canvas.line(left, tops[0], right, tops[0])
        self._draw_boxes(paper, tops)

    def _draw_bars(self, paper: Paper, start: int, tops: Sequence[float]) -> None:
        path = paper.canvas.beginPath()
        for number, (top, bottom) in enumerate(pairwise(tops), start):
            if self._rows[number].act_now:
                path.rect(paper.left - _bar - 1, bottom + 1, _bar, top - bottom - 2)
        paper.canvas.setFillColor(ALARM)
        paper.canvas.drawPath(path, stroke=0, fill=1)

    def _draw_boxes(self, paper: Paper, tops: Sequence[float]) -> None:
        tick = self._setting.tick
        path = paper.canvas.beginPath()
        for column, offset in zip(self._columns, self._lefts, strict=False):
            if column.box:
                for top in tops[:-1]:
                    path.rect(paper.left + offset + 3, top - self._setting.pad - tick, tick, tick)
        paper.canvas.drawPath(path, stroke=1, fill=0)


def _set_phrases(phrases: tuple[Phrase, ...], *, size: float, width: float, most: int) -> _SetCell:
    whole = tuple(line for text, font, tone in phrases for line in lines(text, face=font, size=size, width=width, most=most, tone=tone))
    if len(whole) <= MOST_CELL_LINES:
        return whole
    return whole[: MOST_CELL_LINES - 1] + lines(ELLIPSIS, face=Face.BOLD, size=size, width=width)
