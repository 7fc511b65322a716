"""A list of taxa: names in any order, synonyms, and the same list again."""

from __future__ import annotations

import pytest

from domain.records.journal import JournalEntry
from domain.records.taxa import Taxon
from tests.importing.conftest import codes, counts

pytestmark = pytest.mark.usefixtures("organisation")

HEADINGS = "scientific_name rank parent accepted_name common_name name_authorship according_to hazard note"
LIST = (
    ["Testudo vetusta", "species", "", "Testudo fictiva", "", "Ilk, 1901", "", "", ""],
    ["Testudo fictiva", "Species", "testudo", "", "Reed tortoise", "Ilk, 1899", "Marsh checklist 2024", "", ""],
    ["Testudo", "genus", "Testudinidae", "", "", "", "", "", ""],
    ["Testudinidae", "family", "", "", "", "", "", "can injure", "bites"],
)


def taxa(stored):
    return {row["scientific_name"]: row for row in stored(Taxon)}


def test_taxa_come_in_whatever_the_order_of_the_rows(listed, stored):
    report = listed("taxa", HEADINGS, *LIST)

    found = taxa(stored)
    assert (counts(report), report.written) == ((4, 0, 0, 0), True)
    assert found["Testudo fictiva"]["parent_id"] == found["Testudo"]["id"]
    assert found["Testudo"]["parent_id"] == found["Testudinidae"]["id"]
    assert found["Testudo vetusta"]["accepted_id"] == found["Testudo fictiva"]["id"]
    assert found["Testudinidae"]["hazard"].value == "can_injure"
    assert (found["Testudo fictiva"]["common_name"], found["Testudo fictiva"]["name_authorship"]) == ("Reed tortoise", "Ilk, 1899")


def test_a_taxon_that_names_two_others_of_which_one_lies_in_the_other_comes_last(listed):
    rows = (["C", "species", "B", "A", ""], ["A", "species", "B", "", ""], ["B", "genus", "", "", ""])

    assert counts(listed("taxa", "scientific_name rank parent accepted_name note", *rows)) == (3, 0, 0, 0)


def test_the_same_list_again_changes_nothing(listed, stored):
    listed("taxa", HEADINGS, *LIST)
    before = taxa(stored)

    assert counts(listed("taxa", HEADINGS, *reversed(LIST))) == (0, 0, 4, 0)
    assert taxa(stored) == before


def test_blank_keeps_and_what_differs_is_corrected(listed, stored):
    listed("taxa", HEADINGS, *LIST)

    report = listed("taxa", "scientific_name rank common_name note", ["TESTUDO  fictiva", "", "", "rare"])

    found = taxa(stored)["Testudo fictiva"]
    assert counts(report) == (0, 1, 0, 0)
    assert (found["common_name"], found["note"], found["version"]) == ("Reed tortoise", "rare", 2)


def test_a_refused_row_refuses_what_lies_in_it_and_nothing_is_written(listed, stored):
    report = listed("taxa", "scientific_name rank parent", ["Testudo fictiva", "species", "Testudo"], ["Testudo", "tribe", ""])

    assert codes(report) == [(0, "parent", "parent-unknown"), (1, "rank", "rank-unknown")]
    assert (report.written, stored(Taxon)) == (False, [])


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        (["Testudo", "species", "Testudo fictiva", ""], "parent", "circular"),
        (["Emys", "genus", "Testudo fictiva", ""], "parent", "rank-order"),
        (["Emys", "", "", ""], "rank", "rank-missing"),
        (["", "genus", "Testudo", ""], "scientific_name", "scientific_name-missing"),
        (["Emys", "genus", "Emys", ""], "parent", "parent-unknown"),
        (["Emys", "genus", "Nowhere", ""], "parent", "parent-unknown"),
        (["Emys ficta", "species", "", "Testudo vetusta"], "accepted_name", "synonym"),
        (["Emys ficta", "species", "Testudo vetusta", ""], "parent", "rank-order"),
        (["Testudinidae", "", "Testudo", ""], "parent", "circular"),
        (["E\x1bmys", "genus", "", ""], "scientific_name", "control-character"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(listed, row, column, code):
    listed("taxa", HEADINGS, *LIST)

    report = listed("taxa", "scientific_name rank parent accepted_name", row)

    assert codes(report) == [(0, column, code)]


def test_two_taxa_that_lie_in_each_other_are_refused(listed):
    rows = (["A", "genus", "B"], ["B", "family", "A"], ["C", "species", "A"])

    report = listed("taxa", "scientific_name rank parent", *rows, skip_invalid=True)

    assert {code for _, _, code in codes(report)} == {"parent-unknown"}
    assert report.created == 0


def test_a_dry_run_says_the_same_and_leaves_no_trace(listed, stored):
    entries = len(stored(JournalEntry))

    dry = listed("taxa", HEADINGS, *LIST, dry_run=True)

    assert (counts(dry), dry.written, dry.dry_run) == ((4, 0, 0, 0), False, True)
    assert (stored(Taxon), len(stored(JournalEntry))) == ([], entries)
    assert counts(listed("taxa", HEADINGS, *LIST)) == (4, 0, 0, 0)
