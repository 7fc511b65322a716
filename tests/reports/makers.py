"""The smallest valid sheet, and how a printed paper is read back."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields
from datetime import UTC, date, datetime
from io import BytesIO

import pdfplumber

from reports.due_list import DueRow, DueSheet, OrderLine
from reports.page import FOOTER, HEADER, TOP

TODAY = date(2026, 11, 24)


def due_row(**stated) -> DueRow:
    return DueRow(
        **{
            "number": 1,
            "equipment_id": "0190-1",
            "tag": "EQ-1",
            "place": "North House",
            "walking_order": None,
            "position": "001-C",
            "model": "Tube 54 W",
            "kind": "uv_lamp",
            "standing": "overdue",
            "section": "overdue",
            "needs": "replacement",
            "binding": "age",
            "because": "The age limit was reached on 21 November.",
            "reason": "12 months old, limit 9 months",
            "due_on": date(2026, 11, 21),
            "no_later_than": None,
            "do_on": None,
            "conflict": None,
            "order_by": None,
            "cautions": (),
            "spares_on_hand": 1,
            "spares_on_order": 0,
            "shelf": "B4",
            "supplier": "Lamp House",
            "missing": (),
        }
        | stated
    )


def order_line(**stated) -> OrderLine:
    return OrderLine(
        **{
            "supplier": "Lamp House",
            "model": "Tube 54 W",
            "quantity": 2,
            "order_by": date(2026, 11, 30),
            "lead_days": 10,
            "unit_cost_minor": 2395,
            "currency": "EUR",
            "tags": ("EQ-1",),
            "late": False,
        }
        | stated
    )


def due_sheet(*rows: DueRow, **stated) -> DueSheet:
    return DueSheet(
        **{
            "paper_id": "RDL-1",
            "organisation": "Example Animal Trust",
            "site": "North Campus",
            "address": "1 Reed Lane, Exampleton",
            "zone": "Pacific/Auckland",
            "today": TODAY,
            "data_as_of": datetime(2026, 11, 23, 12, 30, tzinfo=UTC),
            "generated_at": datetime(2026, 11, 23, 13, 0, tzinfo=UTC),
            "later_days": None,
            "rows": rows,
            "orders": (),
            "counts_good": 7,
        }
        | stated
    )


def with_text(text: str) -> DueSheet:
    """A sheet in which every text that people can type is this one."""
    row = dict.fromkeys(text_fields(DueRow), text) | {"cautions": (text,), "missing": (text,), "do_on": TODAY}
    row |= {"due_on": date(2026, 11, 28), "section": "within_14_days", "standing": "due_soon", "needs": "replacement"}
    order = dict.fromkeys(text_fields(OrderLine), text) | {"tags": (text,), "currency": "EUR"}
    sheet = dict.fromkeys(text_fields(DueSheet), text)
    return due_sheet(due_row(**row), **sheet, orders=(order_line(**order),))


def text_fields(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind) if field.type in {"str", "str | None", str, str | None})


@contextmanager
def opened(pdf: bytes) -> Iterator[pdfplumber.PDF]:
    with pdfplumber.open(BytesIO(pdf)) as paper:
        yield paper


def text_of(pdf: bytes) -> str:
    """The paper's text, line by line as it is read."""
    with opened(pdf) as paper:
        return "\n".join(page.extract_text() for page in paper.pages)


def letters_of(pdf: bytes) -> str:
    """Every character in the order it was written, so cell by cell, without white space."""
    with opened(pdf) as paper:
        return squeezed("".join(letter["text"] for page in paper.pages for letter in page.chars))


def squeezed(text: str) -> str:
    return "".join(text.split())


def in_body(letter: dict, *, height: float) -> bool:
    """Whether a character stands between header and footer, below the line that says what is continued."""
    return letter["top"] > TOP + HEADER + 16 and letter["bottom"] < height - FOOTER
