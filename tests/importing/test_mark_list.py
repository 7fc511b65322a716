"""A list of marks: codes twice or from a scanner, one bearer among the living; and the same list again."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.marks import end_mark
from domain.actions.recording import Ending
from domain.records.marks import Mark
from tests import makers
from tests.importing.conftest import codes, counts

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = "animal kind code code_again reading scheme body_site from_on until_on until_reason is_primary reader view note"
CHIP = ["T-1", "transponder", "985 112 003 456 789", "985112003456789", "", "", "left hind leg", "2025-02-01", "", "", "yes", "", "", ""]
OLD = [
    "T-1",
    "other transponder",
    "*12-34:5678.9A",
    "",
    "scanner",
    "",
    "",
    "2024-05-01",
    "2025-01-31",
    "failed",
    "no",
    "ring reader",
    "",
    "",
]
NOTCH = ["T-1", "scute notch", "3L", "", "", "marginals from the front", "", "2025-02-01", "", "", "", "", "", ""]
PHOTO = ["G-1", "photograph", "", "", "", "", "", "2025-02-02", "", "", "", "", "plastron", "two of twelve"]
LIST = (CHIP, OLD, NOTCH, PHOTO)


@pytest.fixture
def marked(listed):
    return lambda *rows, **rest: listed("marks", HEADINGS, *rows, **rest)


def marks(stored):
    return {row["kind"].value: row for row in stored(Mark)}


def test_marks_of_several_kinds_come_in(marked, stored):
    assert counts(marked(*LIST)) == (4, 0, 0, 0)
    found = marks(stored)
    chip, old = found["transponder"], found["other_transponder"]
    assert (chip["code"], chip["reading"].value, chip["is_primary"], chip["until_on"]) == ("985112003456789", "typed_twice", True, None)
    assert (old["code"], old["until_on"], old["until_reason"], old["is_primary"]) == ("123456789A", date(2025, 1, 31), "failed", False)
    assert (found["scute_notch"]["scheme"], found["photograph"]["view"]) == ("marginals from the front", "plastron")


def test_the_same_list_again_changes_nothing(marked, stored):
    marked(*LIST)
    before = stored(Mark)
    otherwise = [*CHIP[:2], "985112 003456789", "", "scanner", *CHIP[5:]]

    assert counts(marked(*reversed(LIST))) == (0, 0, 4, 0)
    assert counts(marked(otherwise)) == (0, 0, 1, 0)
    assert stored(Mark) == before


def test_blank_keeps_and_what_differs_is_corrected(marked, listed, stored):
    marked(*LIST)

    rows = [["T-1", "transponder", CHIP[2], "2025-02-03", "lost", "2025-12-01"]]
    report = listed("marks", "animal kind code from_on until_reason until_on", *rows)

    chip = marks(stored)["transponder"]
    assert counts(report) == (0, 1, 0, 0)
    assert (chip["from_on"], chip["until_on"], chip["body_site"], chip["is_primary"]) == (
        date(2025, 2, 3), date(2025, 12, 1), "left hind leg", False,
    )  # fmt: skip


def test_a_code_that_was_borne_and_is_borne_again_is_two_marks(listed, stored):
    headings = "animal kind code from_on until_on"
    rows = (["T-1", "band", "R 7", "2025-02-01", "2025-03-01"], ["T-1", "band", "r7", "2025-06-01", ""])

    assert counts(listed("marks", headings, *rows)) == (2, 0, 0, 0)
    assert counts(listed("marks", headings, *rows)) == (0, 0, 2, 0)
    assert len(stored(Mark)) == 2


@pytest.mark.parametrize(
    ("changed", "column", "code"),
    [
        ({"animal": "T-9"}, "animal", "animal-unknown"),
        ({"kind": ""}, "kind", "kind-missing"),
        ({"kind": "barcode"}, "kind", "kind-unknown"),
        ({"code": "", "code_again": ""}, "code", "code-missing"),
        ({"code_again": ""}, "code_again", "code_again-missing"),
        ({"code_again": "985112003456788"}, "code_again", "codes-differ"),
        ({"code": "98511200345678", "code_again": "98511200345678"}, "code", "code-length"),
        ({"from_on": ""}, "from_on", "from_on-missing"),
        ({"from_on": "2026-03-02"}, "from_on", "in-future"),
        ({"until_on": "2025-01-31", "is_primary": ""}, "until_on", "not-together"),
        ({"until_reason": "lost"}, "until_on", "until_on-missing"),
        ({"is_primary": "maybe"}, "is_primary", "is_primary-unknown"),
        ({"animal": "G-1"}, "kind", "individual-only"),
        ({"kind": "other transponder", "code": "123456789", "code_again": "123456789"}, "reader", "reader-missing"),
        ({"kind": "photograph", "code": "", "code_again": ""}, "view", "view-missing"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(marked, stored, changed, column, code):
    row = [changed.get(name, cell) for name, cell in zip(HEADINGS.split(), CHIP, strict=True)]

    assert (codes(marked(row)), stored(Mark)) == ([(0, column, code)], [])


def test_what_is_missing_is_said_with_what_helps(marked):
    row = ["" if name == "code_again" else cell for name, cell in zip(HEADINGS.split(), CHIP, strict=True)]

    assert "scanner" in marked(row).refusals[0].reason


def test_a_code_that_another_living_animal_bears_is_refused_and_it_is_named(marked, store, stored):
    with store.transaction(makers.origin()) as unit:
        makers.animal(unit, makers.taxon(unit, "Emys ficta"), tag="E-1")

    report = marked(CHIP, ["E-1", *CHIP[1:]], skip_invalid=True)

    assert (counts(report), codes(report)) == ((1, 0, 0, 1), [(1, "code", "mark-taken")])
    assert "T-1" in report.refusals[0].reason


def test_rows_that_say_one_mark_twice_or_two_primary_ones_are_refused(marked):
    band = ["T-1", "band", "R 7", "", "", "", "", "2025-02-01", "", "", "x", "", "", ""]

    report = marked(CHIP, CHIP, band, skip_invalid=True)

    assert counts(report) == (1, 0, 0, 2)
    assert set(codes(report)) == {
        (1, "code", "code-repeated"),
        (1, "is_primary", "is_primary-repeated"),
        (2, "is_primary", "is_primary-repeated"),
    }


def test_a_mark_that_was_taken_back_is_not_put_on_record_again(marked, store, stored):
    marked(CHIP)
    (row,) = stored(Mark)
    with store.transaction(makers.origin()) as unit:
        end_mark(unit, row["id"], Ending(reason="misread"), owner_id=row["animal_id"])

    report = marked(CHIP)

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 1, 0), ["withdrawn"])
    assert [row["live_key"] for row in stored(Mark)] == [None]
