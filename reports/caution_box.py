"""The amber box before the work starts: each caution of the paper in full, and always last who has the last word."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from reports.cautions import ALWAYS_LAST, Caution, in_order
from reports.fonts import Face
from reports.ink import Ink
from reports.page import BODY_SIZE, CAUTION_GROUND, LEADING, Paper
from reports.text import Line, lines

_pad = 8.0
_gutter = 74.0
_heading = 14.0


class _Entry(NamedTuple):
    word: tuple[Line, ...]
    sentence: tuple[Line, ...]

    @property
    def height(self) -> float:
        return LEADING * max(len(self.word), len(self.sentence)) + 2


def draw_cautions(paper: Paper, ids: Iterable[str]) -> None:
    """Draw the box; one too long for the page goes on in another on the next."""
    entries = [_entry(each, width=paper.width) for each in in_order(ids)]
    entries.append(_Entry((), _sentence(ALWAYS_LAST, width=paper.width - 2 * _pad)))
    while entries:
        paper.need(_heading + 2 * _pad + entries[0].height)
        fit = _entries_that_fit(entries, room=paper.room - _heading - 2 * _pad)
        _draw_box(paper, entries[:fit])
        entries = entries[fit:]


def _entry(caution: Caution, *, width: float) -> _Entry:
    return _Entry(
        lines(caution.word, face=Face.BOLD, size=BODY_SIZE, width=_gutter - 6, most=3),
        _sentence(caution.sentence, width=width - 2 * _pad - _gutter),
    )


def _sentence(text: str, *, width: float) -> tuple[Line, ...]:
    return lines(text, face=Face.REGULAR, size=BODY_SIZE, width=width)


def _entries_that_fit(entries: Sequence[_Entry], *, room: float) -> int:
    used = 0.0
    for number, entry in enumerate(entries):
        used += entry.height
        if used > room:
            # The last word is never alone on the next page.
            is_last = number == len(entries) - 1
            return max(number - 1 if is_last else number, 1)
    return len(entries)


def _draw_box(paper: Paper, entries: Sequence[_Entry]) -> None:
    height = _heading + sum(entry.height for entry in entries) + 2 * _pad - 4
    paper.canvas.setFillColor(CAUTION_GROUND)
    paper.canvas.rect(paper.left, paper.y - height, paper.width, height, stroke=0, fill=1)
    ink = paper.ink()
    y = paper.y - _pad - BODY_SIZE
    ink.tag("P")
    for line in lines("Before you start", face=Face.BOLD, size=9.5, width=paper.width):
        ink.write(line, x=paper.left + _pad, y=y, size=9.5)
    y -= _heading
    for entry in entries:
        _write_entry(ink, entry, x=paper.left + _pad, y=y)
        y -= entry.height
    ink.dry(paper.canvas)
    paper.skip(height + 10)


def _write_entry(ink: Ink, entry: _Entry, *, x: float, y: float) -> None:
    ink.tag("P")
    for number, line in enumerate(entry.word):
        ink.write(line, x=x, y=y - number * LEADING, size=BODY_SIZE)
    for number, line in enumerate(entry.sentence):
        ink.write(line, x=x + (_gutter if entry.word else 0), y=y - number * LEADING, size=BODY_SIZE)
