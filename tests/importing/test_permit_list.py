"""A list of permits, each with its taxa; and the same list again."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.permits import end_permit
from domain.actions.recording import Ending
from domain.records.journal import JournalEntry
from domain.records.permits import Permit, PermitTaxon
from domain.records.taxa import Taxon
from tests import makers
from tests.importing.conftest import codes, counts, text

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = (
    "kind jurisdiction authority number holder site issued_on valid_from valid_until inspected_on "
    "activities taxa any_taxon total_number note"
)
KEEPING = [
    "keeping", "XR-LOW", "Reed County", "RC 2025/17", "Marshlight Trust", "reedmere HOUSE", "01.03.2025", "", "2027-02-28", "2025-02-20",
    "hold | move within", "Testudo vetusta = 12 | emys FICTA", "", "20", "original in the safe",
]  # fmt: skip
LICENCE = ["licence", "XR", "Ministry", "7", "", "", "2024-06-01", "2024-07-01", "", "", "", "", "yes", "", ""]
LIST = (KEEPING, LICENCE)
DATES = '[dates]\norder = "dmy"\n'


@pytest.fixture(autouse=True)
def law(store, living):
    with store.transaction(makers.origin()) as unit:
        makers.taxon(unit, "Emys ficta")
        makers.document_kind(unit, "keeping")
        makers.document_kind(unit, "licence")


@pytest.fixture
def permitted(listed):
    return lambda *rows, **rest: listed("permits", HEADINGS, *rows, mapping=DATES, **rest)


def permits(stored):
    return {row["number"]: row for row in stored(Permit)}


def taxa(stored):
    """Return what the kept permits list: taxa by name with their numbers."""
    names = {row["id"]: row["scientific_name"] for row in stored(Taxon)}
    return {names[row["taxon_id"]]: row["number"] for row in stored(PermitTaxon) if row["ended_on"] is None}


def test_permits_come_in_with_their_taxa(permitted, stored):
    report = permitted(*LIST)

    assert (counts(report), codes(report), report.written) == ((2, 0, 0, 0), [], True)
    found = permits(stored)
    keeping, licence = found["RC 2025/17"], found["7"]
    assert (keeping["kind"], keeping["jurisdiction"], keeping["authority"]) == ("keeping", "XR-LOW", "Reed County")
    assert (keeping["issued_on"], keeping["valid_from"], keeping["valid_until"]) == (
        date(2025, 3, 1), date(2025, 3, 1), date(2027, 2, 28),
    )  # fmt: skip
    assert (keeping["activities"], keeping["total_number"], keeping["any_taxon"]) == (["hold", "move_within"], 20, False)
    assert keeping["site_id"] is not None
    assert taxa(stored) == {"Testudo vetusta": 12, "Emys ficta": None}
    assert (licence["site_id"], licence["valid_from"], licence["any_taxon"]) == (None, date(2024, 7, 1), True)


def test_the_same_list_again_changes_nothing(permitted, stored):
    permitted(*LIST)
    before, entries = (stored(Permit), stored(PermitTaxon)), len(stored(JournalEntry))
    otherwise = [*KEEPING[:2], "REED county", "rc 2025/17", *KEEPING[4:]]

    assert counts(permitted(*reversed(LIST))) == (0, 0, 2, 0)
    assert counts(permitted(otherwise)) == (0, 0, 1, 0)
    assert ((stored(Permit), stored(PermitTaxon)), len(stored(JournalEntry))) == (before, entries)


def test_blank_keeps_and_what_differs_is_corrected(permitted, listed, stored):
    permitted(*LIST)
    key = "kind authority number jurisdiction issued_on"

    rows = [["keeping", "Reed County", "RC 2025/17", "XR-LOW", "2025-03-01", "2026-01-31", "Emys ficta = 4|Testudo fictiva"]]
    report = listed("permits", f"{key} valid_until taxa", *rows)

    found = permits(stored)["RC 2025/17"]
    assert counts(report) == (0, 1, 0, 0)
    assert (found["valid_until"], found["total_number"], found["note"]) == (date(2026, 1, 31), 20, "original in the safe")
    assert taxa(stored) == {"Emys ficta": 4, "Testudo fictiva": None}
    assert counts(listed("permits", f"{key} valid_until taxa", *rows)) == (0, 0, 1, 0)
    assert counts(listed("permits", f"{key} taxa", [*rows[0][:5], ""])) == (0, 0, 1, 0)


@pytest.mark.parametrize(
    ("changed", "column", "code"),
    [
        ({"kind": ""}, "kind", "kind-missing"),
        ({"kind": "unheard-of"}, "kind", "kind-unknown"),
        ({"jurisdiction": "Reedland"}, "jurisdiction", "string-pattern-mismatch"),
        ({"authority": ""}, "authority", "authority-missing"),
        ({"number": ""}, "number", "number-missing"),
        ({"site": "Nowhere"}, "site", "site-unknown"),
        ({"issued_on": "soon"}, "issued_on", "date-unreadable"),
        ({"issued_on": "2026-03-02", "valid_until": ""}, "issued_on", "in-future"),
        ({"valid_until": "2025-02-28"}, "valid_until", "not-together"),
        ({"activities": "hold | juggle"}, "activities", "activities-unknown"),
        ({"activities": "hold, hold"}, "activities", "repeated"),
        ({"taxa": "Testudo ignota"}, "taxa", "taxa-unknown"),
        ({"taxa": "Emys ficta | emys ficta = 2"}, "taxa", "taxa-repeated"),
        ({"taxa": "Emys ficta = many"}, "taxa", "not-whole-number"),
        ({"taxa": "Emys ficta = 0"}, "taxa", "not-whole-number"),
        ({"taxa": "= 3"}, "taxa", "not-whole-number"),
        ({"any_taxon": "yes"}, "taxa", "any-taxon"),
        ({"any_taxon": "perhaps"}, "any_taxon", "any_taxon-unknown"),
        ({"total_number": "2.5"}, "total_number", "not-whole-number"),
        ({"total_number": "0"}, "total_number", "greater-than-equal"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(permitted, stored, changed, column, code):
    row = [changed.get(name, cell) for name, cell in zip(HEADINGS.split(), KEEPING, strict=True)]

    assert (codes(permitted(row)), stored(Permit), stored(PermitTaxon)) == ([(0, column, code)], [], [])


def test_a_permit_is_made_to_be_for_any_taxon_only_without_taxa(permitted, listed):
    permitted(*LIST)
    headings = "kind authority number jurisdiction issued_on any_taxon"

    report = listed("permits", headings, ["keeping", "Reed County", "RC 2025/17", "XR-LOW", "2025-03-01", "yes"])
    assert codes(report) == [(0, "any_taxon", "taxa-listed")]
    report = listed("permits", f"{headings} taxa", ["licence", "Ministry", "7", "XR", "2024-06-01", "no", "Emys ficta"])
    assert counts(report) == (0, 1, 0, 0)


def test_rows_that_say_one_permit_twice_are_refused(permitted):
    report = permitted(KEEPING, [*KEEPING[:3], "rc 2025/17", *KEEPING[4:]], skip_invalid=True)

    assert (counts(report), codes(report)) == ((1, 0, 0, 1), [(1, "number", "number-repeated")])


def test_a_permit_that_was_taken_out_of_account_is_not_put_on_record_again(permitted, store, stored):
    permitted(KEEPING)
    with store.transaction(makers.origin()) as unit:
        end_permit(unit, permits(stored)["RC 2025/17"]["id"], Ending(reason="a draft"))

    report = permitted(KEEPING)

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 1, 0), ["withdrawn"])


def test_a_dry_run_says_the_same_and_leaves_no_trace(permitted, stored):
    entries = len(stored(JournalEntry))

    dry = permitted(*LIST, dry_run=True)

    assert (counts(dry), dry.written) == ((2, 0, 0, 0), False)
    assert (stored(Permit), len(stored(JournalEntry))) == ([], entries)


def test_a_list_in_json_may_hold_lists(importing, stored):
    row = '{"kind": "keeping", "jurisdiction": "XR", "authority": "Reed County", "number": 17, "issued_on": "2025-03-01",'
    content = f'[{row} "activities": ["hold", "breed"], "taxa": ["Emys ficta = 3", "Testudo fictiva"]}}]'.encode()

    report = importing(content, kind="permits", file_name="permits.json")

    assert counts(report) == (1, 0, 0, 0)
    assert permits(stored)["17"]["activities"] == ["hold", "breed"]
    assert taxa(stored) == {"Emys ficta": 3, "Testudo fictiva": None}


def test_total_lines_below_a_list_are_left_out(importing):
    rows = [[*LICENCE[:3], "7", *LICENCE[4:]], ["", "", "", "Total", *[""] * 11]]

    report = importing(text(HEADINGS.split(), *rows), kind="permits")

    assert (counts(report), report.skipped_totals) == ((1, 0, 0, 0), 1)
