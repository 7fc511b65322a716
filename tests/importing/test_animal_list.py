"""A list of animals: what they are, how they came, where they were put; and the same list again."""

from __future__ import annotations

import json
from datetime import date

import pytest

from domain.actions.lives import record_event
from domain.actions.verify import prove
from domain.records.animals import Animal, AnimalEvent, AnimalEventStated, AnimalState, Placement
from domain.records.holdings import CallName
from domain.records.journal import JournalEntry
from domain.records.marks import Mark
from domain.rules.lives import EventKind, LifeStage
from tests import makers
from tests.importing.conftest import codes, counts, text, workbook

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = (
    "tag taxon grouping number sex life_stage hatched_on origin came_by acquired_on basis acquired_from reference site enclosure "
    "placed_on name name_as_printed transponder_code transponder_code_again override_reason note"
)
CODE = "985 112 003 456 789"
FULL = [
    "A-1", "testudo FICTIVA", "", "", "male", "adult", "2019-05", "captive bred", "", "2025-02-01", "purchase", "Otter Farm", "BILL 7",
    "Reedmere House", "hall a 01", "2025-02-03", "Otto", "Testudo fictiva Ilk", CODE, "985112003456789", "", "calm",
]  # fmt: skip
GROUP = ["A-2", "Testudo fictiva", "group", "12", "", "juvenile", "2024", *[""] * 15]


def animals(stored):
    return {row["tag"]: row for row in stored(Animal)}


@pytest.fixture
def rows(listed):
    return lambda *rows, **rest: listed("animals", HEADINGS, *rows, **rest)


def test_an_animal_comes_in_with_its_arrival_its_place_its_name_and_its_mark(rows, stored):
    report = rows(FULL, GROUP)

    assert (counts(report), report.notices) == ((2, 0, 0, 0), ())
    one, group = animals(stored)["A-1"], animals(stored)["A-2"]
    assert (one["hatched_on"], one["hatched_precision"].value, one["origin"].value) == (date(2019, 5, 1), "month", "captive_bred")
    assert (one["came_on"], one["name"], one["sex"].value, one["life_stage"].value) == (date(2025, 2, 1), "Otto", "male", "adult")
    assert (one["name_as_printed"], one["note"]) == ("Testudo fictiva Ilk", "calm")
    (came,) = [row for row in stored(AnimalEvent) if row["animal_id"] == one["id"]]
    assert (came["basis"].value, came["party"], came["reference"]) == ("purchase", "Otter Farm", "BILL 7")
    (place,) = [row for row in stored(Placement) if row["animal_id"] == one["id"]]
    assert (place["from_on"], place["enclosure_id"]) == (date(2025, 2, 3), one["enclosure_id"])
    (mark,) = stored(Mark)
    assert (mark["code"], mark["reading"].value, mark["from_on"]) == ("985112003456789", "typed_twice", date(2025, 2, 1))
    assert (group["count"], group["hatched_on"], group["hatched_precision"].value) == (12, date(2024, 1, 1), "year")


def test_the_same_list_again_changes_nothing_from_whichever_form(rows, importing, stored):
    rows(FULL, GROUP)
    before, entries = animals(stored), len(stored(JournalEntry))
    headings = HEADINGS.split()

    reports = [
        rows(FULL, GROUP),
        importing(workbook(headings, FULL, GROUP), kind="animals"),
        importing(json.dumps([dict(zip(headings, row, strict=True)) for row in (FULL, GROUP)]).encode(), kind="animals"),
    ]

    assert [counts(report) for report in reports] == [(0, 0, 2, 0)] * 3
    assert (animals(stored), len(stored(JournalEntry))) == (before, entries)


def test_the_same_list_again_changes_nothing_after_the_animal_moved_on_and_was_renamed(rows, listed, store, stored):
    rows(FULL, GROUP)
    listed("placements", "animal site enclosure from_on", ["A-1", "Quillback Rescue", "Ward 1", "2025-06-01"])
    with store.transaction(makers.origin()) as unit:
        staged = AnimalEventStated(kind=EventKind.STAGED, happened_on=date(2026, 3, 1), number=12, life_stage=LifeStage.ADULT)
        record_event(unit, animals(stored)["A-2"]["id"], staged)
    before = animals(stored)

    assert counts(rows(FULL, GROUP)) == (0, 0, 2, 0)
    assert animals(stored) == before


