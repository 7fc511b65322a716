"""The draft of a return: the rule's own columns and no other, sums that are checked, and nothing missing in silence."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import date
from hashlib import sha256
from io import StringIO

import pytest

from domain.rules.law.returns import FIELDS
from domain.rules.lives import LifeStage, Sex
from reports.canonical import record_hash
from reports.periodic_return import UnsureLine, compose, periodic_return_csv, periodic_return_json, periodic_return_pdf
from tests.reports.makers import periodic_return, return_line, text_of

MOVED = {"opening": 3, "births": 4, "arrivals": 2, "moved_in": 1, "deaths": 1, "departures": 2, "moved_out": 1, "closing": 6}


def rows_of(sheet):
    return list(csv.reader(StringIO(periodic_return_csv(sheet).decode("utf-8-sig"))))


def words_of(row, key):
    cell = row.cells.get(key, "")
    return cell if isinstance(cell, str) else " ".join(phrase.text for phrase in cell).strip()


def test_the_csv_has_exactly_the_fields_of_the_rule_in_its_order():
    sheet = periodic_return(return_line(**MOVED))

    assert rows_of(sheet) == [list(sheet.fields), ["Testudo hermanni", "3", "4", "3", "1", "3", "6"]]


def test_every_field_that_a_rule_may_list_has_a_cell_on_paper_and_in_the_csv():
    line = return_line(
        common_name="tortoise", sex=Sex.MALE, life_stage=LifeStage.ADULT, transponders=("999000000000001",), estimated=1, **MOVED
    )
    sheet = periodic_return(line, fields=tuple(FIELDS))

    (row, total) = compose.return_rows(sheet)

    assert all(words_of(row, name) not in ("", "write in by hand") for name in FIELDS)
    assert dict(zip(FIELDS, rows_of(sheet)[1], strict=True)) == {
        "taxon": "Testudo hermanni", "common_name": "tortoise", "group": "Testudines", "sex": "male", "life_stage": "adult",
        "stock_at_start": "3", "births": "4", "arrivals": "3", "acquisitions": "3", "deaths": "1", "departures": "3", "dispositions": "3",
        "otherwise": "0", "stock_at_end": "6", "number": "6", "estimated": "1", "permit_numbers": "P-1", "transponders": "999000000000001",
    }  # fmt: skip
    assert words_of(total, "taxon") == "All animals"
    assert text_of(periodic_return_pdf(sheet))


def test_eggs_are_a_row_and_a_sum_of_their_own():
    sheet = periodic_return(return_line(), return_line(are_eggs=True, opening=0, births=9, closing=9))

    rows = compose.return_rows(sheet)

    assert [(words_of(row, "taxon"), words_of(row, "stock_at_end")) for row in rows] == [
        ("Testudo hermanni", "3"), ("Testudo hermanni eggs", "9"), ("All animals", "3"), ("All eggs", "9"),
    ]  # fmt: skip
    assert rows_of(sheet)[2][0] == "Testudo hermanni (eggs)"


def test_a_wrong_sum_is_an_open_item_marked_and_said():
    sheet = periodic_return(return_line(opening=3, closing=5))

    assert compose.open_items(sheet) == ["Testudo hermanni: 3 were reckoned and 5 counted."]
    assert compose.return_rows(sheet)[0].act_now
    assert "WRONG" in text_of(periodic_return_pdf(sheet))


@pytest.mark.parametrize(
    ("fields", "open_"), [(None, True), ((*periodic_return().fields, "otherwise"), False), (("taxon", "number"), False)]
)
def test_what_the_rule_has_no_column_for_is_an_open_item_where_its_columns_would_not_add_up(fields, open_):
    sheet = periodic_return(return_line(opening=3, counted_fewer=1, closing=2))

    found = compose.open_items(replace(sheet, fields=fields) if fields else sheet)

    assert [item.startswith("Testudo hermanni: 1 animal fewer by counts") for item in found] == ([True] if open_ else [])


@pytest.mark.parametrize(
    ("stated", "line", "said"),
    [
        ({"today": date(2026, 2, 1)}, {}, "It was due on 31\u00a0Jan\u00a02026."),
        ({"applies_from": date(2025, 3, 1)}, {}, "The rule applies from 1\u00a0Mar\u00a02025 only"),
        ({"applies_until": date(2025, 6, 30)}, {}, "The rule applied until 30\u00a0Jun\u00a02025 only"),
        ({"missing": ("taxon_order",)}, {}, "cannot be decided; not on record: taxon order."),
        ({"asked_of": 0}, {}, "the rule asked this of no animal here"),
        ({"unsure": (UnsureLine(scientific_name="Boa ficta", missing=("origin",)),)}, {}, "Boa ficta is counted here, though"),
        ({}, {"estimated": 2}, "2 animals of those at the end are estimated"),
        ({"fields": ("taxon", "group")}, {"group": None}, "Neither class nor order is on record of Testudo hermanni."),
        ({"fields": ("taxon", "common_name")}, {}, "No common name is on record of Testudo hermanni."),
        ({"fields": ("taxon", "permit_numbers"), "permits_on_record": 0}, {}, "No permit is on record"),
        ({"fields": ("taxon", "transponders")}, {"without_transponder": 1}, "1 single animal at the end bears no transponder"),
        ({"fields": ("taxon", "transponders")}, {"transponders": ("1",)}, "2 animals at the end are in counted groups"),
        ({"fields": ("taxon", "shoe_size")}, {}, "shoe size: this rule lists a field that is not known here"),
    ],
)
def test_nothing_is_missing_in_silence(stated, line, said):
    sheet = periodic_return(return_line(**line), **stated)

    assert any(said in item for item in compose.open_items(sheet))
    assert said.split()[0] in text_of(periodic_return_pdf(sheet))


def test_a_return_in_order_says_so_with_its_due_day_and_that_it_is_a_draft():
    text = text_of(periodic_return_pdf(periodic_return(return_line(**MOVED))))

    assert "DRAFT, to be copied into the authority's own form" in text
    assert "due by Saturday 31 January 2026" in text
    assert "Open items · 0" in text
    assert "Not legal advice" in text


def test_the_sums_lead_to_the_movements_behind_them():
    text = text_of(periodic_return_pdf(periodic_return(return_line(**MOVED))))

    assert "/v1/census/movements?from_on=2025-01-01&until_on=2025-12-31&site_id=0190-2&taxon_id=" in text
    assert "0190-9" in text


def test_a_period_without_animals_has_a_return_that_says_so():
    assert "No animals that the rule is about were here" in text_of(periodic_return_pdf(periodic_return()))


def test_equal_sheets_give_equal_bytes_and_the_hash_is_of_the_json():
    sheet = periodic_return(return_line(**MOVED))

    assert periodic_return_pdf(sheet) == periodic_return_pdf(periodic_return(return_line(**MOVED)))
    assert sha256(periodic_return_json(sheet)).hexdigest() == record_hash(sheet)
    assert json.loads(periodic_return_json(sheet))["lines"][0]["account"]["births"] == 4
