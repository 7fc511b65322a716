"""The replacement-due list for spreadsheets and programs."""

from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import date

from reports.canonical import canonical_json
from reports.due_list.sheet import DueRow, DueSheet, OrderLine, listed, orders_listed
from reports.separated import separated

_row_columns = tuple(field.name for field in fields(DueRow))
_order_columns = tuple(field.name for field in fields(OrderLine))


def due_list_csv(sheet: DueSheet) -> bytes:
    """Return the rows of the paper in the paper's order as separated text."""
    return _csv(sheet, _row_columns, listed(sheet))


def rows_csv(rows: Iterable[tuple[str, date, DueRow]]) -> bytes:
    """Return rows of several sites, each with its site and that site's date, written like ``due_list_csv``."""
    return separated(("site", "today", *_row_columns), ((site, today, *_values(row, _row_columns)) for site, today, row in rows))


def order_list_csv(sheet: DueSheet) -> bytes:
    """Return what to order by supplier and day, written like ``due_list_csv``."""
    return _csv(sheet, _order_columns, orders_listed(sheet))


def due_list_json(sheet: DueSheet) -> bytes:
    """Return the whole sheet as canonical JSON: sorted keys, no spaces, ASCII, ISO dates, instants in UTC with ``Z``.

    These are the bytes ``record_hash`` is taken of.
    """
    return canonical_json(sheet)


def _csv(sheet: DueSheet, columns: Sequence[str], rows: Iterable[DueRow | OrderLine]) -> bytes:
    about = (sheet.paper_id, sheet.site, sheet.today)
    return separated(("paper_id", "site", "today", *columns), ((*about, *_values(row, columns)) for row in rows))


def _values(row: DueRow | OrderLine, columns: Sequence[str]) -> list[object]:
    return [getattr(row, name) for name in columns]
