"""A workbook is measured before it is opened."""

from __future__ import annotations

import struct
import zipfile
from io import BytesIO

import pytest
import xlsxwriter

from api.importing.archives import COLUMNS_MOST, refuse_unsafe_workbook
from domain.errors import RuleBroken
from tests.importing.conftest import workbook


def packed(parts, *, method=zipfile.ZIP_DEFLATED):
    made = BytesIO()
    with zipfile.ZipFile(made, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return made.getvalue()


def refusal_of(content):
    with pytest.raises(RuleBroken) as refused:
        refuse_unsafe_workbook(content)
    assert refused.value.faults[0].pointer == "/file"
    return refused.value.code


def with_cell(*, row, column, empty=False):
    made = BytesIO()
    with xlsxwriter.Workbook(made) as book:
        sheet = book.add_worksheet()
        sheet.write(0, 0, "tag")
        if empty:
            sheet.write_blank(row, column, None, book.add_format({"bold": True}))
        else:
            sheet.write(row, column, "far")
    return made.getvalue()


def test_an_ordinary_workbook_passes():
    refuse_unsafe_workbook(workbook(["tag", "site"], ["RE-1", "Reedmere House"]))


def test_a_bomb_is_refused_by_what_it_declares():
    assert refusal_of(packed({"xl/workbook.xml": b"0" * 30_000_000})) == "workbook-too-large"


def test_a_bomb_is_refused_by_what_is_measured_when_its_headers_lie():
    content = bytearray(packed({"xl/workbook.xml": b"0" * 30_000_000}))
    directory = content.rindex(b"PK\x01\x02")
    struct.pack_into("<I", content, directory + 24, 10)
    struct.pack_into("<I", content, 22, 10)

    assert zipfile.ZipFile(BytesIO(bytes(content))).infolist()[0].file_size == 10
    assert refusal_of(bytes(content)) == "workbook-too-large"


def test_too_many_parts_are_refused():
    assert refusal_of(packed({f"xl/{number}.xml": b"" for number in range(1001)})) == "workbook-too-large"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"PK\x03\x04 and nothing more", "workbook-broken"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"0" * 1000, "workbook-locked"),
        (packed({"letter.txt": b"hello"}), "not-a-workbook"),
        (packed({"mimetype": "", "content.xml": "<x/>", "xl/workbook.xml": "<x/>"}), "not-a-workbook"),
        (packed({"xl/workbook.bin": b"x", "xl/workbook.xml": "<x/>"}), "not-a-workbook"),
        (workbook(["tag"])[:-200], "workbook-broken"),
        (packed({"xl/workbook.xml": b"<x/>"}, method=zipfile.ZIP_LZMA), "workbook-broken"),
    ],
    ids=[
        "no archive",
        "an encrypted or older workbook",
        "another archive",
        "an open document",
        "a binary workbook",
        "cut off",
        "an unusual packing",
    ],
)
def test_what_is_no_workbook_is_refused(content, code):
    assert refusal_of(content) == code


def test_an_encrypted_part_is_refused():
    content = bytearray(workbook(["tag"]))
    place = content.index(b"PK\x01\x02")
    content[place + 8] |= 1

    assert refusal_of(bytes(content)) == "workbook-locked"


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [(0, COLUMNS_MOST, "too-many-columns"), (0, 16383, "too-many-columns"), (1048575, 0, "too-many-rows"), (250_000, 3, "too-many-rows")],
)
def test_a_lone_cell_far_away_is_refused_before_the_sheet_is_laid_out(row, column, code):
    assert refusal_of(with_cell(row=row, column=column)) == code


@pytest.mark.parametrize(("row", "column"), [(0, COLUMNS_MOST - 1), (199_999, 0), (3, 2)])
def test_a_cell_within_the_caps_passes(row, column):
    refuse_unsafe_workbook(with_cell(row=row, column=column))


def test_a_far_cell_that_is_only_coloured_does_not_count():
    refuse_unsafe_workbook(with_cell(row=5, column=300, empty=True))


def test_one_long_text_repeated_in_very_many_cells_is_refused():
    row = b'<row r="1">' + b'<c t="s"><v>0</v></c>' * 40 + b"</row>"
    parts = {
        "xl/workbook.xml": b"<workbook/>",
        "xl/sharedStrings.xml": b"<sst><si><t>" + b"x" * 32_000 + b"</t></si></sst>",
        "xl/worksheets/sheet1.xml": b"<sheetData>" + row * 1000 + b"</sheetData>",
        "docProps/padding.bin": bytes(range(256)) * 10,
    }
    stored = BytesIO()
    with zipfile.ZipFile(stored, "w", zipfile.ZIP_STORED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)

    assert refusal_of(stored.getvalue()) == "workbook-too-large"


def sheet_of(xml, *, shared=b"<sst/>"):
    parts = {"xl/workbook.xml": b"<workbook/>", "xl/sharedStrings.xml": shared, "xl/worksheets/sheet1.xml": xml}
    return packed(parts, method=zipfile.ZIP_STORED)


@pytest.mark.parametrize(
    "xml",
    [
        b"<c " + b'r="AAA1 ' * 120_000,
        b"<c " + b'r="AAA1 ' * 120_000 + b"/>",
        b"<c r" + b" " * 1_000_000 + b'"AAA1">',
        b'<c r="AAA1"' + b" " * 1_000_000,
        b'<c r="AAA1">' + b" " * 500_000 + b"</c>",
    ],
    ids=["no end", "closed at once", "no sign", "blanks", "nothing in it"],
)
def test_a_sheet_of_cells_far_away_that_are_none_is_measured_in_one_pass(xml):
    refuse_unsafe_workbook(sheet_of(xml))


@pytest.mark.parametrize(
    "cell",
    [
        b'<c r="A%s"><v>1</v></c>' % (b"9" * 5000),
        b'<c x=\' r="A100000" \' r="AAA1"><v>1</v></c>',
        b'<x:c\n r = "AAA1" ><x:v>1</x:v></x:c>',
    ],
    ids=["a row of very many digits", "behind another", "spread out"],
)
def test_a_cell_far_away_is_refused_however_it_is_written(cell):
    assert refusal_of(sheet_of(cell)) in {"too-many-rows", "too-many-columns"}


def test_references_to_texts_that_are_none_are_measured_in_one_pass():
    shared = b"<sst><si><t>" + b"x" * 100_000 + b"</t></si></sst>"

    refuse_unsafe_workbook(sheet_of(b"<c " + b't="s" ' * 150_000, shared=shared))


def test_a_reference_of_very_many_digits_is_to_no_text():
    shared = b"<sst><si><t>" + b"x" * 100_000 + b"</t></si></sst>"
    cells = b'<c t="s"><v>1%s</v></c>' % (b"0" * 5000) + b'<c t="s"/>' * 20_000

    refuse_unsafe_workbook(sheet_of(cells, shared=shared))
