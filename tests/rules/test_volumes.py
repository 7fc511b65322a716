"""Volumes and areas, at their limits; the published values are in the vectors."""

from __future__ import annotations

from math import pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from domain.errors import Unfit
from domain.rules import volumes

LENGTHS = st.integers(1, 2000).map(lambda cm: cm / 100)
SOME = settings(max_examples=50, deadline=None, derandomize=True)


def test_a_litre_is_a_cube_of_ten_centimetres():
    assert volumes.box_l(0.1, 0.1, 0.1) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "volume_l",
    [
        volumes.box_l(1, 1, 0),
        volumes.cylinder_l(1, 0),
        volumes.stadium_l(2, 1, 0),
        volumes.ellipse_l(2, 1, 0),
        volumes.truncated_cone_l(2, 1, 0),
        volumes.sloping_floor_l(2, 1, 0, 0),
        volumes.sloped_pond_l(2, 1, 0, run_per_rise=1),
        volumes.lying_cylinder_l(1, 2, 0),
        volumes.contours_l([5.0], interval_m=1),
        volumes.cross_sections_l([5.0], spacing_m=1),
        volumes.sounded_pond_l(5, [0.0, 0.0]),
    ],
)
def test_without_depth_there_is_no_water(volume_l):
    assert volume_l == 0


@SOME
@given(LENGTHS, LENGTHS, LENGTHS)
def test_shapes_at_their_limits_are_the_simpler_shapes(one, other, depth):
    length, width = max(one, other), min(one, other)

    assert volumes.truncated_cone_l(length, length, depth) == pytest.approx(volumes.cylinder_l(length, depth))
    assert volumes.stadium_l(width, width, depth) == pytest.approx(volumes.cylinder_l(width, depth))
    assert volumes.ellipse_l(width, width, depth) == pytest.approx(volumes.cylinder_l(width, depth))
    assert volumes.sloping_floor_l(length, width, depth, depth) == pytest.approx(volumes.box_l(length, width, depth))
    assert volumes.sloped_pond_l(length, width, depth, run_per_rise=0) == pytest.approx(volumes.box_l(length, width, depth))
    assert volumes.box_from_outside_l(length, width, depth, wall_m=0) == pytest.approx(volumes.box_l(length, width, depth))
    assert volumes.contours_l([length, length], interval_m=depth) == pytest.approx(1000 * length * depth)
    assert volumes.cross_sections_l([length, length], spacing_m=depth) == pytest.approx(1000 * length * depth)
    assert volumes.sounded_pond_l(length, [depth] * 3) == pytest.approx(1000 * length * depth)
    assert volumes.lying_cylinder_l(width, length, width) == pytest.approx(volumes.cylinder_l(width, length))
    assert volumes.lying_cylinder_l(width, length, width / 2) == pytest.approx(volumes.cylinder_l(width, length) / 2)


@SOME
@given(LENGTHS, LENGTHS)
def test_an_ellipse_lies_within_a_stadium_within_a_rectangle(one, other):
    length, width = max(one, other), min(one, other)

    ellipse, stadium = volumes.ellipse_m2(length, width), volumes.stadium_m2(length, width)

    assert ellipse <= stadium * (1 + 1e-12)
    assert stadium <= length * width * (1 + 1e-12)
    assert ellipse >= 0.73 * stadium


def test_a_battered_pond_may_taper_to_a_ridge():
    # A wedge, half the box of the same top, less the tapering of its two ends.
    assert volumes.sloped_pond_l(1000, 2, 1, run_per_rise=1) == pytest.approx(1000 * (1000 - 2 / 3))


def test_areas_in_plan():
    assert volumes.circle_m2(2) == pytest.approx(pi)
    assert volumes.stadium_m2(3, 2) == pytest.approx(2 + pi)
    assert volumes.ellipse_m2(4, 2) == pytest.approx(2 * pi)


@pytest.mark.parametrize(
    ("compute", "reason"),
    [
        (lambda: volumes.box_from_outside_l(1.0, 0.5, 0.4, wall_m=0.25), "the walls leave no room inside"),
        (lambda: volumes.sloped_pond_l(5, 3, 1.6, run_per_rise=1), "the sides meet above the stated depth"),
        (lambda: volumes.lying_cylinder_l(0.8, 1.5, 0.81), "the water stands above the cylinder"),
        (
            lambda: volumes.volume_by_tracer_l(100, salinity_before_g_per_l=0.5, salinity_after_g_per_l=0.5),
            "salinity has to rise for a volume to follow",
        ),
        (lambda: volumes.stadium_m2(1.0, 1.1), "a tank with round ends is at least as long as wide"),
    ],
)
def test_a_shape_that_cannot_be_is_refused(compute, reason):
    with pytest.raises(Unfit) as refused:
        compute()

    assert (str(refused.value), refused.value.code) == (reason, "shape-impossible")


@pytest.mark.parametrize(("rise_g_per_l", "volume_l"), [(volumes.LEAST_RISE_G_PER_L, 1e8), (0.5, 200.0)])
def test_a_rise_that_a_meter_could_show_gives_a_volume(rise_g_per_l, volume_l):
    found = volumes.volume_by_tracer_l(100, salinity_before_g_per_l=0, salinity_after_g_per_l=rise_g_per_l)

    assert found == pytest.approx(volume_l)


def test_a_tank_measured_outside_is_smaller_inside_by_both_walls():
    assert volumes.box_from_outside_l(1.0, 0.5, 0.4, wall_m=0.2) == pytest.approx(0.6 * 0.1 * 0.4 * 1000)


def test_furnishing_takes_its_share():
    assert volumes.net_of_furnishing_l(200, 0) == 200
    assert volumes.net_of_furnishing_l(200, 0.25) == 150
