"""A list of measurements: units in the cell, the heading or beside; slips asked back; and the same list again."""

from __future__ import annotations

from datetime import date

import pytest

from domain.actions.measurements import end_measurement
from domain.actions.recording import Ending
from domain.records.measurements import Measurement
from domain.records.staff import Staff
from tests import makers
from tests.importing.conftest import codes, counts, text, workbook

pytestmark = pytest.mark.usefixtures("living")

HEADINGS = "animal kind value measured_on method measured_by of_number confirmed note"
WEIGHT = ["T-1", "mass", "1,2 kg", "2025-03-01", "scales", "ada MARSH", "", "", ""]
LENGTH = ["T-1", "straight carapace length", "6.5 in", "2025-03-01", "", "", "", "", ""]


@pytest.fixture
def measured(listed):
    return lambda *rows, **rest: listed("measurements", HEADINGS, *rows, **rest)


def values(stored):
    return sorted((row["kind"].value, row["mass_g"] or row["length_mm"]) for row in stored(Measurement) if row["ended_on"] is None)


def test_values_are_kept_in_grams_and_millimetres(measured, stored):
    assert counts(measured(WEIGHT, LENGTH)) == (2, 0, 0, 0)
    assert values(stored) == [("mass", 1200.0), ("straight_carapace_length", 165.1)]
    (ada,) = stored(Staff)
    assert {(row["method"], row["staff_id"]) for row in stored(Measurement)} == {("scales", ada["id"]), (None, None)}


@pytest.mark.parametrize(
    ("said", "grams"),
    [
        ("350 g", 350.0),
        ("350g", 350.0),
        ("350 Grams", 350.0),
        ("0.35 kg", 350.0),
        ("12 oz", 340.1942775),
        ("2 lb", 907.18474),
        ("2 lbs.", 907.18474),
        ("1 250,5 g", 1250.5),
    ],
)
def test_each_unit_of_mass(measured, stored, said, grams):
    assert counts(measured(["T-1", "mass", said, *WEIGHT[3:]])) == (1, 0, 0, 0)
    assert values(stored) == [("mass", pytest.approx(grams, abs=1e-9))]


@pytest.mark.parametrize(
    ("said", "millimetres"), [("165 mm", 165.0), ("16.5 cm", 165.0), ("0.165 m", 165.0), ("6.5 in", 165.1), ('6.5"', 165.1)]
)
def test_each_unit_of_length(measured, stored, said, millimetres):
    assert counts(measured(["T-1", "total length", said, *WEIGHT[3:]])) == (1, 0, 0, 0)
    assert values(stored) == [("total_length", pytest.approx(millimetres, abs=1e-9))]


@pytest.mark.parametrize("heading", ["value (g)", "Value [ g ]", "value g", "value_g", "VALUE in g", "value / g", "value (grams)"])
def test_the_unit_of_bare_numbers_may_stand_in_the_heading(importing, stored, heading):
    content = text(
        ("animal", "kind", heading, "measured_on"), ["T-1", "mass", "350", "2025-03-01"], ["T-1", "mass", "0.36 kg", "2025-03-02"]
    )

    assert counts(importing(content, kind="measurements")) == (2, 0, 0, 0)
    assert values(stored) == [("mass", 350.0), ("mass", 360.0)]


def test_a_keepers_own_sheet_of_weights(importing, stored):
    mapping = """
[columns]
animal = "Tier"
value = "Gewicht"
measured_on = "Datum"
[defaults]
kind = "mass"
[dates]
order = "dmy"
[numbers]
decimal = ","
"""
    headings = ("Tier", "Datum", "Gewicht (kg)")

    report = importing(text(headings, ["T-1", "01.03.2025", "1,234"], delimiter=";"), kind="measurements", mapping=mapping)
    again = importing(workbook(headings, ["T-1", date(2025, 3, 1), 1.234]), kind="measurements", mapping=mapping)

    assert (counts(report), counts(again)) == ((1, 0, 0, 0), (0, 0, 1, 0))
    assert values(stored) == [("mass", 1234.0)]


def test_the_unit_may_stand_in_a_column_and_the_cells_own_counts_more(listed, stored):
    headings = "animal kind value unit measured_on"

    report = listed("measurements", headings, ["T-1", "mass", "350", "g", "2025-03-01"], ["T-1", "mass", "0.36 kg", "g", "2025-03-02"])

    assert counts(report) == (2, 0, 0, 0)
    assert values(stored) == [("mass", 350.0), ("mass", 360.0)]


def test_two_columns_that_are_the_value_are_refused(importing):
    with pytest.raises(Exception, match="stands there twice"):
        importing(text(("animal", "kind", "value (g)", "value (kg)", "measured_on")), kind="measurements")


def test_the_same_list_again_changes_nothing_in_whatever_unit(measured, stored):
    measured(WEIGHT, LENGTH)
    before = stored(Measurement)

    again = measured(["T-1", "mass", "1200 g", *WEIGHT[3:]], ["T-1", "Straight-Carapace_Length", "16.51 cm", *LENGTH[3:]])

    assert (counts(again), stored(Measurement)) == ((0, 0, 2, 0), before)


