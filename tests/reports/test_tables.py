import random
import time
from io import BytesIO
from itertools import pairwise

import pytest
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from reports import text
from reports.fonts import Face, glyphs
from reports.page import ALARM, LYING, Paper
from reports.tables import MOST_CELL_LINES, Column, Phrase, Row, Setting, Table
from tests.reports.makers import in_body, opened, text_of
from tests.reports.test_page import furniture

COLUMNS = (Column("tick", "done", 40, box=True), Column("what", "what", 100), Column("write", "reading", 80, line=True))


def numbered(count, **stated):
    return [Row({"tick": str(number), "what": f"item {number:03}"}, **stated) for number in range(count)]


def printed(rows, *, columns=COLUMNS, setting=None, skip=0.0):
    paper = Paper(furniture())
    paper.skip(skip)
    Table(columns, rows, setting=setting or Setting()).draw(paper, name="Things")
    return paper.finished()


def rows_per_page(pdf):
    with opened(pdf) as paper:
        return [page.extract_text().count("item ") for page in paper.pages]


def is_alarm(rect):
    return rect["fill"] and pytest.approx(ALARM.rgb(), abs=0.01) == rect["non_stroking_color"]


def test_every_row_is_printed_once_and_in_order():
    said = text_of(printed(numbered(100)))

    found = [word for word in said.split() if word.isdigit() and len(word) == 3]
    assert found == [f"{number:03}" for number in range(100)]


def test_the_head_is_repeated_and_a_later_page_says_what_goes_on():
    with opened(printed(numbered(60))) as paper:
        said = [page.extract_text() for page in paper.pages]

    assert all("done what reading" in page for page in said)
    assert ["Things, continued" in page for page in said] == [False] + [True] * (len(said) - 1)


def test_no_row_is_left_alone_on_the_last_page():
    full = rows_per_page(printed(numbered(100)))[0]

    assert rows_per_page(printed(numbered(full))) == [full]
    assert rows_per_page(printed(numbered(full + 1))) == [full - 1, 2]
    assert rows_per_page(printed(numbered(full + 2))) == [full, 2]


def test_rows_are_high_enough_to_write_on():
    with opened(printed(numbered(5))) as paper:
        heights = sorted({line["top"] for line in paper.pages[0].lines if line["width"] > 150})

    gaps = [below - above for above, below in pairwise(heights[1:])]
    assert min(gap for gap in gaps[:4]) >= 28


def test_a_tick_box_is_at_least_twelve_points_wide_and_its_number_stands_below():
    with opened(printed(numbered(1))) as paper:
        page = paper.pages[0]
        box = next(rect for rect in page.rects if rect["width"] < 20 and not rect["fill"])
        number = next(letter for letter in page.chars if letter["text"] == "0" and letter["x0"] < 74)

    assert box["width"] >= 12
    assert box["height"] >= 12
    assert number["top"] >= box["bottom"] - 1


def test_rows_to_act_on_have_a_bar_and_others_have_none():
    rows = numbered(2, act_now=True) + numbered(3)

    with opened(printed(rows)) as paper:
        bars = [rect for rect in paper.pages[0].rects if is_alarm(rect)]

    assert len(bars) == 2


def test_columns_to_write_in_have_a_hairline():
    with opened(printed(numbered(4))) as paper:
        uprights = [line for line in paper.pages[0].lines if line["width"] == 0]

    assert [round(line["x0"]) for line in uprights] == [34 + 140]


def test_figures_set_to_the_right_end_at_one_place():
    columns = (Column("n", "n", 60, align="right"), Column("x", "x", 60))
    rows = [Row({"n": figure, "x": "x"}) for figure in ("7", "1234")]

    with opened(printed(rows, columns=columns)) as paper:
        ends = {
            round(letter["x1"], 1)
            for letter in paper.pages[0].chars
            if letter["text"] in {"7", "4"} and letter["x0"] < 90 and 60 < letter["top"] < 160
        }

    assert ends == {34 + 60 - 11}


