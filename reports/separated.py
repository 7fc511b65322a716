"""Rows as separated text for spreadsheets and programs: UTF-8 with BOM, RFC 4180, ISO dates.

A text cell that a spreadsheet would run as a formula begins with an apostrophe; JSON keeps texts as they are.
"""

import csv
from collections.abc import Iterable, Sequence
from datetime import date
from io import StringIO

_formula_starts = ("=", "+", "-", "@", "\t", "\r")


def separated(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return headings and rows; nothing is an empty cell, a truth is ``yes`` or ``no``, several texts are one with semicolons."""
    file = StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(headings)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return b"\xef\xbb\xbf" + file.getvalue().encode("utf-8", errors="replace")


def _cell(value: object) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case int():
            return str(value)
        case date():
            return value.isoformat()
        case tuple():
            return _text("; ".join(value))
        case _:
            return _text(str(value))


def _text(text: str) -> str:
    return f"'{text}" if text.startswith(_formula_starts) else text
