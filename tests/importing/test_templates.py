"""A template holds the headings that need no mapping, and says what may stand below them."""

from __future__ import annotations

from io import BytesIO

import openpyxl
import pytest

from api.importing import read_file
from api.importing.targets import names_of
from api.importing.templates import TemplateForm, template
from domain.actions.imports import ImportOptions
from domain.records.equipment import EquipmentKind
from domain.records.nights import ImportKind


@pytest.mark.parametrize("kind", ImportKind)
@pytest.mark.parametrize("form", TemplateForm)
def test_a_template_can_be_imported_as_it_is(kind, form):
    rows, _, _ = read_file(template(kind, form), file_name="list", kind=kind, mapping=None, options=ImportOptions())

    assert len(rows) == 0
    assert tuple(rows.columns) == names_of(kind)
    assert rows.ignored_columns == ()


def test_the_second_sheet_says_what_is_allowed():
    book = openpyxl.load_workbook(BytesIO(template(ImportKind.EQUIPMENT_MODELS)))

    words = {column[0].value: [cell.value for cell in column[1:] if cell.value] for column in book["allowed values"].iter_cols()}
    assert words["kind"][2:] == [kind.value for kind in EquipmentKind]
    assert "units: months, years" in words["life_months"]


def test_no_template_holds_a_formula():
    for kind in ImportKind:
        book = openpyxl.load_workbook(BytesIO(template(kind)))
        assert not [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
