"""What is measured on animals, in which unit; and whether a value looks as if it had been said in another unit.

Masses are kept in grams and lengths in millimetres. A slip of the unit or of the decimal point makes a value wrong by a known factor, which
real change hardly ever is. So a value is asked back where it is far from what the measurement beside it lets expect, and would be as
expected in another unit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from math import log

DAYS_A_YEAR = 365.25
USUAL_YEARS, FASTEST_YEARS = 1.5, 4.0
"""For how long growth is reckoned with: nothing grows on like this until it is old, and a slip by 28 should not pass for growth ever."""
MOST_EXPLANATIONS = 2


class MeasureKind(StrEnum):
    """What is measured: the mass [g], or a length [mm] along a named line."""

    MASS = "mass"
    STRAIGHT_CARAPACE_LENGTH = "straight_carapace_length"
    CURVED_CARAPACE_LENGTH = "curved_carapace_length"
    CARAPACE_WIDTH = "carapace_width"
    PLASTRON_LENGTH = "plastron_length"
    SHELL_HEIGHT = "shell_height"
    SNOUT_VENT_LENGTH = "snout_vent_length"
    TAIL_LENGTH = "tail_length"
    TOTAL_LENGTH = "total_length"
    STANDARD_LENGTH = "standard_length"
    FORK_LENGTH = "fork_length"
    EGG_LENGTH = "egg_length"
    EGG_WIDTH = "egg_width"

    @property
    def field(self) -> str:
        """The field that a value of this kind is said in; it ends in the unit."""
        return "mass_g" if self is MeasureKind.MASS else "length_mm"

    @property
    def unit(self) -> str:
        """The unit that values of this kind are kept in."""
        return self.field.rpartition("_")[2]


@dataclass(frozen=True, slots=True)
class Measured:
    """A value [g or mm] and the day on which it was measured."""

    value: float
    on: date


@dataclass(frozen=True, slots=True)
class Course:
    """How a measure changes, as factors: what happens from one day to the next, how it grows in a year, and how it grows in the young."""

    at_once: float
    usual_a_year: float
    fastest_a_year: float


MASSES = Course(2.0, 4.0, 10.0)
"""Meals, water or a clutch that is laid can double a mass or halve it within days. Hatchlings can grow tenfold in a year."""
LENGTHS = Course(1.5, 4.0 ** (1 / 3), 10.0 ** (1 / 3))
"""Lengths grow as the cube root of the mass; a tail that is thrown off shortens an animal by a third."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """A way to be wrong by a factor, as it is put to whoever measured, for a value that came out too small and for one too large.

    In the sentences ``{number}`` is the value as it was said, ``{said}`` the same with its unit, and ``{meant}`` what it would then be.
    """

    factor: float
    too_small: str
    too_large: str


def _point(places: str) -> tuple[str, str]:
    return (
        f"with the decimal point {places} further right it would be {{meant}}",
        f"with the decimal point {places} further left it would be {{meant}}",
    )


def _converted(unit: str) -> tuple[str, str]:
    return f"{{number}} {unit} would be {{meant}}", f"{{meant}} taken for {unit} and converted would have become {{said}}"


MASS_MISTAKES = (
    Mistake(10.0, *_point("one place")),
    Mistake(28.349523125, *_converted("ounces")),
    Mistake(100.0, *_point("two places")),
    Mistake(453.59237, *_converted("pounds")),
    Mistake(1000.0, "{number} kilograms would be {meant}", "{number} milligrams would be {meant}"),
)
LENGTH_MISTAKES = (
    Mistake(10.0, "{number} centimetres would be {meant}", _point("one place")[1]),
    Mistake(25.4, *_converted("inches")),
    Mistake(100.0, *_point("two places")),
    Mistake(1000.0, "{number} metres would be {meant}", "{number} micrometres would be {meant}"),
)
"""Source: the pound is 0.453 592 37 kg and has 16 ounces, the inch is 25.4 mm (NIST Special Publication 811, appendix B)."""


@dataclass(frozen=True, slots=True)
class Slip:
    """A value that looks like a slip. ``least`` to ``most`` was to be expected by the measurement ``before``.

    ``meant`` are the mistakes that would explain it, each with the value that was meant then, the likeliest first. ``may_have_grown`` says
    that a young animal could have grown as fast as that.
    """

    kind: MeasureKind
    value: float
    before: Measured
    least: float
    most: float
    meant: tuple[tuple[Mistake, float], ...]
    may_have_grown: bool

    @property
    def sentence(self) -> str:
        """What was expected, what the value would be otherwise, and what to do."""
        unit = self.kind.unit
        was = f"On {self.before.on.isoformat()} it was {_as_said(self.before.value)} {unit}"
        instead = f"about {_rounded(self.least)} to {_rounded(self.most)} {unit} would be expected and not {_as_said(self.value)} {unit}"
        parts = [f"{was}, so {instead}", *(self._explained(*one) for one in self.meant[:MOST_EXPLANATIONS])]
        if self.may_have_grown:
            parts.append("or it has grown as fast as the young can, tenfold in mass in a year")
        return "; ".join(parts) + ". If the value is right as it is, send it again with confirmed true."

    def _explained(self, mistake: Mistake, meant: float) -> str:
        sentence = mistake.too_small if meant > self.value else mistake.too_large
        number, unit = _as_said(self.value), self.kind.unit
        return sentence.format(number=number, said=f"{number} {unit}", meant=f"{_rounded(meant)} {unit}")


def expected(kind: MeasureKind, before: Measured, *, on: date) -> tuple[float, float]:
    """Return the least and the most [g or mm] that may be measured on a day without a question, given another measurement.

    That one may be the later of the two: then the animal was smaller.
    """
    course = _course(kind)
    return _span(before, on=on, at_once=course.at_once, a_year=course.usual_a_year, at_most=USUAL_YEARS)


def unit_slip(value: Measured, before: Measured, *, kind: MeasureKind) -> Slip | None:
    """Return why a value is to be asked back, given the measurement of the same kind that is nearest by date; ``None`` where it is not.

    It is asked back where it is outside of what is expected, and one of the factors brings it inside and nearer to the other measurement
    than it is. What growth explains at the usual pace is therefore no slip; what only the fastest growth explains is asked back, and both
    explanations are said. A value that no factor explains is not judged here.
    """
    least, most = expected(kind, before, on=value.on)
    if least <= value.value <= most:
        return None
    mistakes = MASS_MISTAKES if kind is MeasureKind.MASS else LENGTH_MISTAKES
    otherwise = [(one, value.value * one.factor if value.value < least else value.value / one.factor) for one in mistakes]
    meant = sorted(_nearer(otherwise, value, before, least=least, most=most), key=lambda one: _distance(one[1], before.value))
    if not meant:
        return None
    course = _course(kind)
    slowest, fastest = _span(before, on=value.on, at_once=course.at_once, a_year=course.fastest_a_year, at_most=FASTEST_YEARS)
    return Slip(kind, value.value, before, least, most, tuple(meant), slowest <= value.value <= fastest)


def _nearer(
    otherwise: Iterable[tuple[Mistake, float]], value: Measured, before: Measured, *, least: float, most: float
) -> list[tuple[Mistake, float]]:
    far = _distance(value.value, before.value)
    return [(one, meant) for one, meant in otherwise if least <= meant <= most and _distance(meant, before.value) < far]


def _distance(one: float, other: float) -> float:
    return abs(log(one / other))


def _course(kind: MeasureKind) -> Course:
    return MASSES if kind is MeasureKind.MASS else LENGTHS


def _span(before: Measured, *, on: date, at_once: float, a_year: float, at_most: float) -> tuple[float, float]:
    years = min(abs((on - before.on).days) / DAYS_A_YEAR, at_most)
    most = at_once * a_year**years
    if on >= before.on:
        return before.value / at_once, before.value * most
    return before.value / most, before.value * at_once


def _rounded(value: float) -> str:
    """Return what was reckoned with three figures, never with an exponent."""
    return f"{Decimal(f'{value:.3g}'):f}"


def _as_said(value: float) -> str:
    """Return a value as it was said, never with an exponent."""
    return f"{Decimal(repr(value)):f}".removesuffix(".0")