def test_text_stays_inside_its_cell_however_it_is_spelt():
    hostile = ["W" * 500, "i" * 500, "水" * 90, "שלום " * 30, "q\u0323" * 90, "a b" * 90, "🐍" * 20]
    columns = tuple(Column(str(number), "head", width) for number, width in enumerate((30, 60, 90, 120)))
    rows = [Row({str(number): hostile[(number + shift) % len(hostile)] for number in range(4)}) for shift in range(7)]
    edges = [34, 64, 124, 214]

    with opened(printed(rows, columns=columns)) as paper:
        letters = [letter for page in paper.pages for letter in page.chars if in_body(letter, height=page.height)]

    assert len(letters) > 2_000
    for edge in edges:
        crossing = [letter for letter in letters if letter["x0"] < edge + 2.9 and letter["x1"] > edge - 2.9]
        assert crossing == []


def test_a_cell_is_never_higher_than_a_page():
    cell = tuple(Phrase("W" * 400) for _ in range(20))
    table = Table(COLUMNS, [Row({"what": cell})] * 2, setting=Setting())
    paper = Paper(furniture(), size=LYING)

    table.draw(paper, name="Things")

    assert table.least_height < 2 * paper.page_height
    assert MOST_CELL_LINES * Setting().leading + table.head_height + 30 < paper.page_height
    assert "…" in text_of(paper.finished())


def test_a_table_that_begins_low_goes_on_the_next_page_with_its_head():
    said = rows_per_page(printed(numbered(4), skip=690))

    assert said == [0, 4]


@pytest.mark.benchmark
def test_ten_thousand_rows_are_as_fast_as_a_bare_canvas():
    chance = random.Random(1)  # noqa: S311
    widths = {"id": 50, "tag": 60, "place": 90, "model": 100, "reason": 110, "due": 60, "care": 30, "n": 27}
    rows = [
        {
            "id": str(number),
            "tag": f"EQ-{number:05}",
            "place": chance.choice(["North House", "Pond Hall"]),
            "model": chance.choice(["UVB tube T5 54 W", "Halogen flood 100 W"]),
            "reason": f"run {chance.randint(1000, 9999)} h of 9 000 h",
            "due": f"{chance.randint(1, 28)} Nov 2026",
            "care": "UV",
            "n": str(chance.randint(0, 9)),
        }
        for number in range(10_000)
    ]

    ours, bare = zip(*[(_speed(_table_pages, rows, widths), _speed(_bare_pages, rows, widths)) for _ in range(3)], strict=True)

    assert max(ours) >= max(bare), f"{max(ours):.0f} against {max(bare):.0f} pages a second"


def _speed(draw, rows, widths):
    started = time.process_time()
    pages = draw(rows, widths)
    return pages / (time.process_time() - started)


def _table_pages(rows, widths):
    text._lines.cache_clear()
    text._runs.cache_clear()
    paper = Paper(furniture())
    columns = [Column(key, key, width) for key, width in widths.items()]
    setting = Setting(size=8, leading=9, pad=2, lowest_row=13.2)
    Table(columns, [Row(row) for row in rows], setting=setting).draw(paper, name="Items")
    pages = paper.canvas.getPageNumber()
    paper.finished()
    return pages


def _bare_pages(rows, widths):
    glyphs(Face.REGULAR)
    canvas = Canvas(BytesIO(), pagesize=A4, pageCompression=1, invariant=1, initialFontName=Face.REGULAR.value)
    for start in range(0, len(rows), 53):
        canvas.setFont(Face.REGULAR.value, 8)
        for number, row in enumerate(rows[start : start + 53]):
            x = 34
            for key, width in widths.items():
                canvas.drawString(x, 780 - 13.2 * number, row[key])
                x += width
        canvas.showPage()
    pages = canvas.getPageNumber() - 1
    canvas.save()
    return pages
