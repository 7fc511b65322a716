"""The stock statement: sums that are printed and checked, what is open first, and every movement behind a number."""

from __future__ import annotations

import csv
import json
from datetime import date
from hashlib import sha256
from io import StringIO

import pytest

from domain.rules.lives import EventKind, LifeStage, Sex
from reports.canonical import record_hash
from reports.stock_statement import MovementEntry, compose, stock_statement_csv, stock_statement_json, stock_statement_pdf
from reports.stock_statement.sheet import MOST_MOVEMENTS
from tests.reports.makers import stock_line, stock_movement, stock_statement, text_of

GROWN = {
    "opening": 3,
    "births": 4,
    "arrivals": 2,
    "moved_in": 1,
    "deaths": 1,
    "departures": 2,
    "moved_out": 1,
    "changed_out": 2,
    "closing": 4,
}


def words_of(row, key):
    cell = row.cells.get(key, "")
    return cell if isinstance(cell, str) else " ".join(phrase.text for phrase in cell).strip()


def test_a_line_is_printed_with_its_sum():
    (row, _) = compose.stock_rows(stock_statement(stock_line(**GROWN)))

    numbers = {key: words_of(row, key) for key in ("opening", "births", "came", "deaths", "went", "otherwise", "closing", "sum")}
    assert numbers == {
        "opening": "3", "births": "4", "came": "3", "deaths": "1", "went": "3", "otherwise": "\u22122", "closing": "4", "sum": "right",
    }  # fmt: skip


def test_a_sum_that_is_wrong_is_said_in_words_and_first():
    sheet = stock_statement(stock_line(opening=3, closing=5))

    (row, _) = compose.stock_rows(sheet)

    assert (words_of(row, "sum"), row.act_now) == ("WRONG sum 3", True)
    assert compose.open_items(sheet) == ["Testudo hermanni, female, adult: 3 were reckoned and 5 counted."]
    text = text_of(stock_statement_pdf(sheet))
    assert text.index("were reckoned") < text.index("opening")


def test_eggs_are_in_no_sum_of_animals():
    eggs = stock_line(sex=Sex.UNKNOWN, life_stage=LifeStage.EGG, opening=0, births=9, hatched_out=4, closing=5)

    rows = compose.stock_rows(stock_statement(stock_line(), eggs))

    assert [words_of(row, "what").rpartition("  ")[2] or words_of(row, "what") for row in rows][-2:] == ["All animals", "All eggs"]
    assert [words_of(row, "closing") for row in rows][-2:] == ["3", "5"]
    assert [figure.value for figure in compose.figures(stock_statement(stock_line(), eggs))] == ["3", "3", "5", "0", "0"]


def test_several_lines_of_a_taxon_have_a_sum_and_one_has_none():
    males = stock_line(sex=Sex.MALE, opening=2, closing=2)

    rows = compose.stock_rows(stock_statement(stock_line(), males, stock_line(scientific_name="Xenopus laevis", opening=1, closing=1)))

    assert [words_of(row, "closing") for row in rows] == ["3", "2", "5", "1", "6"]
    assert "all animals" in words_of(rows[2], "what")


@pytest.mark.parametrize(
    ("event", "happening", "column", "said", "under"),
    [
        (EventKind.DIED, "event", "deaths", "died", "deaths"),
        (EventKind.ACQUIRED, "event", "arrivals", "acquired", "in"),
        (None, "came", "moved_in", "came to the site, or left it", "in, moved"),
        (None, "left", "moved_out", "to no enclosure", "out, moved"),
        (None, "turned", "changed_out", "sex or stage known since", "otherwise, fewer"),
    ],
)
def test_a_movement_is_said_in_words_with_the_heading_that_it_is_entered_under(event, happening, column, said, under):
    entry = MovementEntry(sex=Sex.MALE, life_stage=LifeStage.ADULT, column=column)
    line = stock_movement(event_kind=event, happening=happening, entries=(entry,))

    (row,) = compose.movement_rows(stock_statement(stock_line(), movements=(line,)))

    assert (row.cells["what"], words_of(row, "entries")) == (said, f"male, adult: {under}")


def test_every_column_of_an_account_but_opening_and_closing_has_its_words():
    from domain.rules.stock import IN, OUT  # noqa: PLC0415 - only here

    assert set(compose.COLUMN_WORDS) == {*IN, *OUT}


def test_movements_that_are_left_out_are_counted_and_said_with_where_they_are():
    sheet = stock_statement(stock_line(), movements=(stock_movement(),), movements_in_all=MOST_MOVEMENTS + 12)

    assert "412 movements" in compose.open_items(sheet)[0]
    assert "/v1/census/movements" in text_of(stock_statement_pdf(sheet))


def test_estimates_are_an_open_item():
    assert compose.open_items(stock_statement(stock_line(), estimated=30)) == [
        "30 animals of the closing number are estimated and not counted."
    ]


def test_a_site_without_animals_has_a_statement_that_says_so():
    text = text_of(stock_statement_pdf(stock_statement()))

    assert "No animals and no movements are on record" in text
    assert "Not legal advice" in text


def test_equal_sheets_give_equal_bytes_and_the_hash_is_of_the_json():
    sheet = stock_statement(stock_line(**GROWN), movements=(stock_movement(),))

    assert stock_statement_pdf(sheet) == stock_statement_pdf(stock_statement(stock_line(**GROWN), movements=(stock_movement(),)))
    assert sha256(stock_statement_json(sheet)).hexdigest() == record_hash(sheet)
    assert json.loads(stock_statement_json(sheet))["lines"][0]["account"]["births"] == 4


def test_the_csv_has_every_column_and_runs_no_formula():
    sheet = stock_statement(stock_line(scientific_name="=1+1", **GROWN))

    (row,) = csv.DictReader(StringIO(stock_statement_csv(sheet).decode("utf-8-sig")))

    assert (row["scientific_name"], row["changed_out"], row["reckoned"], row["balances"]) == ("'=1+1", "2", "4", "yes")
    assert (row["from_on"], row["until_on"]) == (date(2025, 1, 1).isoformat(), "2025-12-31")
