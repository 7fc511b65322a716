"""Empty lists to be filled in: the headings that need no mapping, and in a workbook the words that may stand below them."""

from __future__ import annotations

import csv
from enum import StrEnum
from io import BytesIO, StringIO

import xlsxwriter

from api.importing.targets import TARGETS, UNITS, Cell, Target
from domain.records.nights import ImportKind

_HINTS = {
    Cell.LINE: "text",
    Cell.LINES: "text of any length",
    Cell.DATE: "date: a date cell, or text such as 2024-05-27",
    Cell.PART_DATE: "date, month or year as text: 2024-05-27, 2024-05 or 2024",
    Cell.YES_NO: "yes or no",
    Cell.QUANTITY: "number with its unit, such as 350 g; or the unit in the heading or in the column unit",
    Cell.NUMBER: "number",
    Cell.WHOLE_NUMBER: "whole number",
    Cell.MONEY: "amount in the organisation's currency",
    Cell.KIND: "one of the words below",
    Cell.WORDS: "words with commas or | between them",
    Cell.NUMBERED_NAMES: "names with | between them, each with = and a number behind it where it is limited: A = 12 | B",
    Cell.NUMBERS: "numbers with semicolons between them",
}
_WIDTH = 18


class TemplateForm(StrEnum):
    """The forms that a template comes in."""

    XLSX = "xlsx"
    CSV = "csv"


MEDIA_TYPES = {
    TemplateForm.XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    TemplateForm.CSV: "text/csv; charset=utf-8",
}


def template(kind: ImportKind, form: TemplateForm = TemplateForm.XLSX) -> bytes:
    """Return an empty list of a kind: a workbook whose second sheet says what may stand in each column, or CSV in UTF-8."""
    return _workbook(kind) if form is TemplateForm.XLSX else _text(kind)


def _text(kind: ImportKind) -> bytes:
    written = StringIO(newline="")
    csv.writer(written).writerow([target.name for target in TARGETS[kind]])
    return written.getvalue().encode("utf-8-sig")


def _workbook(kind: ImportKind) -> bytes:
    made = BytesIO()
    workbook = xlsxwriter.Workbook(made, {"in_memory": True})
    bold, date = workbook.add_format({"bold": True}), workbook.add_format({"num_format": "yyyy-mm-dd"})
    text = workbook.add_format({"num_format": "@"})
    rows, words = workbook.add_worksheet(kind.value), workbook.add_worksheet("allowed values")
    rows.freeze_panes(1, 0)
    for place, target in enumerate(TARGETS[kind]):
        rows.write_string(0, place, target.name, bold)
        rows.set_column(place, place, _WIDTH, {Cell.DATE: date, Cell.LINE: text, Cell.PART_DATE: text}.get(target.cell))
        words.set_column(place, place, _WIDTH)
        words.write_string(0, place, target.name, bold)
        for line, word in enumerate(_allowed(target), start=1):
            words.write_string(line, place, word)
    workbook.close()
    return made.getvalue()


def _allowed(target: Target) -> list[str]:
    needed = "needed" if target.required else "may be left blank"
    units = [f"units: {', '.join(UNITS[target.measure])}"] if target.measure else []
    return [_HINTS[target.cell], needed, *units, *target.kinds]