def test_another_value_of_that_day_corrects_it_and_blank_keeps(measured, stored):
    measured(WEIGHT)

    assert counts(measured(["T-1", "mass", "1250 g", "2025-03-01", "", "", "", "", "fasting"])) == (0, 1, 0, 0)
    (row,) = stored(Measurement)
    assert (row["mass_g"], row["method"], row["note"], row["version"]) == (1250.0, "scales", "fasting", 2)


def test_a_slip_of_the_unit_is_asked_back_and_taken_once_it_is_confirmed(measured, stored):
    slip = ["T-1", "mass", "1,2 g", "2025-04-01", "", "", "", "", ""]

    refused = measured(slip, WEIGHT, skip_invalid=True)

    assert (counts(refused), codes(refused)) == ((1, 0, 0, 1), [(0, "value", "unit-slip")])
    assert "say yes in the column confirmed" in refused.refusals[0].reason
    assert "kilogram" in refused.refusals[0].reason
    assert refused.refusals[0].value == "1,2 g"
    assert counts(measured([*slip[:7], "yes", ""])) == (1, 0, 0, 0)
    assert sorted(row["surprising"] for row in stored(Measurement)) == [False, True]
    assert counts(measured(slip)) == (0, 0, 1, 0)


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        (["T-9", "mass", "350 g", "2025-03-01", "", "", ""], "animal", "animal-unknown"),
        (["T-1", "girth", "350 g", "2025-03-01", "", "", ""], "kind", "kind-unknown"),
        (["T-1", "mass", "", "2025-03-01", "", "", ""], "value", "value-missing"),
        (["T-1", "mass", "350", "2025-03-01", "", "", ""], "unit", "unit-missing"),
        (["T-1", "mass", "350 mm", "2025-03-01", "", "", ""], "value", "unit-unfit"),
        (["T-1", "total length", "350 g", "2025-03-01", "", "", ""], "value", "unit-unfit"),
        (["T-1", "mass", "350 stone", "2025-03-01", "", "", ""], "value", "not-a-number"),
        (["T-1", "mass", "heavy", "2025-03-01", "", "", ""], "value", "not-a-number"),
        (["T-1", "mass", "0 g", "2025-03-01", "", "", ""], "value", "greater-than"),
        (["T-1", "mass", "-3 g", "2025-03-01", "", "", ""], "value", "greater-than"),
        (["T-1", "mass", "1e300 kg", "2025-03-01", "", "", ""], "value", "less-than-equal"),
        (["T-1", "mass", "350 g", "", "", "", ""], "measured_on", "measured_on-missing"),
        (["T-1", "mass", "350 g", "2026-03-02", "", "", ""], "measured_on", "in-future"),
        (["T-1", "mass", "350 g", "2025-03-01", "Nobody", "", ""], "measured_by", "measured_by-unknown"),
        (["T-1", "mass", "350 g", "2025-03-01", "", "3", ""], "of_number", "individual"),
        (["G-1", "mass", "350 g", "2025-03-01", "", "", ""], "of_number", "of_number-missing"),
        (["G-1", "mass", "350 g", "2025-03-01", "", "13", ""], "of_number", "too-many"),
        (["T-1", "mass", "350 g", "2025-03-01", "", "", "perhaps"], "confirmed", "confirmed-unknown"),
    ],
)
def test_what_cannot_be_is_refused_by_its_column(listed, stored, row, column, code):
    report = listed("measurements", "animal kind value measured_on measured_by of_number confirmed", row)

    assert (codes(report), stored(Measurement)) == ([(0, column, code)], [])


def test_a_name_that_two_members_of_staff_bear_is_not_guessed(measured, store):
    with store.transaction(makers.origin()) as unit:
        makers.staff(unit, name="Ada Marsh")

    assert codes(measured(WEIGHT)) == [(0, "measured_by", "measured_by-ambiguous")]


def test_two_of_a_kind_on_one_day_are_refused_in_a_list_and_kept_apart_on_record(measured, store, stored):
    both = measured(WEIGHT, ["T-1", "mass", "1250 g", *WEIGHT[3:]], skip_invalid=True)
    (row,) = stored(Measurement)
    with store.transaction(makers.origin()) as unit:
        unit.add(Measurement(**{**row, "id": unit.new_id(), "mass_g": 1250.0}), action="record_measurement")

    assert (counts(both), codes(both)) == ((1, 0, 0, 1), [(1, "measured_on", "measured_on-repeated")])
    assert counts(measured(WEIGHT)) == (0, 0, 1, 0)
    assert codes(measured(["T-1", "mass", "1300 g", *WEIGHT[3:]])) == [(0, "value", "several-that-day")]


def test_a_measurement_that_was_withdrawn_is_not_recorded_again(measured, store, stored):
    measured(WEIGHT)
    (row,) = stored(Measurement)
    with store.transaction(makers.origin()) as unit:
        end_measurement(unit, row["id"], Ending(reason="wrong animal"), owner_id=row["animal_id"])

    report = measured(WEIGHT)

    assert (counts(report), [notice.code for notice in report.notices]) == ((0, 0, 1, 0), ["withdrawn"])
    assert values(stored) == []
    assert counts(measured(["T-1", "mass", "1.3 kg", *WEIGHT[3:]])) == (1, 0, 0, 0)
