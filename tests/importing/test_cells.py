"""Cells become the values that their columns mean."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.importing.cells import values_of
from api.importing.mapping import Mapping
from api.importing.tables import JsonValue
from api.importing.targets import Cell, Target
from domain.actions.imports.rows import CellFault

COST = Target("unit_cost", Cell.MONEY)


def read(cell, target):
    (found,) = values_of([cell], target, mapping=Mapping())
    return found


@pytest.mark.parametrize("cell", ["12.50", "EUR 12.50", "12.50 EUR", "€12.50", "12.50\u00a0€", " £ 12.50 ", 12.5])
def test_an_amount_may_have_the_sign_of_its_currency(cell):
    assert read(cell, COST) == Decimal("12.5")


@pytest.mark.parametrize("cell", ["1" + " " * 1_000_000 + "x", " " * 500_000 + "1" + " " * 500_000 + "1€", "1" * 1_000_000])
def test_a_very_long_cell_is_no_amount_and_is_read_in_one_pass(cell):
    found = read(cell, COST)

    assert isinstance(found, CellFault)
    assert found.code == "not-a-number"


@pytest.mark.parametrize("target", [Target("tag"), Target("note", Cell.LINES), COST, Target("installed_on", Cell.DATE)])
@pytest.mark.parametrize(
    ("cell", "code"),
    [(JsonValue("true"), "not-text"), (JsonValue('{"a": 1}'), "not-one-value"), (JsonValue("[1]", parts=(1,)), "not-one-value")],
)
def test_true_lists_and_objects_are_no_single_values(target, cell, code):
    found = read(cell, target)

    assert (found.code, found.reason.split()[0]) == (code, target.name)


def test_a_list_may_hold_words_or_numbers():
    assert read(JsonValue('["a b", "c"]', parts=("a b", "c")), Target("cautions", Cell.WORDS)) == ("a-b", "c")
    assert read(JsonValue("[1, 2.5]", parts=(1, 2.5)), Target("depths_m", Cell.NUMBERS)) == (1.0, 2.5)
    assert read(JsonValue("[true]"), Target("cautions", Cell.WORDS)).code == "not-one-value"
