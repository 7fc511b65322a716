"""The replacement-due list, and its table alone, against drawing the very same strings on a bare canvas."""

from __future__ import annotations

import time
from datetime import date, timedelta
from io import BytesIO

import pytest
from pypdf import PdfReader
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from reports import text
from reports.due_list import due_list_pdf
from reports.fonts import Face, glyphs
from reports.page import Paper
from reports.tables import Column, Row, Setting, Table
from tests.benchmarks.figures import Figure, median
from tests.reports.makers import due_row, due_sheet
from tests.reports.test_page import furniture

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(1800)]

ROWS = 10_000
ROUNDS = 3
LIST_TARGET = 1.0
TABLE_TARGET = 1.0
LEFT, TOP, LEADING, ROW_HEIGHT, ROWS_ON_PAGE = 34, 780, 9, 13.2, 53
WIDTHS = {"id": 50, "tag": 60, "place": 90, "model": 100, "reason": 110, "due": 60, "care": 30, "n": 27}


def test_the_plain_table_prints_what_a_bare_canvas_prints(figures):
    rows = [cells(number) for number in range(ROWS)]
    ours, bare = zip(*[(timed(table_pdf, rows), timed(bare_pdf, rows)) for _ in range(ROUNDS)], strict=True)

    assert words_in(ours[0][1]) >= words_in(bare[0][1])
    report(figures, f"plain table of {ROWS} rows", ours, bare, target=TABLE_TARGET)


def test_the_due_list_prints_every_row_and_is_measured_against_its_own_texts(figures):
    sheet = due_sheet(*[item(number) for number in range(ROWS)])
    texts = drawn_texts(due_list_pdf(sheet))
    ours, bare = zip(*[(timed(due_list_pdf, sheet), timed(bare_lines_pdf, texts)) for _ in range(ROUNDS)], strict=True)

    assert {f"EQ-{number:05}" for number in range(ROWS)} <= words_in(ours[0][1])
    assert words_in(bare[0][1]) >= {f"EQ-{number:05}" for number in range(ROWS)}
    report(figures, f"due list of {ROWS} rows", ours, bare, target=LIST_TARGET)


def report(figures, name, ours, bare, *, target):
    """Add the figure: pages a second of ours, and the ratio for the same texts."""
    our_s, bare_s = median([seconds for seconds, _ in ours]), median([seconds for seconds, _ in bare])
    pages = len(PdfReader(BytesIO(ours[0][1])).pages)
    figures.add(
        Figure(
            name, "", f"{our_s:.2f} s", f"{bare_s:.2f} s", ratio=bare_s / our_s, target=target,
            note=f"processor time for the same texts; {pages} pages, {pages / our_s:.0f} pages/s",
        )
    )  # fmt: skip


def timed(draw, what):
    """Return the processor time that drawing takes with nothing remembered [s], and the PDF."""
    text._lines.cache_clear()
    text._runs.cache_clear()
    began = time.process_time()
    pdf = draw(what)
    return time.process_time() - began, pdf


def cells(number):
    return {
        "id": str(number),
        "tag": f"EQ-{number:05}",
        "place": ("North House", "Pond Hall", "Marsh Room")[number % 3],
        "model": ("UVB tube T5 54 W", "Halogen flood 100 W")[number % 2],
        "reason": f"run {1000 + number * 7 % 8000} h of 9 000 h",
        "due": f"{1 + number % 28} Nov 2026",
        "care": "UV",
        "n": str(number % 10),
    }


def item(number):
    due = date(2026, 11, 10) + timedelta(days=number % 28)
    section = "overdue" if due < date(2026, 11, 24) else "within_14_days"
    return due_row(
        number=number + 1,
        equipment_id=f"0190-{number}",
        tag=f"EQ-{number:05}",
        place=("North House", "Pond Hall", "Marsh Room")[number % 3],
        walking_order=number // 40,
        position=f"{number % 40:03}-C",
        model=("UVB tube T5 54 W", "Halogen flood 100 W")[number % 2],
        section=section,
        standing="overdue" if section == "overdue" else "due_soon",
        reason=f"run {1000 + number * 7 % 8000} h of 9 000 h",
        due_on=due,
        cautions=("ultraviolet",) if number % 2 else (),
    )


def table_pdf(rows):
    paper = Paper(furniture())
    columns = [Column(key, key, width) for key, width in WIDTHS.items()]
    setting = Setting(size=8, leading=LEADING, pad=2, lowest_row=ROW_HEIGHT)
    Table(columns, [Row(row) for row in rows], setting=setting).draw(paper, name="Items")
    return paper.finished()


def bare_pdf(rows):
    return on_bare_canvas(
        [
            (x, TOP - ROW_HEIGHT * place, row[key])
            for place, row in enumerate(rows[start : start + ROWS_ON_PAGE])
            for key, x in zip(WIDTHS, lefts(), strict=True)
        ]
        for start in range(0, len(rows), ROWS_ON_PAGE)
    )


def bare_lines_pdf(pages):
    return on_bare_canvas([(LEFT + place % 8 * 62, TOP - place // 8 * LEADING, line) for place, line in enumerate(page)] for page in pages)


def on_bare_canvas(pages):
    """Draw strings page by page, one call each, as the library's own manual does it."""
    glyphs(Face.REGULAR)
    file = BytesIO()
    canvas = Canvas(file, pagesize=A4, pageCompression=1, invariant=1, initialFontName=Face.REGULAR.value)
    for strings in pages:
        canvas.setFont(Face.REGULAR.value, 8)
        for x, y, string in strings:
            canvas.drawString(x, y, string)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def lefts():
    x = LEFT
    for width in WIDTHS.values():
        yield x
        x += width


def drawn_texts(pdf):
    """Return the strings on each page of a paper, each line of each cell for itself, as a reader finds them."""
    pages: list[list[str]] = []
    for page in PdfReader(BytesIO(pdf)).pages:
        strings: list[str] = []
        page.extract_text(visitor_text=lambda string, *_where, found=strings: found.append(string.strip()))
        pages.append([string for string in strings if string])
    return pages


def words_in(pdf):
    return {word for page in PdfReader(BytesIO(pdf)).pages for word in page.extract_text().split()}
