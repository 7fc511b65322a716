"""Numbers as lists write them: with a decimal point or comma, thousands apart, and perhaps their unit behind them."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal, InvalidOperation
from typing import Any

from api.importing.targets import SPELLINGS, UNITS
from domain.actions.imports.rows import CellFault

_NUMBER = re.compile(r"(?P<sign>[-+−]?)\s*(?P<digits>[0-9][0-9., '’]*[0-9]|[0-9]|[.,][0-9]+)(?P<power>[eE][-+]?[0-9]{1,3})?\s*(?P<unit>.*)")
_GROUPED = re.compile(r"[1-9][0-9]{0,2}([., '’])[0-9]{3}(?:\1[0-9]{3})*")
_SPACED = re.compile(r"[1-9][0-9]{0,2}(?:[ '’][0-9]{3})+(?:[.,][0-9]+)?")
LENGTH_MOST = 60
"""The longest text that may be a number, its sign and unit included."""


class _NotPlain(Exception):  # noqa: N818 - carries the answer out of the parts of one reading
    def __init__(self, code: str, reason: str) -> None:
        super().__init__(reason)
        self.fault = CellFault(code, reason)


def number_of(cell: Any, *, decimal: str | None, point: bool, measure: str | None = None, unit: str | None = None) -> Decimal | CellFault:  # noqa: ANN401 - any cell
    """Return the number in a cell, in the unit of the column's name, or why there is none.

    ``decimal`` is the declared decimal sign; where none is declared, ``point`` says that a lone point is one. Without either, digits
    that may be thousands or decimals (1.234) are refused. ``unit`` is what bare numbers of the column are in; a unit in the cell wins.
    """
    try:
        return _number(cell, decimal=decimal, point=point, measure=measure, unit=unit)
    except _NotPlain as refused:
        return refused.fault


def quantity_of(
    cell: Any,  # noqa: ANN401 - any cell
    *,
    decimal: str | None,
    point: bool,
    measure: str,
    unit: str | None = None,
) -> tuple[Decimal, str | None] | CellFault:
    """Return the number in a cell as it is written and its unit, or why there is none; see ``number_of``.

    The unit is the cell's own, else ``unit``, and ``None`` where neither says one.
    """
    try:
        return _quantity(cell, decimal=decimal, point=point, measure=measure, unit=unit)
    except _NotPlain as refused:
        return refused.fault


def unit_named(text: str, *, measure: str | None) -> str | None:
    """Return the unit of a family that a text names in one of its spellings, ``None`` where it names none."""
    name = " ".join(text.casefold().rstrip(".").replace(" / ", "/").replace(" /", "/").replace("/ ", "/").split())
    if name in UNITS.get(measure or "", {}):
        return name
    return SPELLINGS.get(measure or "", {}).get(name)


def _number(cell: Any, *, decimal: str | None, point: bool, measure: str | None, unit: str | None) -> Decimal:  # noqa: ANN401 - any cell
    number, said = _quantity(cell, decimal=decimal, point=point, measure=measure, unit=unit)
    return number * UNITS[measure or ""][said] if said else number


def _quantity(
    cell: Any,  # noqa: ANN401 - any cell
    *,
    decimal: str | None,
    point: bool,
    measure: str | None,
    unit: str | None,
) -> tuple[Decimal, str | None]:
    if isinstance(cell, int | float):
        return _finite(f"{cell:.15g}"), unit
    if not isinstance(cell, str):
        raise _not_a_number(str(cell))
    text = " ".join(unicodedata.normalize("NFKC", cell).split())
    found = _NUMBER.fullmatch(text) if len(text) <= LENGTH_MOST else None
    if found is None:
        raise _not_a_number(text[:LENGTH_MOST])
    if found["unit"]:
        unit = unit_named(found["unit"], measure=measure)
        if unit is None:
            raise _not_a_number(text)
    digits = _plain_digits(found["digits"], text, decimal=decimal, point=point)
    sign = "-" if found["sign"] in {"-", "−"} else ""
    return _finite(sign + digits + (found["power"] or "")), unit


def _plain_digits(digits: str, text: str, *, decimal: str | None, point: bool) -> str:
    if _SPACED.fullmatch(digits):
        digits = re.sub(r"[ '’]", "", digits)
    if decimal is None:
        decimal = _decimal_seen(digits, text, point=point)
    whole, _, rest = digits.partition(decimal)
    if not rest.isdigit() and rest:
        raise _not_a_number(text)
    if not whole.isdigit() and whole:
        grouping = "," if decimal == "." else "."
        grouped = _GROUPED.fullmatch(whole)
        if grouped is None or grouped[1] != grouping:
            raise _not_a_number(text)
        whole = whole.replace(grouping, "")
    return f"{whole or 0}.{rest}" if rest else whole or "0"


def _decimal_seen(digits: str, text: str, *, point: bool) -> str:
    if "," in digits and "." in digits:
        return "," if digits.rindex(",") > digits.rindex(".") else "."
    if digits.count(".") == 1 and point:
        return "."
    if _GROUPED.fullmatch(digits):
        raise _NotPlain(
            "number-ambiguous", f"{text} is ambiguous: thousands or decimals; declare the decimal sign in the mapping, [numbers] decimal"
        )
    return "," if "," in digits else "."


def _finite(text: str) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation as no_number:
        raise _not_a_number(text) from no_number
    if not number.is_finite():
        raise _not_a_number(text)
    return number


def _not_a_number(text: str) -> _NotPlain:
    return _NotPlain("not-a-number", f"{text} is not a number")
