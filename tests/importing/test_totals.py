"""A total line is no item and no mistake; an item without its tag is a mistake and no total line."""

from __future__ import annotations

import pytest

from api.importing.totals import total_lines

SITE, MODEL = "Reedmere House", "Plim pH probe"
GOOD = ("RE-1", SITE, MODEL, "12", "")


def found(*rows, words=(), at_foot=True):
    columns = list(zip(*rows, strict=True))
    return total_lines(columns[0], columns[1:3], rows, words=words, at_foot=at_foot)


@pytest.mark.parametrize(
    "line",
    [
        ("", "", "", "180 items", ""),
        ("", "", "", "", "Total: 180"),
        ("Total", "", "", "180", ""),
        ("TOTAL 180", "", "", "", ""),
        ("Grand total", "", "", "1,234.50", ""),
        ("Sub-total", SITE, "", "90", ""),
        ("", SITE, "", "90 items", ""),
        ("Sum", "", "", 90.0, ""),
        ("", "", "", "12 pcs.", ""),
    ],
)
def test_a_line_that_says_total_is_one_wherever_it_stands(line):
    assert found(GOOD, line, GOOD) == {1}
    assert found(GOOD, line) == {1}


@pytest.mark.parametrize("line", [("", "", "", "180", ""), ("", "", "", "", "checked 3 March"), ("", "", "", 180.0, "")])
def test_a_bare_line_is_one_at_the_foot_only(line):
    assert found(GOOD, line) == {1}
    assert found(GOOD, line, line) == {1, 2}
    assert found(GOOD, line, GOOD) == set()
    assert found(GOOD, line, at_foot=False) == set()


@pytest.mark.parametrize(
    "line",
    [
        ("", SITE, MODEL, "12", ""),
        ("", SITE, MODEL, "12", "total loss"),
        ("", SITE, "", "12", "see log"),
        ("RE-2", "", "", "", ""),
        ("Totalisator 3", "", "", "", ""),
        ("RE-2", SITE, MODEL, "", "Total rebuild"),
        ("Total", SITE, MODEL, "12", ""),
    ],
)
def test_an_item_is_never_taken_for_a_total_line(line):
    assert found(GOOD, line, GOOD) == set()
    assert found(GOOD, line) == set()


def test_words_of_other_languages_can_be_added():
    line = ("Summe", "", "", "90", "")

    assert found(GOOD, line, GOOD) == set()
    assert found(GOOD, line, GOOD, words=("summe",)) == {1}


def test_where_a_list_states_but_the_tag_a_total_line_is_short():
    rows = [("RE-1", "12", "a"), ("Total", "24", ""), ("Total 7", "12", "remark")]

    assert total_lines([row[0] for row in rows], [], rows, words=(), at_foot=True) == {1}
