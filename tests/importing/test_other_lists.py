"""Other people's lists: other headings, orders, signs, forms and mistakes."""

from __future__ import annotations

import json
from datetime import date

import pytest

from domain.records.enclosures import Enclosure
from domain.records.equipment import Equipment
from domain.records.statements import json_text
from tests import makers
from tests.importing.conftest import text, workbook

pytestmark = pytest.mark.usefixtures("houses")

SITE, MODEL = "Reedmere House", "Plim pH probe"
US_MAP = """
[columns]
tag = ["Asset no.", "Asset #"]
site = "Facility"
model = "Make and model"
installed_on = "Install date"
hours_per_day = "Daily run"
counter_at_installation_h = "Meter"
[dates]
order = "mdy"
[numbers]
decimal = "."
[units]
hours_per_day = "min"
counter_at_installation_h = "kh"
"""
US_HEADINGS = ("Asset #", "Facility", "Make and model", "Install date", "Daily run", "Meter")


def codes(report):
    return {remark.index: remark.code for remark in report.refusals}


def one(stored):
    (row,) = stored(Equipment)
    return row


def test_an_american_list(importing, stored):
    report = importing(text(US_HEADINGS, ["A-1", SITE, MODEL, "3/4/2025", "720", "1.5"]), mapping=US_MAP)

    row = one(stored)
    assert report.created == 1
    assert (row["installed_on"], row["hours_per_day"], row["counter_at_installation_h"]) == (date(2025, 3, 4), 12.0, 1500.0)


def test_a_year_first_list_with_decimal_commas_and_tabs(importing, stored):
    mapping = '[columns]\ntag = "Nr."\nsite = "Haus"\nmodel = "Modell"\ninstalled_on = "Einbau"\nhours_per_day = "Std/Tag"\n'
    mapping += '[dates]\norder = "ymd"\n[numbers]\ndecimal = ","\n[totals]\nwords = ["Summe"]\n[options]\nencoding = "cp1252"\n'
    rows = [["Nr.", "Haus", "Modell", "Einbau", "Std/Tag"], ["Röhre 1", SITE, MODEL, "2025.03.04", "7,5"], ["Summe", "", "", "", "7,5"]]

    report = importing(text(*rows, delimiter="\t", encoding="cp1252"), mapping=mapping)

    row = one(stored)
    assert (report.created, report.skipped_totals, report.refused) == (1, 1, 0)
    assert (row["tag"], row["installed_on"], row["hours_per_day"]) == ("Röhre 1", date(2025, 3, 4), 7.5)


def test_a_json_list_with_the_headings_of_the_template(importing, stored):
    listed = [{"tag": "A-1", "site": SITE, "model": MODEL, "installed_on": "2025-03-04", "hours_per_day": 12, "serial": None}]

    assert importing(json.dumps(listed).encode()).created == 1
    assert (one(stored)["hours_per_day"], one(stored)["serial"]) == (12.0, None)


def test_the_same_rows_in_three_forms_are_one_list(importing):
    headings, row = ("tag", "site", "model", "installed_on", "hours_per_day"), ["A-1", SITE, MODEL, "2025-03-04", "12"]
    forms = [
        text(headings, row),
        workbook(headings, [*row[:3], date(2025, 3, 4), 12]),
        json.dumps([dict(zip(headings, row, strict=True))]).encode(),
    ]

    reports = [importing(content) for content in forms]

    assert [(report.created, report.unchanged) for report in reports] == [(1, 0), (0, 1), (0, 1)]


def test_a_total_line_in_the_middle_is_passed_over(items):
    report = items(["A-1", SITE, MODEL], ["Total Reedmere", "", ""], ["A-2", SITE, MODEL], ["", "", "2 items"])

    assert (report.created, report.refused, report.skipped_totals, report.rows_read) == (2, 0, 2, 4)


def test_a_missing_tag_amid_items_is_refused(items):
    report = items(["A-1", SITE, MODEL], ["", SITE, MODEL], ["A-2", SITE, MODEL])

    assert (codes(report), report.created) == ({1: "tag-missing"}, 2)


