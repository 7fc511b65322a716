"""Numbers with their decimal sign and unit; thousands are never taken for decimals."""

from __future__ import annotations

from datetime import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.importing.numbers import number_of
from domain.actions.imports.rows import CellFault


def read(cell, *, decimal=None, point=False, measure=None, unit=None):
    return number_of(cell, decimal=decimal, point=point, measure=measure, unit=unit)


@pytest.mark.parametrize(
    ("cell", "how", "number"),
    [
        ("12", {}, "12"),
        (12.0, {}, "12"),
        (0.1 + 0.2, {}, "0.3"),
        ("12,5", {}, "12.5"),
        ("12.5", {}, "12.5"),
        ("0.125", {}, "0.125"),
        ("1.234,56", {}, "1234.56"),
        ("1,234.56", {}, "1234.56"),
        ("1.234", {"point": True}, "1.234"),
        ("1.234", {"decimal": "."}, "1.234"),
        ("1.234", {"decimal": ","}, "1234"),
        ("1,234", {"decimal": "."}, "1234"),
        ("1,234", {"decimal": ","}, "1.234"),
        ("1 234,5", {"decimal": ","}, "1234.5"),
        ("1\N{NO-BREAK SPACE}234", {}, "1234"),
        ("1'234'567.5", {"decimal": "."}, "1234567.5"),
        ("-1", {}, "-1"),
        ("−1", {}, "-1"),
        ("+3", {}, "3"),
        (".5", {}, "0.5"),
        ("1e3", {}, "1000"),
        ("12 h/day", {"measure": "hours a day"}, "12"),
        ("12,5 h/d", {"measure": "hours a day"}, "12.5"),
        ("12 hours a day", {"measure": "hours a day"}, "12"),
        ("90 min", {"measure": "hours a day"}, "1.5"),
        ("120", {"measure": "length", "unit": "cm"}, "1.20"),
        ("35 cm", {"measure": "length"}, "0.35"),
        ('10"', {"measure": "length"}, "0.2540"),
        ("2 m", {"measure": "length", "unit": "cm"}, "2"),
        ("2", {"measure": "months", "unit": "years"}, "24"),
        ("18 months", {"measure": "months", "unit": "years"}, "18"),
        ("5 kh", {"measure": "hours"}, "5000"),
        ("15 %", {"measure": "share"}, "0.15"),
    ],
)
def test_a_number_is_read_in_the_columns_own_unit(cell, how, number):
    assert read(cell, **how) == Decimal(number)


@pytest.mark.parametrize(
    ("cell", "how", "code"),
    [
        ("abc", {}, "not-a-number"),
        ("12 kg", {"measure": "hours"}, "not-a-number"),
        ("12 h", {}, "not-a-number"),
        ("1.234", {}, "number-ambiguous"),
        ("5.000", {}, "number-ambiguous"),
        ("1,234", {"point": True}, "number-ambiguous"),
        ("12,5", {"decimal": "."}, "not-a-number"),
        ("12.5", {"decimal": ","}, "not-a-number"),
        ("1.23.4", {"decimal": ","}, "not-a-number"),
        ("1,2,3", {}, "not-a-number"),
        ("NaN", {}, "not-a-number"),
        ("inf", {}, "not-a-number"),
        (float("inf"), {}, "not-a-number"),
        (float("nan"), {}, "not-a-number"),
        ("12-14", {}, "not-a-number"),
        ("ca. 12", {}, "not-a-number"),
        ("9" * 100, {}, "not-a-number"),
        (time(12, 0), {"measure": "hours a day"}, "not-a-number"),
        ("TRUE", {}, "not-a-number"),
        ("1e999999", {}, "not-a-number"),
    ],
)
def test_what_is_no_number_is_refused_by_code(cell, how, code):
    found = read(cell, **how)

    assert isinstance(found, CellFault)
    assert found.code == code


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=3), st.sampled_from([".", ","]))
def test_a_number_written_with_a_decimal_sign_is_read_back(number, decimal):
    grouped = f"{number:,}"
    written = grouped if decimal == "." else grouped.translate(str.maketrans(",.", ".,"))

    assert read(written, decimal=decimal) == number


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_a_number_cell_is_read_as_spreadsheets_show_it(cell):
    assert float(read(cell)) == float(f"{cell:.15g}")


@given(st.text(max_size=40), st.sampled_from([".", ",", None]), st.booleans())
def test_any_text_is_a_number_or_a_fault(cell, decimal, point):
    assert isinstance(read(cell, decimal=decimal, point=point, measure="hours"), Decimal | CellFault)
