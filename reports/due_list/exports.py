"""The replacement-due list for spreadsheets and programs, and the fingerprint of its record."""

import csv
import json
from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import UTC, date, datetime
from hashlib import sha256
from io import StringIO
from typing import Any

from reports.due_list.sheet import DueRow, DueSheet, OrderLine, listed, orders_listed

_row_columns = tuple(field.name for field in fields(DueRow))
_order_columns = tuple(field.name for field in fields(OrderLine))
_sheet_columns = tuple(field.name for field in fields(DueSheet))
_formula_starts = ("=", "+", "-", "@", "\t", "\r")


def due_list_csv(sheet: DueSheet) -> bytes:
    """Return the rows of the paper in the paper's order: UTF-8 with BOM, RFC 4180, ISO dates.

    A text cell that a spreadsheet would run as a formula begins with an apostrophe; JSON keeps texts as they are.
    """
    return _csv(sheet, _row_columns, listed(sheet))


def rows_csv(rows: Iterable[tuple[str, date, DueRow]]) -> bytes:
    """Return rows of several sites, each with its site and that site's date, written like ``due_list_csv``."""
    return _written(("site", "today", *_row_columns), ((site, today, *_values(row, _row_columns)) for site, today, row in rows))


def order_list_csv(sheet: DueSheet) -> bytes:
    """Return what to order by supplier and day, written like ``due_list_csv``."""
    return _csv(sheet, _order_columns, orders_listed(sheet))


def due_list_json(sheet: DueSheet) -> bytes:
    """Return the whole sheet as canonical JSON: sorted keys, no spaces, ASCII, ISO dates, instants in UTC with ``Z``.

    These are the bytes ``record_hash`` is taken of.
    """
    whole = {name: getattr(sheet, name) for name in _sheet_columns}
    whole["rows"] = [_record(row, _row_columns) for row in sheet.rows]
    whole["orders"] = [_record(order, _order_columns) for order in sheet.orders]
    return json.dumps(whole, sort_keys=True, separators=(",", ":"), ensure_ascii=True, default=_iso).encode("ascii")


def record_hash(sheet: DueSheet) -> str:
    """Return the SHA-256 [hex] of the sheet's JSON; equal sheets have equal hashes."""
    return sha256(due_list_json(sheet)).hexdigest()


def _record(row: DueRow | OrderLine, columns: Sequence[str]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in columns}


def _iso(value: object) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"a sheet holds no {type(value).__name__}")


def _csv(sheet: DueSheet, columns: Sequence[str], rows: Iterable[DueRow | OrderLine]) -> bytes:
    about = (sheet.paper_id, sheet.site, sheet.today)
    return _written(("paper_id", "site", "today", *columns), ((*about, *_values(row, columns)) for row in rows))


def _values(row: DueRow | OrderLine, columns: Sequence[str]) -> list[object]:
    return [getattr(row, name) for name in columns]


def _written(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
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
            return _iso(value)
        case tuple():
            return _text("; ".join(value))
        case _:
            return _text(str(value))


def _text(text: str) -> str:
    return f"'{text}" if text.startswith(_formula_starts) else text