def test_a_tag_repeated_in_other_letters_is_refused_and_the_first_counts(items, stored):
    headings = ("tag", "site", "model", "note")
    report = items(["a-1", SITE, MODEL, "first"], ["A-1 ", SITE, MODEL, "second"], ["Ａ-1", SITE, MODEL, "third"], headings=headings)

    assert codes(report) == {1: "tag-repeated", 2: "tag-repeated"}
    assert one(stored)["note"] == "first"
    assert "row 2" in report.refusals[0].reason


@pytest.mark.parametrize(
    ("hours", "code"),
    [
        ("0", None),
        ("24", None),
        ("24 h/day", None),
        ("12,5 h/d", None),
        ("24.5", "hours-above-24"),
        ("26", "hours-above-24"),
        ("-1", "hours-below-0"),
        ("abc", "not-a-number"),
        ("12-14", "not-a-number"),
    ],
)
def test_hours_a_day(items, hours, code):
    report = items(["A-1", SITE, MODEL, hours], headings=("tag", "site", "model", "hours_per_day"))

    assert [remark.code for remark in report.refusals] == ([code] if code else [])
    assert [(remark.column, remark.value) for remark in report.refusals] == ([("hours_per_day", hours)] if code else [])


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        (["A-1", SITE, ""], "model", "model-missing"),
        (["A-1", "", MODEL], "site", "site-missing"),
        (["A-1", SITE, "Halden T6 99W"], "model", "model-unknown"),
        (["A-1", "Nowhere", MODEL], "site", "site-unknown"),
        (["A\x00-1", SITE, MODEL], "tag", "control-character"),
        (["A\x1b-1", SITE, MODEL], "tag", "control-character"),
        (["A-1\N{RIGHT-TO-LEFT OVERRIDE}", SITE, MODEL], "tag", "hidden-character"),
        (["A" * 121, SITE, MODEL], "tag", "string-too-long"),
        (["\N{MUSICAL SYMBOL EIGHTH NOTE}" * 120, SITE, MODEL], "tag", "string-too-long"),
        (["T\N{ZERO WIDTH SPACE}1", SITE, MODEL], "tag", "hidden-character"),
    ],
)
def test_a_cell_that_cannot_be_taken_is_refused_by_its_column(items, stored, row, column, code):
    report = items(row)

    assert [(remark.column, remark.code) for remark in report.refusals] == [(column, code)]
    assert stored(Equipment) == []


@pytest.mark.parametrize("tag", ["<b>A&amp;1</b>", "=1+1", "مصباح ١", "תנור", "'A", "@A", "🦎"])
def test_honest_names_are_kept_whatever_they_look_like(items, stored, tag):
    assert items([tag, SITE, MODEL]).created == 1
    assert one(stored)["tag"] == tag


def test_names_match_in_spite_of_case_blanks_and_no_break_spaces(items):
    report = items(["A-1", "\N{NO-BREAK SPACE}REEDMERE  house ", "plim\N{NO-BREAK SPACE}PH probe"])

    assert (report.created, report.refused) == (1, 0)


def test_a_date_of_tomorrow_at_the_site_is_refused(items):
    headings = ("tag", "site", "model", "installed_on", "expires_on")
    report = items(
        ["A-1", SITE, MODEL, "2026-03-01", "2030-01-01"],
        ["A-2", SITE, MODEL, "2026-03-02", ""],
        headings=headings,
    )

    assert (report.created, codes(report)) == (1, {1: "in-future"})


def test_today_is_the_date_at_the_site_and_not_in_utc(store, items):
    with store.transaction(makers.origin()) as unit:
        makers.site(unit, name="Kiritimati", zone="Pacific/Kiritimati")
        makers.site(unit, name="Honolulu", zone="Pacific/Honolulu")
    headings = ("tag", "site", "model", "installed_on")
    report = items(
        ["A-1", "Kiritimati", MODEL, "2026-03-02"],
        ["A-2", "Kiritimati", MODEL, "2026-03-03"],
        ["A-3", "Honolulu", MODEL, "2026-03-01"],
        ["A-4", "Honolulu", MODEL, "2026-03-02"],
        headings=headings,
    )

    assert codes(report) == {1: "in-future", 3: "in-future"}


