"""Slips of the unit, at their limits."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.rules.measures import LENGTH_MISTAKES, MASS_MISTAKES, Measured, MeasureKind, expected, unit_slip

MASS, LENGTH = MeasureKind.MASS, MeasureKind.STRAIGHT_CARAPACE_LENGTH
THEN = date(2025, 3, 1)
SOME = settings(max_examples=200, deadline=None, derandomize=True)


def slip(value, before, *, kind=MASS, days=30):
    """Return what is said of a value some days after another."""
    return unit_slip(Measured(value, THEN + timedelta(days)), Measured(before, THEN), kind=kind)


def test_a_kind_says_its_field_and_unit():
    assert (MASS.field, MASS.unit) == ("mass_g", "g")
    assert {kind.field for kind in MeasureKind if kind is not MASS} == {"length_mm"}
    assert LENGTH.unit == "mm"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (1.2, "1.2 kilograms would be 1200 g"),
        (1_200_000.0, "1200000 milligrams would be 1200 g"),
        (42.33, "42.33 ounces would be 1200 g"),
        (34019.0, "1200 g taken for ounces and converted would have become 34019 g"),
        (2.6455, "2.6455 pounds would be 1200 g"),
        (544310.0, "1200 g taken for pounds and converted would have become 544310 g"),
        (120.0, "with the decimal point one place further right it would be 1200 g"),
        (12000.0, "with the decimal point one place further left it would be 1200 g"),
        (12.0, "with the decimal point two places further right it would be 1200 g"),
        (120_000.0, "with the decimal point two places further left it would be 1200 g"),
    ],
)
def test_a_mass_in_another_unit_is_asked_back_with_what_it_would_be(value, said):
    found = slip(value, 1200.0)

    assert said in found.sentence
    assert "On 2025-03-01 it was 1200 g, so about 600 to 2690 g would be expected" in found.sentence
    assert "confirmed true" in found.sentence
    assert not found.may_have_grown


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (30.5, "30.5 centimetres would be 305 mm"),
        (12.0, "12 inches would be 305 mm"),
        (0.305, "0.305 metres would be 305 mm"),
        (3.05, "with the decimal point two places further right it would be 305 mm"),
        (3050.0, "with the decimal point one place further left it would be 305 mm"),
        (7747.0, "305 mm taken for inches and converted would have become 7747 mm"),
        (305_000.0, "305000 micrometres would be 305 mm"),
    ],
)
def test_a_length_in_another_unit_is_asked_back_with_what_it_would_be(value, said):
    assert said in slip(value, 305.0, kind=LENGTH).sentence


@SOME
@given(
    st.floats(0.01, 100_000),
    st.floats(0.7, 1.4),
    st.integers(-2000, 2000),
    st.sampled_from([(MASS, one.factor) for one in MASS_MISTAKES[1:]] + [(LENGTH, one.factor) for one in LENGTH_MISTAKES]),
    st.booleans(),
)
def test_whatever_is_wrong_by_more_than_ten_is_asked_back_however_long_ago(before, really, days, slipped, too_large):
    kind, factor = slipped
    value = before * really * factor if too_large else before * really / factor

    assert slip(value, before, kind=kind, days=days) is not None


@SOME
@given(st.floats(0.01, 100_000), st.floats(0.51, 1.99), st.integers(-2000, 2000))
def test_what_meals_and_clutches_do_is_never_asked_back(before, changed, days):
    assert slip(before * changed, before, days=days) is None


@pytest.mark.parametrize(
    ("days", "asked", "may_have_grown"),
    [(0, True, False), (180, True, False), (300, True, True), (365, True, True), (500, False, False), (1000, False, False)],
)
def test_tenfold_growth_is_asked_back_until_it_is_slow_enough_and_both_explanations_are_said(days, asked, may_have_grown):
    found = slip(200.0, 20.0, days=days)

    assert (found is not None) == asked
    if found is not None:
        assert found.may_have_grown == may_have_grown
        assert ("grown as fast as the young can" in found.sentence) == may_have_grown
        assert "it would be 20 g" in found.sentence


def test_nothing_shrinks_as_fast_as_the_young_grow():
    assert not slip(2.0, 20.0, days=365).may_have_grown


@pytest.mark.parametrize(
    ("days", "factor", "asked"),
    [(0, 2.0, False), (0, 0.5, False), (0, 4.9, False), (0, 5.0, True), (0, 20.0, True), (0, 1 / 4.9, False), (0, 1 / 5.1, True)],
)
def test_masses_are_asked_back_where_a_factor_of_ten_brings_them_within_the_double(days, factor, asked):
    assert (slip(100.0 * factor, 100.0, days=days) is not None) == asked


def test_a_loss_that_another_unit_explains_worse_is_none_of_the_unit():
    assert slip(45.0, 100.0, days=365) is None


def test_a_late_entry_is_judged_by_what_was_measured_after_it():
    grown = Measured(1200.0, THEN)
    a_year_before = THEN - timedelta(365)

    assert unit_slip(Measured(300.0, a_year_before), grown, kind=MASS) is None
    found = unit_slip(Measured(1.2, a_year_before), grown, kind=MASS)
    assert "1.2 kilograms would be 1200 g" in found.sentence
    assert unit_slip(Measured(120.0, a_year_before), grown, kind=MASS).may_have_grown


@SOME
@given(st.floats(0.01, 100_000), st.integers(0, 3000), st.sampled_from(MeasureKind))
def test_what_is_expected_holds_the_other_value_and_widens_with_time(value, days, kind):
    sooner, later = (expected(kind, Measured(value, THEN), on=THEN + timedelta(many)) for many in (days, days + 30))
    past = expected(kind, Measured(value, THEN), on=THEN - timedelta(days))

    assert later[0] <= sooner[0] < value < sooner[1] <= later[1]
    assert past[0] < value < past[1]


def test_the_likelier_explanation_is_said_first_and_no_more_than_two():
    found = slip(2.6, 1200.0)

    assert [mistake.factor for mistake, _ in found.meant] == [453.59237, 1000.0]
    assert found.sentence.index("pounds") < found.sentence.index("kilograms")
