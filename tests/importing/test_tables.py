"""A list is read by what the file holds, whatever it is called."""

from __future__ import annotations

import json
from datetime import date
from io import BytesIO

import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from api.importing import read_file
from api.importing.mapping import Mapping
from api.importing.tables import tables_in
from domain.actions.imports import ImportOptions, ImportRows
from domain.errors import RuleBroken
from domain.records.nights import ImportKind
from tests.importing.conftest import text, workbook

HEADINGS = ("tag", "site", "model")
ROW = ("RE-1", "Reedmere House", "Plim pH probe")


def rows_of(content, *, mapping=None, file_name="list"):
    rows, _, _ = read_file(content, file_name=file_name, kind=ImportKind.EQUIPMENT, mapping=mapping, options=ImportOptions())
    return rows


def refusal_of(content, *, mapping=None, file_name="list"):
    with pytest.raises(RuleBroken) as refused:
        rows_of(content, mapping=mapping, file_name=file_name)
    return refused.value


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_a_delimiter_is_found_by_the_headings(delimiter):
    content = text(["A list; of kit, both | houses"], [], HEADINGS, ROW, delimiter=delimiter)

    rows = rows_of(content)

    assert list(rows.columns["tag"]) == ["RE-1"]
    assert (rows.numbers, rows.indexes) == ([4], [0])


@pytest.mark.parametrize("name", ["kit.xlsx", "kit.csv", "kit.json", "kit"])
def test_the_name_of_a_file_does_not_decide_what_it_is(name):
    for content in (text(HEADINGS, ROW), workbook(HEADINGS, ROW), json.dumps([dict(zip(HEADINGS, ROW, strict=True))]).encode()):
        assert list(rows_of(content, file_name=name).columns["model"]) == ["Plim pH probe"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_byte_order_mark_is_no_part_of_the_first_heading(encoding):
    assert list(rows_of(text(HEADINGS, ROW, encoding=encoding)).columns["tag"]) == ["RE-1"]


def test_another_encoding_is_named_and_can_be_declared():
    content = text(HEADINGS, ("Röhre-1", *ROW[1:]), encoding="cp1252")

    refused = refusal_of(content)

    assert refused.code == "encoding"
    assert "0xF6" in refused.detail
    assert 'encoding = "cp1252"' in refused.detail
    assert list(rows_of(content, mapping='[options]\nencoding = "cp1252"').columns["tag"]) == ["Röhre-1"]


@pytest.mark.parametrize("content", [b"", b"\n\n  \n", b"\x00\x00"])
def test_an_empty_file_is_refused(content):
    assert refusal_of(content).code == "file-empty"


def test_headings_alone_are_a_list_without_rows():
    assert len(rows_of(text(HEADINGS))) == 0
    assert len(rows_of(workbook(HEADINGS))) == 0


def test_missing_headings_are_refused_with_what_was_seen_and_what_is_wanted():
    refused = refusal_of(text(["Nr", "House", "Lamp"], ["1", "2", "3"]))

    assert refused.code == "headings-not-found"
    assert all(word in refused.detail for word in ("'Nr'", "'House'", "'tag'", "'model'"))


def test_a_mapped_heading_that_is_not_in_the_list_is_refused():
    refused = refusal_of(text(HEADINGS, ROW), mapping='[columns]\nnote = "Remarks"')

    assert refused.code == "headings-not-found"
    assert "'Remarks' (note)" in refused.detail


def test_a_heading_that_stands_twice_is_refused():
    assert refusal_of(text(["tag", "site", "model", "Site"], ["a", "b", "c", "d"])).code == "heading-repeated"


def test_headings_forgive_case_blanks_and_underscores():
    rows = rows_of(text([" TAG ", "Site", "model", "Installed on"], [*ROW, "2025-01-02"]))

    assert list(rows.columns["installed_on"]) == [date(2025, 1, 2)]
    assert rows.headings["installed_on"] == "Installed on"


def test_columns_that_nobody_asked_for_are_named():
    assert rows_of(text([*HEADINGS, "Colour"], [*ROW, "red"])).ignored_columns == ("Colour",)


def test_a_row_with_more_cells_than_headings_is_a_fault_of_that_row():
    content = b"tag,site,model\nRE-1,Reedmere House,Plim pH probe,stray\nRE-2,Reedmere House,Plim pH probe,\n"

    found = rows_of(content).columns["tag"]

    assert found[0].code == "cells-beyond-headings"
    assert found[1] == "RE-2"


def test_blank_rows_are_left_out_and_still_counted():
    rows = rows_of(text(HEADINGS, ROW, [], ["", " ", "\N{NO-BREAK SPACE}"], ("RE-2", *ROW[1:])))

    assert (rows.numbers, rows.indexes) == ([2, 5], [0, 3])


def test_a_named_sheet_is_read_and_an_unknown_one_refused():
    made = BytesIO()
    with xlsxwriter.Workbook(made) as book:
        book.add_worksheet("Cover").write(0, 0, "Kit of both houses")
        sheet = book.add_worksheet("Kit list")
        sheet.write_row(0, 0, HEADINGS)
        sheet.write_row(1, 0, ROW)

    assert refusal_of(made.getvalue()).code == "headings-not-found"
    assert len(rows_of(made.getvalue(), mapping='[options]\nsheet = "kit list"')) == 1
    assert "Cover, Kit list" in refusal_of(made.getvalue(), mapping='[options]\nsheet = "Spares"').detail


def test_a_merged_preamble_is_skipped():
    made = BytesIO()
    with xlsxwriter.Workbook(made) as book:
        sheet = book.add_worksheet()
        sheet.merge_range(0, 0, 1, 5, "Marshlight Trust: kit", book.add_format({"bold": True}))
        sheet.write_row(3, 1, HEADINGS)
        sheet.write_row(4, 1, ROW)

    rows = rows_of(made.getvalue())

    assert (list(rows.columns["tag"]), rows.numbers, rows.indexes) == (["RE-1"], [5], [0])


def test_cells_of_a_workbook_keep_their_kind():
    made = BytesIO()
    with xlsxwriter.Workbook(made) as book:
        sheet, day = book.add_worksheet(), book.add_format({"num_format": "dd/mm/yyyy"})
        sheet.write_row(0, 0, [*HEADINGS, "installed_on", "hours_per_day", "serial", "note"])
        sheet.write_row(1, 0, [1001, *ROW[1:]])
        sheet.write_datetime(1, 3, date(2025, 2, 3), day)
        sheet.write_number(1, 4, 12)
        sheet.write_number(1, 5, 10)
        sheet.write_string(1, 6, "=see log")
        sheet.write_row(2, 0, [True, *ROW[1:]])
        sheet.write_formula(2, 3, "=D2+1", day, 45692)
        sheet.write_formula(2, 4, "=6*2", None, 12)
        sheet.write_formula(2, 6, '="see "&"log"', None, "see log")

    columns = {name: list(values) for name, values in rows_of(made.getvalue()).columns.items()}

    assert columns["tag"] == ["1001", "TRUE"]
    assert columns["installed_on"] == [date(2025, 2, 3), date(2025, 2, 4)]
    assert columns["hours_per_day"] == [12.0, 12.0]
    assert columns["serial"] == ["10", None]
    assert columns["note"] == ["=see log", "see log"]


def test_a_date_cell_where_text_is_wanted_is_a_fault():
    found = rows_of(workbook([*HEADINGS, "position"], [*ROW, date(2025, 3, 4)])).columns["position"]

    assert found[0].code == "not-text"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b'[{"tag": 1, "tag": 2}]', "json-broken"),
        (b'[{"tag": NaN}]', "json-broken"),
        (b'[{"tag": 1},]', "json-broken"),
        (b'[{"tag": "\\ud800"', "json-broken"),
        (b"[" * 100_000, "json-broken"),
        (b'{"tag": 1}', "json-no-list"),
        (b"[1, 2]", "json-no-list"),
        (b"[]", "headings-not-found"),
    ],
)
def test_json_that_is_no_honest_list_is_refused(content, code):
    assert refusal_of(content, file_name="kit.json").code == code