def test_an_ambiguous_date_is_refused_until_the_order_is_declared(importing):
    content = text(("tag", "site", "model", "installed_on"), ["A-1", SITE, MODEL, "03/04/2025"])

    assert codes(importing(content)) == {0: "date-ambiguous"}
    assert importing(content, mapping='[dates]\norder = "dmy"').created == 1


def test_a_row_may_have_several_refusals_and_counts_once(items):
    report = items(["A-1", "Nowhere", "Nothing", "31.02.2025", "25"], headings=("tag", "site", "model", "installed_on", "hours_per_day"))

    assert report.refused == 1
    assert {remark.code for remark in report.refusals} == {"site-unknown", "model-unknown", "date-impossible", "hours-above-24"}


def test_a_limit_of_its_own_needs_its_reason(items):
    headings = ("tag", "site", "model", "override_life_months", "override_reason")
    report = items(["A-1", SITE, MODEL, "6", ""], ["A-2", SITE, MODEL, "6", "wet room"], headings=headings)

    assert report.created == 1
    assert [(remark.index, remark.column, remark.code) for remark in report.refusals] == [(0, "override_reason", "override_reason-missing")]
    assert "override_reason" in report.refusals[0].reason


def test_defaults_ignored_words_and_meanings(importing, stored):
    mapping = f'[defaults]\nsite = "{SITE}"\nhours_per_day = 10\n[values]\nignore = ["n/a"]\n[values.model]\n"the probe" = "{MODEL}"\n'
    content = text(("tag", "model", "hours_per_day", "note"), ["A-1", "The Probe", "N/A", "n/a"])

    assert importing(content, mapping=mapping).created == 1
    assert (one(stored)["hours_per_day"], one(stored)["note"]) == (10.0, "")


def test_enclosures_are_made_once_each_and_only_for_good_rows(items, stored):
    headings = ("tag", "site", "model", "enclosure")
    report = items(
        ["A-1", SITE, MODEL, "Hall A 01"],
        ["A-2", SITE, MODEL, "hall a 01 "],
        ["A-3", "Quillback Rescue", MODEL, "Hall A 01"],
        ["A-4", SITE, "Nothing", "Hall Z 99"],
        headings=headings,
        create_enclosures=True,
    )

    assert (report.created, report.enclosures_created) == (3, 2)
    assert [(row["name"], row["kind"]) for row in stored(Enclosure)] == [("Hall A 01", "other")] * 2
    ids = {row["tag"]: row["enclosure_id"] for row in stored(Equipment)}
    assert ids["A-1"] == ids["A-2"] != ids["A-3"]


def test_remarks_are_cut_at_a_thousand_and_counts_are_not(items):
    report = items(*([f"A-{number}", "Nowhere", MODEL] for number in range(1001)))

    assert (report.refused, len(report.refusals)) == (1001, 1000)


def test_a_refusal_shows_what_does_not_print_as_an_escape(importing):
    listed = [{"tag": "A\ud800", "site": SITE, "model": "\x1b[2J", "serial": "x\x00", "se\x1brial": 1}]

    report = importing(json.dumps(listed).encode())

    assert {remark.column: remark.value for remark in report.refusals} == {"tag": "A\\ud800", "model": "\\x1b[2J", "serial": "x\\x00"}
    assert report.ignored_columns == ("se\\x1brial",)
    assert json.loads(json_text(report))["refused"] == 1


def test_json_that_is_no_text_is_shown_as_it_was_written(importing):
    listed = [{"tag": True, "site": SITE, "model": MODEL}, {"tag": "A-1", "site": SITE, "model": {"name": MODEL}}]

    report = importing(json.dumps(listed).encode())

    assert [(remark.column, remark.value) for remark in report.refusals] == [("tag", "true"), ("model", f'{{"name": "{MODEL}"}}')]
