"""From the bytes of a file to rows that an import can plan with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest
from typing import Any

from api.importing.archives import COLUMNS_MOST
from api.importing.cells import values_of
from api.importing.headings import Headings, headings_in
from api.importing.mapping import Mapping
from api.importing.tables import Table, refused, tables_in
from api.importing.targets import KEY_COLUMNS, TARGETS
from api.importing.totals import total_lines
from domain.actions.imports.rows import CellFault, ImportRows
from domain.records.nights import ImportKind


def rows_in(content: bytes, *, file_name: str, kind: ImportKind, mapping: Mapping) -> ImportRows:
    """Return the rows of a file, without blank rows and total lines. The mapping's word about a unit counts more than a heading's.

    Raises:
        RuleBroken: The file cannot be read, is beyond the caps, or lacks wanted headings.
    """
    table, headings = headings_in(tables_in(content, file_name=file_name, mapping=mapping), kind=kind, mapping=mapping)
    mapping = replace(mapping, units={**headings.units, **mapping.units})
    if headings.width > COLUMNS_MOST:
        raise refused("too-many-columns", f"The list has {headings.width} columns; at most {COLUMNS_MOST} are taken.")
    below = table.rows_from(headings.at + 1)
    filled = [index for index, row in enumerate(below) if _is_filled(row)]
    rows = [below[index] for index in filled]
    totals = _totals(rows, headings, kind=kind, mapping=mapping)
    items = [position for position in range(len(rows)) if position not in totals] if totals else range(len(rows))
    return _import_rows(
        table, headings, [rows[p] for p in items], [filled[p] for p in items], kind=kind, mapping=mapping, skipped=len(totals)
    )


def _is_filled(row: Sequence[Any]) -> bool:
    return any(not isinstance(cell, str) or cell.strip() for cell in row)


def _import_rows(
    table: Table, headings: Headings, rows: list[Sequence[Any]], indexes: list[int], *, kind: ImportKind, mapping: Mapping, skipped: int
) -> ImportRows:
    columns = _columns(rows, width=headings.width)
    cells = {name: columns[place] for name, place in headings.places.items()}
    blank = [""] * len(rows)
    targets = [target for target in TARGETS[kind] if target.name in cells or target.name in mapping.defaults]
    values = {target.name: values_of(cells.get(target.name, blank), target, mapping=mapping) for target in targets}
    if table.form == "text":
        _mark_long_rows(values[KEY_COLUMNS[kind]], rows, width=headings.width)
    first = table.first_row + headings.at + 1
    return ImportRows(
        kind=kind,
        columns=values,
        cells={target.name: cells.get(target.name, blank) for target in targets},
        headings={target.name: headings.titles.get(target.name, target.name) for target in targets},
        numbers=[first + index for index in indexes],
        indexes=indexes,
        skipped_totals=skipped,
        ignored_columns=headings.ignored,
    )


def _columns(rows: Sequence[Sequence[Any]], *, width: int) -> list[Sequence[Any]]:
    turned: list[Sequence[Any]] = list(zip_longest(*rows, fillvalue=""))
    return [*turned[:width], *([""] * len(rows) for _ in range(width - len(turned)))]


def _totals(rows: list[Sequence[Any]], headings: Headings, *, kind: ImportKind, mapping: Mapping) -> set[int]:
    def cells(name: str) -> list[Any]:
        place = headings.places[name]
        return [row[place] if place < len(row) else "" for row in rows]

    key = KEY_COLUMNS[kind]
    if key not in headings.places:
        return set()
    others = [cells(target.name) for target in TARGETS[kind] if target.required and target.name != key and target.name in headings.places]
    return total_lines(cells(key), others, rows, words=mapping.total_words, at_foot=mapping.totals_at_foot)


def _mark_long_rows(keys: list[Any], rows: Sequence[Sequence[Any]], *, width: int) -> None:
    for position, row in enumerate(rows):
        if len(row) > width and any(cell.strip() for cell in row[width:]):
            keys[position] = CellFault(
                "cells-beyond-headings", "the row has more cells than there are headings; a separator may stand in a text"
            )