def test_rows_of_json_count_from_one():
    listed = [dict(zip(HEADINGS, ("RE-1", *ROW[1:]), strict=True)), dict(zip(HEADINGS, ("RE-2", None, {"a": 1}), strict=True))]

    rows = rows_of(json.dumps(listed).encode())

    assert (rows.numbers, rows.indexes) == ([1, 2], [0, 1])
    assert rows.columns["site"][1] is None
    assert rows.columns["model"][1].code == "not-one-value"


def test_too_many_rows_are_refused():
    content = b"tag,site,model\n" + b"RE-1,Reedmere House,x\n" * 200_001

    assert refusal_of(content).code == "too-many-rows"


def test_too_many_columns_are_refused():
    names = [*HEADINGS, *(f"c{number}" for number in range(62))]

    assert refusal_of(text(names, ROW)).code == "too-many-columns"
    assert refusal_of(workbook(names, ROW)).code == "too-many-columns"


def test_a_file_beyond_the_cap_is_refused():
    with pytest.raises(RuleBroken) as refused:
        list(tables_in(b"x" * (20 * 1024 * 1024 + 1), file_name="kit.csv", mapping=Mapping()))

    assert refused.value.code == "file-too-large"


@given(st.binary(max_size=200), st.sampled_from([b"", b"tag,site,model\n", b'[{"tag": ', b"PK\x03\x04", b"\xff\xfe"]))
def test_any_bytes_are_rows_or_a_refusal(content, start):
    try:
        found = rows_of(start + content)
    except RuleBroken as refused:
        found = refused

    assert isinstance(found, ImportRows | RuleBroken)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(), lambda one: st.lists(one) | st.dictionaries(st.text(), one)
    )
)
def test_any_json_is_rows_or_a_refusal(value):
    content = json.dumps([{"tag": value, "site": value, "model": "x", "installed_on": value, "hours_per_day": value}]).encode()
    try:
        found = rows_of(content)
    except RuleBroken as refused:
        found = refused

    assert isinstance(found, ImportRows | RuleBroken)


@pytest.mark.parametrize(
    ("value", "shown", "code"),
    [
        (True, "true", "not-text"),
        (False, "false", "not-text"),
        ({"a": "\u00fc"}, '{"a": "\u00fc"}', "not-one-value"),
        ([], "[]", "not-one-value"),
        ([["a"]], '[["a"]]', "not-one-value"),
        ({}, "{}", "not-one-value"),
    ],
)
def test_json_that_is_no_single_value_is_refused_and_shown_as_it_was_written(value, shown, code):
    listed = [{"tag": value, "site": "Reedmere House", "model": "Plim pH probe"}]

    rows = rows_of(json.dumps(listed).encode())

    assert (rows.columns["tag"][0].code, str(rows.cells["tag"][0])) == (code, shown)
