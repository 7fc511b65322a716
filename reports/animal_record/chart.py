"""The line chart of an animal's mass: what was weighed as circles, a line where weighings follow one another closely enough."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import ceil, floor, log10
from typing import Final, NamedTuple

from reportlab.lib.colors import HexColor, white

from domain.rules.measures import MeasureKind
from reports import words
from reports.animal_record.compose import measured
from reports.animal_record.sheet import AnimalRecordSheet
from reports.fonts import Face
from reports.ink import INK, Ink
from reports.page import BODY_SIZE, LEADING, RULE, SMALL_SIZE, Paper
from reports.text import fitted, line_width, lines

LONGEST_LINE: Final = timedelta(days=366)
"""Between weighings further apart than this no line is drawn: nobody knows what lay between."""
HEIGHT: Final = 168.0  # with heading and axis [pt]

_curve: Final = HexColor(0x0B5C8A)
_left, _right = 46.0, 62.0
_heading = 34.0
_axis = 22.0
_most_ticks = 8
_crowded = 60
_month_steps = (1, 3, 6, 12, 24, 60, 120, 240)


class Weighing(NamedTuple):
    """A mass [g] on a day; ``surprising`` as in the sheet."""

    on: date
    grams: float
    surprising: bool


@dataclass(frozen=True, slots=True)
class Scale:
    """Where a value lies between the ends of an axis, and where its marks are."""

    low: float
    high: float
    marks: tuple[tuple[float, str], ...]

    def share(self, value: float) -> float:
        """Return how far along the axis the value lies [fraction]."""
        return (value - self.low) / (self.high - self.low)


def weighings(sheet: AnimalRecordSheet) -> tuple[Weighing, ...]:
    """Return the masses by day."""
    masses = [line for line in measured(sheet) if line.kind is MeasureKind.MASS and line.mass_g is not None]
    return tuple(Weighing(line.measured_on, line.mass_g or 0.0, line.surprising) for line in masses)


def mass_scale(known: Sequence[Weighing]) -> Scale:
    """Return the axis of mass: round marks, at most six, around all that was weighed."""
    low, high = min(one.grams for one in known), max(one.grams for one in known)
    step = _round_step((high - low or high) / 4)
    first, last = floor(low / step), ceil(high / step)
    last = max(last, first + 1)
    marks = tuple((number * step, words.number(float(f"{number * step:.9g}"))) for number in range(first, last + 1))
    return Scale(first * step, last * step, marks)


def _round_step(least: float) -> float:
    power = 10.0 ** floor(log10(least))
    return next(factor * power for factor in (1.0, 2.0, 2.5, 5.0, 10.0) if factor * power >= least)


def day_scale(known: Sequence[Weighing]) -> Scale:
    """Return the axis of days: marks at months or years where two to eight fit, else at the first and the last day."""
    first, last = known[0].on, known[-1].on
    low, high = float(first.toordinal()), float(max(last, first + timedelta(days=1)).toordinal())
    for step in _month_steps:
        marks = _months(first, last, step=step)
        if len(marks) in range(2, _most_ticks + 1):
            return Scale(low, high, tuple((float(day.toordinal()), _month_words(day, step=step)) for day in marks))
    ends = (first, last) if last > first else (first,)
    return Scale(low, high, tuple((float(day.toordinal()), words.short_date(day)) for day in ends))


def _months(first: date, last: date, *, step: int) -> list[date]:
    start = first.year * 12 + first.month - 1
    end = last.year * 12 + last.month - 1
    starts = [date(month // 12, month % 12 + 1, 1) for month in range(start, end + 1) if month % step == 0]
    return [day for day in starts if first <= day <= last]


def _month_words(day: date, *, step: int) -> str:
    return str(day.year) if step >= 12 else words.short_date(day).split("\u00a0", 1)[1]  # noqa: PLR2004 - months of a year


def stretches(known: Sequence[Weighing]) -> list[list[Weighing]]:
    """Return the weighings that a line joins: a new stretch begins after a gap longer than ``LONGEST_LINE``."""
    found = [[known[0]]]
    for earlier, later in pairwise(known):
        if later.on - earlier.on > LONGEST_LINE:
            found.append([])
        found[-1].append(later)
    return found


def draw_mass_chart(paper: Paper, known: Sequence[Weighing]) -> None:
    """Draw the chart across the page; it needs ``HEIGHT`` and two weighings."""
    masses, days = mass_scale(known), day_scale(known)
    top, bottom = paper.y - _heading, paper.y - HEIGHT + _axis
    left, right = paper.left + _left, paper.right - _right
    places = [(left + days.share(one.on.toordinal()) * (right - left), bottom + masses.share(one.grams) * (top - bottom)) for one in known]
    with paper.drawing(in_words(known), box=(paper.left, paper.y - HEIGHT, paper.right, paper.y)):
        ink = paper.ink()
        _write_heading(ink, paper, known)
        _draw_grid(paper, ink, masses, x=(left, right), y=(bottom, top))
        _draw_days(paper, ink, days, x=(left, right), y=bottom)
        _draw_curve(paper, known, places)
        _write_last(ink, known[-1], places[-1], right=right)
        ink.dry(paper.canvas)
    paper.skip(HEIGHT)


def in_words(known: Sequence[Weighing]) -> str:
    """Return what the chart shows to whoever does not see it."""
    lightest, heaviest = (choose(known, key=lambda one: one.grams) for choose in (min, max))
    ends = " to ".join(_weighing(one) for one in (known[0], known[-1]))
    return f"Line chart of {len(known)} weighings: {ends}; lightest {_weighing(lightest)}, heaviest {_weighing(heaviest)}."


def _weighing(one: Weighing) -> str:
    return f"{words.number(one.grams)} g on {words.short_date(one.on)}"


def _write_heading(ink: Ink, paper: Paper, known: Sequence[Weighing]) -> None:
    said = f"{len(known)} weighings, {words.short_date(known[0].on)} to {words.short_date(known[-1].on)}."
    if len(stretches(known)) > 1:
        said += " No line is drawn where more than a year lies between two."
    if any(one.surprising for one in known):
        said += " A diamond is a weighing that was unusual, and confirmed."
    for number, line in enumerate(lines(said, face=Face.REGULAR, size=BODY_SIZE, width=paper.width, most=2)):
        ink.write(line, x=paper.left, y=paper.y - 8 - number * LEADING, size=BODY_SIZE)


def _draw_grid(paper: Paper, ink: Ink, masses: Scale, *, x: tuple[float, float], y: tuple[float, float]) -> None:
    canvas = paper.canvas
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    heights = [y[0] + masses.share(value) * (y[1] - y[0]) for value, _ in masses.marks]
    canvas.lines([(x[0], height, x[1], height) for height in heights])
    for height, (_, said) in zip(heights, masses.marks, strict=True):
        label = fitted(said, face=Face.REGULAR, size=SMALL_SIZE, width=_left - 6, tone="muted")
        ink.write(label, x=x[0] - 6 - line_width(label, size=SMALL_SIZE), y=height - 3, size=SMALL_SIZE)


def _draw_days(paper: Paper, ink: Ink, days: Scale, *, x: tuple[float, float], y: float) -> None:
    canvas = paper.canvas
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.8)
    places = [x[0] + days.share(day) * (x[1] - x[0]) for day, _ in days.marks]
    canvas.lines([(x[0], y, x[1], y), *((place, y, place, y - 3) for place in places)])
    for place, (_, said) in zip(places, days.marks, strict=True):
        label = fitted(said, face=Face.REGULAR, size=SMALL_SIZE, width=90, tone="muted")
        ink.write(label, x=place - line_width(label, size=SMALL_SIZE) / 2, y=y - 14, size=SMALL_SIZE)


def _draw_curve(paper: Paper, known: Sequence[Weighing], places: Sequence[tuple[float, float]]) -> None:
    canvas = paper.canvas
    canvas.setStrokeColor(_curve)
    canvas.setFillColor(white)
    canvas.setLineWidth(1.2)
    canvas.setLineJoin(1)
    path = canvas.beginPath()
    rest = iter(places)
    for stretch in stretches(known):
        path.moveTo(*next(rest))
        for _ in stretch[1:]:
            path.lineTo(*next(rest))
    canvas.drawPath(path, stroke=1, fill=0)
    radius = 1.3 if len(known) > _crowded else 2.2
    circles, diamonds = canvas.beginPath(), canvas.beginPath()
    for one, (x, y) in zip(known, places, strict=True):
        if one.surprising:
            _add_diamond(diamonds, x, y)
        else:
            circles.circle(x, y, radius)
    canvas.setLineWidth(0.9)
    canvas.drawPath(circles, stroke=1, fill=1)
    canvas.setStrokeColor(INK)
    canvas.drawPath(diamonds, stroke=1, fill=1)


def _add_diamond(path: object, x: float, y: float) -> None:
    reach = 3.6
    path.moveTo(x, y + reach)  # type: ignore[attr-defined]
    for corner in ((x + reach, y), (x, y - reach), (x - reach, y)):
        path.lineTo(*corner)  # type: ignore[attr-defined]
    path.close()  # type: ignore[attr-defined]


def _write_last(ink: Ink, last: Weighing, place: tuple[float, float], *, right: float) -> None:
    label = fitted(f"{words.number(last.grams)}\u00a0g", face=Face.BOLD, size=SMALL_SIZE, width=_right - 6)
    ink.write(label, x=right + 6, y=place[1] - 3, size=SMALL_SIZE)