def test_blank_cells_keep_what_is_on_record_and_facts_are_corrected(rows, listed, stored):
    rows(FULL)

    report = listed("animals", "tag taxon hatched_on origin note", ["a-1 ", "", "2019-05-03", "", "shy"])

    one = animals(stored)["A-1"]
    assert counts(report) == (0, 1, 0, 0)
    assert (one["hatched_on"], one["hatched_precision"].value) == (date(2019, 5, 3), "day")
    assert (one["note"], one["origin"].value, one["name"]) == ("shy", "captive_bred", "Otto")


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("number", "2"),
        ("sex", "female"),
        ("life_stage", "juvenile"),
        ("acquired_on", "2025-02-02"),
        ("basis", "gift"),
        ("acquired_from", "Another farm"),
        ("reference", "BILL 8"),
        ("came_by", "born"),
        ("name", "Ottilie"),
        ("placed_on", "2025-02-04"),
        ("transponder_code", "985112003456788"),
    ],
)
def test_what_is_told_elsewhere_is_not_corrected_by_a_list(rows, listed, stored, column, value):
    rows(FULL)
    before = animals(stored)

    report = listed("animals", f"tag taxon {column}", ["A-1", "", value])

    assert codes(report) == [(0, column, "told-elsewhere")]
    assert animals(stored) == before


def test_another_enclosure_is_told_by_placements(rows, listed):
    rows(FULL)

    report = listed("animals", "tag taxon site enclosure", ["A-1", "", "Reedmere House", "Hall A 02"])

    assert codes(report) == [(0, "enclosure", "told-elsewhere")]
    assert "placement" in report.refusals[0].reason


def test_a_synonym_is_understood_and_noted_and_stays_understood(listed, stored):
    report = listed("animals", "tag taxon", ["A-9", "Testudo VETUSTA"])

    assert [(notice.column, notice.code) for notice in report.notices] == [("taxon", "synonym")]
    assert "Testudo fictiva" in report.notices[0].reason
    assert animals(stored)["A-9"]["taxon_id"] == animals(stored)["T-1"]["taxon_id"]
    assert counts(listed("animals", "tag taxon", ["A-9", "Testudo fictiva"])) == (0, 0, 1, 0)
    assert counts(listed("animals", "tag taxon", ["A-9", "Testudo vetusta"])) == (0, 0, 1, 0)


