"""From a cell as the file shows it to the value that the column means, in the column's own unit: conversion happens here, at the door."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, TypeAlias

from api.importing.dates import date_in_part_of, date_of
from api.importing.mapping import Mapping
from api.importing.numbers import LENGTH_MOST, number_of, quantity_of
from api.importing.tables import JsonValue
from api.importing.targets import Cell, Target
from domain.actions.imports.rows import CellFault
from domain.rules.text import same_name

Reader: TypeAlias = Callable[[Any], Any]
_NO_BLANK_KIND = re.compile(r"[\s_-]+")
_SEPARATORS = re.compile(r"[;,|\n]")
_MONEY_SIGNS = re.compile(r"(?:[A-Za-z]{3}|[€$£¥])?\s*(?P<amount>[^A-Za-z€$£¥]+?)\s*(?:[€$£¥]|[A-Za-z]{3})?")
_LISTS = frozenset((Cell.WORDS, Cell.NUMBERED_NAMES, Cell.NUMBERS))
_YES_NO = {**dict.fromkeys(("yes", "y", "true", "1", "x", "✓"), True), **dict.fromkeys(("no", "n", "false", "0"), False)}
_COUNT = re.compile(r"[1-9][0-9]{0,6}")
WHOLE_MOST = 2**53


def values_of(cells: Sequence[Any], target: Target, *, mapping: Mapping) -> list[Any]:
    """Return a column's values: ``None`` where the cell is blank or means nothing, a ``CellFault`` where it cannot be read.

    Each distinct cell is read once.
    """
    read = _reader(target, mapping=mapping)
    meaning = {cell: read(cell) for cell in set(cells)}
    return [meaning[cell] for cell in cells]


def text_of(cell: Any) -> str:  # noqa: ANN401 - any cell
    """Return a cell as its text: whole numbers without the point that spreadsheets give them, dates as ISO dates."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, int | float):
        return _number_text(cell)
    if isinstance(cell, datetime) and cell.time() == time():
        return cell.date().isoformat()
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def _number_text(number: float) -> str:
    if number % 1 == 0:
        return f"{Decimal(number):.0f}"
    return f"{number:.15g}" if abs(number) < WHOLE_MOST else repr(number)


def _reader(target: Target, *, mapping: Mapping) -> Reader:
    read = _READERS[target.cell](target, mapping)
    meanings = mapping.values.get(target.name, {})
    default = mapping.defaults.get(target.name)

    blank = None if default is None else _named(read(default), target)
    has_words = bool(meanings or mapping.ignored)

    def meant(cell: Any) -> Any:  # noqa: ANN401 - any cell
        if isinstance(cell, str):
            if not cell or cell.isspace():
                return blank
            if has_words:
                key = same_name(cell)
                if key in mapping.ignored:
                    return blank
                cell = meanings.get(key, cell)
        if isinstance(cell, JsonValue) and (cell.parts is None or target.cell not in _LISTS):
            return _no_single_value(cell, target)
        return _named(read(cell), target)

    return meant


def _no_single_value(cell: JsonValue, target: Target) -> Any:  # noqa: ANN401 - a truth value or a fault
    if cell.written in {"true", "false"}:
        if target.cell is Cell.YES_NO:
            return _YES_NO[cell.written]
        return CellFault("not-text", f"{target.name} is {cell.written} where a text or a number is wanted; put it in quotation marks")
    return CellFault("not-one-value", f"{target.name} holds a list or an object where one value is wanted")


def _named(found: Any, target: Target) -> Any:  # noqa: ANN401 - any value
    if not isinstance(found, CellFault) or found.reason.startswith(target.name):
        return found
    return CellFault(found.code, f"{target.name} {found.reason}")


def _line(target: Target, mapping: Mapping) -> Reader:
    del target, mapping

    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        if isinstance(cell, str):
            return cell
        if isinstance(cell, int | float):
            return text_of(cell)
        return CellFault("not-text", f"{text_of(cell)} is a date or time where a text is wanted; format the column as text")

    return read


def _lines(target: Target, mapping: Mapping) -> Reader:
    del target, mapping
    return text_of


def _date(target: Target, mapping: Mapping) -> Reader:
    del target
    return lambda cell: date_of(cell, order=mapping.date_order)


def _part_date(target: Target, mapping: Mapping) -> Reader:
    del target
    return lambda cell: date_in_part_of(cell, order=mapping.date_order)


def _yes_no(target: Target, mapping: Mapping) -> Reader:
    del mapping
    unknown = CellFault(f"{target.name}-unknown", f"{target.name} unknown; it should be yes or no")
    return lambda cell: _YES_NO.get(same_name(text_of(cell)), unknown)


def _quantity(target: Target, mapping: Mapping) -> Reader:
    return lambda cell: quantity_of(
        cell, decimal=mapping.decimal, point=mapping.own_headings, measure=target.measure or "", unit=mapping.units.get(target.name)
    )


def _number(target: Target, mapping: Mapping) -> Reader:
    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        found = _decimal(cell, target=target, mapping=mapping)
        return float(found) if isinstance(found, Decimal) else found

    return read


def _whole_number(target: Target, mapping: Mapping) -> Reader:
    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        found = _decimal(cell, target=target, mapping=mapping)
        if not isinstance(found, Decimal):
            return found
        if found != found.to_integral_value() or abs(found) >= WHOLE_MOST:
            return CellFault("not-whole-number", f"{text_of(cell)} is not a whole number of this size")
        return int(found)

    return read


def _money(target: Target, mapping: Mapping) -> Reader:
    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        text = cell.strip() if isinstance(cell, str) else ""
        amount = _MONEY_SIGNS.fullmatch(text) if len(text) <= LENGTH_MOST else None
        return _decimal(amount["amount"] if amount else cell, target=target, mapping=mapping)

    return read


def _kind(target: Target, mapping: Mapping) -> Reader:
    del mapping
    kinds = {_plain_kind(word): meaning for word, meaning in target.kinds.items()}
    unknown = CellFault(f"{target.name}-unknown", f"{target.name} unknown; it should be one of {', '.join(target.kinds)}")
    return lambda cell: kinds.get(_plain_kind(text_of(cell)), unknown)


def _plain_kind(text: str) -> str:
    return _NO_BLANK_KIND.sub("-", same_name(text))


def _words(target: Target, mapping: Mapping) -> Reader:
    del mapping
    kinds = {_plain_kind(word): meaning for word, meaning in target.kinds.items()}

    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        parts = map(text_of, cell.parts or ()) if isinstance(cell, JsonValue) else _SEPARATORS.split(text_of(cell))
        words = tuple(word for part in parts if (word := _plain_kind(part)))
        if any(word not in kinds for word in words if kinds):
            return CellFault(f"{target.name}-unknown", f"{target.name} unknown; each should be one of {', '.join(target.kinds)}")
        return tuple(kinds.get(word, word) for word in words) or None

    return read


def _numbered_names(target: Target, mapping: Mapping) -> Reader:
    del mapping
    unfit = CellFault("not-whole-number", f"{target.name} has an equals sign without a whole number above 0 behind it")

    def one(part: str) -> tuple[str, int | None] | None:
        name, equals, number = (said.strip() for said in part.partition("="))
        if not equals:
            return name, None
        return (name, int(number)) if name and _COUNT.fullmatch(number) else None

    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        parts = map(text_of, cell.parts or ()) if isinstance(cell, JsonValue) else text_of(cell).split("|")
        found = [one(part) for part in parts if part.strip()]
        return unfit if None in found else tuple(found) or None

    return read


def _numbers(target: Target, mapping: Mapping) -> Reader:
    def read(cell: Any) -> Any:  # noqa: ANN401 - any cell
        parts = cell.parts or () if isinstance(cell, JsonValue) else [part for part in text_of(cell).split(";") if part.strip()]
        found = [_decimal(part, target=target, mapping=mapping) for part in parts]
        faults = [one for one in found if isinstance(one, CellFault)]
        return faults[0] if faults else tuple(float(one) for one in found if isinstance(one, Decimal)) or None

    return read


def _decimal(cell: Any, *, target: Target, mapping: Mapping) -> Decimal | CellFault:  # noqa: ANN401 - any cell
    return number_of(
        cell,
        decimal=mapping.decimal,
        point=mapping.own_headings,
        measure=target.measure,
        unit=mapping.units.get(target.name),
    )


_READERS: dict[Cell, Callable[[Target, Mapping], Reader]] = {
    Cell.LINE: _line,
    Cell.LINES: _lines,
    Cell.DATE: _date,
    Cell.PART_DATE: _part_date,
    Cell.YES_NO: _yes_no,
    Cell.QUANTITY: _quantity,
    Cell.NUMBER: _number,
    Cell.WHOLE_NUMBER: _whole_number,
    Cell.MONEY: _money,
    Cell.KIND: _kind,
    Cell.WORDS: _words,
    Cell.NUMBERED_NAMES: _numbered_names,
    Cell.NUMBERS: _numbers,
}
