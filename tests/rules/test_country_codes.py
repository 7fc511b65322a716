"""Codes of countries and areas, and those that anybody may assign."""

from __future__ import annotations

from itertools import product
from string import ascii_uppercase

import pytest

from domain.rules.country_codes import ALPHA_2, ASSIGNED, UNIONS, is_user_assigned

EVERY = {"".join(letters) for letters in product(ascii_uppercase, repeat=2)}


def test_each_country_has_one_code_of_each_kind():
    assert len(ALPHA_2) == len(ASSIGNED) == 249
    assert ALPHA_2 <= EVERY


def test_no_code_is_a_countrys_and_anybodys():
    free = {code for code in EVERY if is_user_assigned(code)}

    assert len(free) == 2 + 14 + 26
    assert {"AA", "QM", "QZ", "XA", "XZ", "ZZ"} <= free
    assert free.isdisjoint(ALPHA_2 | UNIONS)
    assert ALPHA_2.isdisjoint(UNIONS)


@pytest.mark.parametrize("text", ["", "X", "xa", "XAA", "X1", "XÄ", "A A", "QL", "AB", "ZY", "WX", "PT"])
def test_what_is_no_such_code_is_nobodys_to_give(text):
    assert not is_user_assigned(text)