@pytest.mark.parametrize(
    ("column", "value", "code"),
    [
        ("tag", "", "tag-missing"),
        ("tag", "T\N{ZERO WIDTH SPACE}9", "hidden-character"),
        ("taxon", "", "taxon-missing"),
        ("taxon", "Dragon", "taxon-unknown"),
        ("site", "Nowhere", "site-unknown"),
        ("site", "", "site-missing"),
        ("enclosure", "Hall Z", "enclosure-unknown"),
        ("number", "2", "not-together"),
        ("number", "0", "greater-than-equal"),
        ("number", "1.5", "not-whole-number"),
        ("sex", "queen", "sex-unknown"),
        ("acquired_on", "2026-03-02", "in-future"),
        ("acquired_on", "03/04/2025", "date-ambiguous"),
        ("placed_on", "2025-01-31", "before-arrival"),
        ("hatched_on", "2025-02-02", "in-future"),
        ("hatched_on", "43600", "date-serial"),
        ("hatched_on", "1066", "date-serial"),
        ("transponder_code", "985112003456788", "codes-differ"),
        ("transponder_code_again", "", "transponder_code_again-missing"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column_and_nothing_is_left_of_the_row(rows, stored, column, value, code):
    changed = [value if name == column else cell for name, cell in zip(HEADINGS.split(), FULL, strict=True)]
    before = {record: stored(record) for record in (Animal, AnimalEvent, AnimalState, Placement, CallName, Mark)}

    report = rows(changed, GROUP, skip_invalid=True)

    assert [found for _, _, found in codes(report)][:1] == [code]
    assert counts(report) == (1, 0, 0, 1)
    assert {row["tag"] for row in stored(Animal)} == {"T-1", "G-1", "A-2"}
    for record in (Placement, CallName, Mark):
        assert stored(record) == before[record]
    assert len(stored(AnimalEvent)) == len(before[AnimalEvent]) + 1


def test_a_code_from_a_scanner_needs_no_second_typing(listed, stored):
    mapping = '[defaults]\ntransponder_reading = "scanner"\n'

    report = listed("animals", "tag taxon transponder_code", ["A-1", "Testudo fictiva", CODE], mapping=mapping)

    assert counts(report) == (1, 0, 0, 0)
    assert [(row["reading"].value, row["code"]) for row in stored(Mark)] == [("scanner", "985112003456789")]


@pytest.mark.parametrize(
    ("code", "refusal"),
    [("98511200345678", "code-length"), ("9.85112003456789E+14", "code-not-digits"), ("98511200345678O", "code-not-digits")],
)
def test_a_code_that_a_spreadsheet_or_a_hand_has_spoilt_is_refused(listed, stored, code, refusal):
    report = listed("animals", "tag taxon transponder_code transponder_code_again", ["A-1", "Testudo fictiva", code, code])

    assert (codes(report), stored(Mark)) == ([(0, "transponder_code", refusal)], [])


def test_a_code_that_a_workbook_holds_as_a_number_has_all_its_digits(importing, stored):
    headings = ("tag", "taxon", "transponder_code", "transponder_code_again")

    importing(workbook(headings, ["A-1", "Testudo fictiva", 985112003456789, "985112003456789"]), kind="animals")

    assert [row["code"] for row in stored(Mark)] == ["985112003456789"]


def test_a_code_that_another_animal_bears_is_refused(listed):
    mapping = '[defaults]\ntransponder_reading = "scanner"\n'
    report = listed(
        "animals", "tag taxon transponder_code", ["A-1", "Testudo fictiva", CODE], ["A-2", "Testudo fictiva", CODE], mapping=mapping
    )

    assert codes(report) == [(1, "transponder_code", "mark-taken")]
    assert "A-1" in report.refusals[0].reason


def test_an_enclosure_that_does_not_suit_is_refused_with_its_reasons_and_taken_with_one(listed, store, stored):
    with store.transaction(makers.origin()) as unit:
        makers.enclosure(unit, makers.site(unit, name="Mill"), name="Tank", capacity=1)
    headings = "tag taxon grouping number site enclosure override_reason"
    row = ["A-1", "Testudo fictiva", "group", "3", "Mill", "Tank", ""]

    refused = listed("animals", headings, row)

    assert codes(refused) == [(0, "enclosure", "too-many"), (0, "override_reason", "unfit")]
    assert counts(listed("animals", headings, [*row[:-1], "for one night"])) == (1, 0, 0, 0)
    assert {row["override_reason"] for row in stored(Placement)} == {None, "for one night"}


def test_animals_that_one_list_puts_into_one_enclosure_are_counted_together(listed, store):
    with store.transaction(makers.origin()) as unit:
        makers.enclosure(unit, makers.site(unit, name="Mill"), name="Tank", capacity=2)
    rows = [[f"A-{number}", "Testudo fictiva", "Mill", "Tank"] for number in range(3)]

    report = listed("animals", "tag taxon site enclosure", *rows, skip_invalid=True)

    assert (counts(report), codes(report)[0]) == ((2, 0, 0, 1), (2, "enclosure", "too-many"))


def gone(store, tag_id, on):
    with store.transaction(makers.origin()) as unit:
        record_event(unit, tag_id, AnimalEventStated(kind=EventKind.DIED, happened_on=on))


@pytest.mark.parametrize("acquired_on", ["2025-01-10", ""])
def test_an_animal_that_died_since_is_not_registered_again(listed, store, stored, acquired_on):
    gone(store, animals(stored)["T-1"]["id"], date(2025, 9, 1))

    report = listed("animals", "tag taxon acquired_on sex", ["T-1", "Testudo fictiva", acquired_on, "female"])

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 1, 0), ["ended"])
    assert len(stored(Animal)) == 2


def test_the_tag_of_one_that_died_is_given_to_another_only_from_then_on(listed, store, stored):
    gone(store, animals(stored)["T-1"]["id"], date(2025, 9, 1))

    early = listed("animals", "tag taxon acquired_on", ["T-1", "Testudo fictiva", "2025-08-31"])
    late = listed("animals", "tag taxon acquired_on", ["T-1", "Testudo fictiva", "2025-09-01"])

    assert (codes(early), counts(late)) == ([(0, "tag", "tag-ended")], (1, 0, 0, 0))
    assert sorted(row["ended_on"] is None for row in stored(Animal) if row["tag"] == "T-1") == [False, True]
    assert counts(listed("animals", "tag taxon acquired_on", ["T-1", "Testudo fictiva", "2025-09-01"])) == (0, 0, 1, 0)


def test_a_tag_that_stands_twice_is_refused_and_the_first_counts(rows, stored):
    report = rows(GROUP, ["a-2", *GROUP[1:]], skip_invalid=True)

    assert (counts(report), codes(report)) == ((1, 0, 0, 1), [(1, "tag", "tag-repeated")])


def test_one_refusal_means_that_nothing_is_written_and_the_journal_is_as_it_was(rows, stored, store):
    entries = len(stored(JournalEntry))

    report = rows(FULL, ["A-3", "Dragon", *[""] * 20])

    assert (report.written, counts(report)) == (False, (1, 0, 0, 1))
    assert ({"T-1", "G-1"}, entries) == (animals(stored).keys(), len(stored(JournalEntry)))


def test_a_dry_run_says_the_same_and_leaves_no_trace(rows, stored):
    entries = len(stored(JournalEntry))

    dry = rows(FULL, GROUP, ["A-3", "Dragon", *[""] * 20], skip_invalid=True, dry_run=True)

    assert (animals(stored).keys(), len(stored(JournalEntry))) == ({"T-1", "G-1"}, entries)
    wet = rows(FULL, GROUP, ["A-3", "Dragon", *[""] * 20], skip_invalid=True)
    assert (counts(dry), dry.refusals) == (counts(wet), wet.refusals)


def test_a_foreign_list_with_its_own_headings_orders_and_words(importing, stored):
    mapping = """
[columns]
tag = "Nr."
taxon = "Art"
sex = "Geschlecht"
hatched_on = "Schlupf"
acquired_on = "Zugang"
[dates]
order = "dmy"
[values]
ignore = ["?"]
sex = { "0.1" = "female", "1.0" = "male" }
[totals]
words = ["Summe"]
"""
    rows = [["Bestand", "", "", "", ""], ["Nr.", "Art", "Geschlecht", "Schlupf", "Zugang"]]
    rows += [["Ä 1", "Testudo fictiva", "0.1", "05/2019", "03.04.2024"], ["Ä 2", "Testudo fictiva", "?", "2018", "?"]]
    rows += [["Summe 2", "", "", "", ""]]

    report = importing(text(*rows, delimiter=";"), kind="animals", mapping=mapping)

    found = animals(stored)
    assert (counts(report), report.skipped_totals) == ((2, 0, 0, 0), 1)
    assert (found["Ä 1"]["sex"].value, found["Ä 1"]["hatched_on"], found["Ä 1"]["came_on"]) == (
        "female",
        date(2019, 5, 1),
        date(2024, 4, 3),
    )
    assert (found["Ä 2"]["sex"].value, found["Ä 2"]["hatched_precision"].value) == ("unknown", "year")


def test_a_date_cell_that_stands_for_a_month_says_so_beside_it(importing, stored):
    headings = ("tag", "taxon", "hatched_on", "hatched_precision")
    rows = [
        ["A-1", "Testudo fictiva", date(2019, 5, 7), "month"],
        ["A-2", "Testudo fictiva", 2019, "day"],
        ["A-3", "Testudo fictiva", None, "day"],
    ]

    report = importing(workbook(headings, *rows), kind="animals", skip_invalid=True)

    found = animals(stored)
    assert codes(report) == [(2, "hatched_on", "hatched_on-missing")]
    assert (found["A-1"]["hatched_on"], found["A-1"]["hatched_precision"].value) == (date(2019, 5, 1), "month")
    assert (found["A-2"]["hatched_on"], found["A-2"]["hatched_precision"].value) == (date(2019, 1, 1), "year")


@pytest.mark.parametrize("tag", ["<b>A&amp;1</b>", "=1+1", "مصباح ١", "'A", "@A", "🦎", "-A"])
def test_honest_tags_are_kept_whatever_they_look_like(listed, stored, tag):
    assert listed("animals", "tag taxon", [tag, "Testudo fictiva"]).created == 1
    assert tag in animals(stored)


def test_two_thousand_animals_come_in_by_one_file(importing, stored, store):
    with store.transaction(makers.origin()) as unit:
        mill = makers.site(unit, name="Mill")
        for number in range(200):
            makers.enclosure(unit, mill, name=f"Rack {number}")
    headings = ["tag", "taxon", "sex", "hatched_on", "acquired_on", "site", "enclosure"]
    rows = [
        [f"M-{number:04}", "Testudo fictiva", "female", 2010 + number % 10, "2025-02-01", "Mill", f"Rack {number % 200}"]
        for number in range(2000)
    ]

    report = importing(workbook(headings, *rows), kind="animals")

    assert counts(report) == (2000, 0, 0, 0)
    assert len(stored(Animal)) == 2002
    assert counts(importing(workbook(headings, *rows), kind="animals", dry_run=True)) == (0, 0, 2000, 0)
    with store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []
