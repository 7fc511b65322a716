"""Water volume and floor area from the shape of an enclosure. Inside dimensions and *water* depth, in metres; volumes in litres.

Source:
    Plane and solid geometry where nothing else is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import acos, pi, sqrt

from domain.errors import Unfit

LITRES_PER_M3 = 1000.0
LEAST_RISE_G_PER_L = 1e-6
"""No meter shows less, and a volume that followed from less would be no volume."""


def box_l(length_m: float, width_m: float, water_depth_m: float) -> float:
    """Return the volume of a rectangular tank [L]."""
    return length_m * width_m * water_depth_m * LITRES_PER_M3


def box_from_outside_l(length_m: float, width_m: float, water_depth_m: float, *, wall_m: float) -> float:
    """Return the volume of a rectangular tank that was measured outside [L].

    ``wall_m`` is the thickness of one wall; the water depth is already inside.

    Raises:
        Unfit: The walls leave no room.
    """
    if min(length_m, width_m) <= 2 * wall_m:
        raise Unfit("the walls leave no room inside", code="shape-impossible")
    return box_l(length_m - 2 * wall_m, width_m - 2 * wall_m, water_depth_m)


def cylinder_l(diameter_m: float, water_depth_m: float) -> float:
    """Return the volume of an upright cylinder [L]."""
    return circle_m2(diameter_m) * water_depth_m * LITRES_PER_M3


def stadium_l(length_m: float, width_m: float, water_depth_m: float) -> float:
    """Return the volume of a tank with straight sides and half-round ends [L]."""
    return stadium_m2(length_m, width_m) * water_depth_m * LITRES_PER_M3


def ellipse_l(length_m: float, width_m: float, water_depth_m: float) -> float:
    """Return the volume of a truly elliptic tank [L]; up to 27 % less than a stadium of the same length and width."""
    return ellipse_m2(length_m, width_m) * water_depth_m * LITRES_PER_M3


def truncated_cone_l(top_diameter_m: float, bottom_diameter_m: float, water_depth_m: float) -> float:
    """Return the volume of a round tub with sloping walls [L]; the top diameter is that of the water's surface."""
    top, bottom = top_diameter_m / 2, bottom_diameter_m / 2
    return pi * water_depth_m / 3 * (top * top + top * bottom + bottom * bottom) * LITRES_PER_M3


def sloping_floor_l(length_m: float, width_m: float, depth_shallow_m: float, depth_deep_m: float) -> float:
    """Return the volume of a rectangular tank whose floor falls evenly from one end to the other [L]."""
    return length_m * width_m * (depth_shallow_m + depth_deep_m) / 2 * LITRES_PER_M3


def sloped_pond_l(top_length_m: float, top_width_m: float, depth_m: float, *, run_per_rise: float) -> float:
    """Return the volume of a rectangular pond with battered sides, by the prismoidal formula, exact here [L].

    Raises:
        Unfit: The sides meet above the stated depth.
    """
    narrowing = 2 * run_per_rise * depth_m
    if narrowing > min(top_length_m, top_width_m):
        raise Unfit("the sides meet above the stated depth", code="shape-impossible")
    middle = (top_length_m - narrowing / 2) * (top_width_m - narrowing / 2)
    bottom = (top_length_m - narrowing) * (top_width_m - narrowing)
    return depth_m / 6 * (top_length_m * top_width_m + 4 * middle + bottom) * LITRES_PER_M3


def contours_l(areas_m2: Sequence[float], *, interval_m: float) -> float:
    """Return the volume between depth contours, areas from the surface down [L].

    Source:
        Hutchinson 1957, A Treatise on Limnology: h/3 (A1 + A2 + sqrt(A1 A2)) for each slice.
    """
    slices = pairwise(areas_m2)
    return sum(interval_m / 3 * (upper + lower + sqrt(upper * lower)) for upper, lower in slices) * LITRES_PER_M3


def cross_sections_l(areas_m2: Sequence[float], *, spacing_m: float) -> float:
    """Return the volume between evenly spaced cross-sections [L].

    Source:
        Average-end-area rule of surveying.
    """
    pairs = pairwise(areas_m2)
    return sum(spacing_m * (one + other) / 2 for one, other in pairs) * LITRES_PER_M3


def sounded_pond_l(surface_m2: float, depths_m: Sequence[float]) -> float:
    """Return the volume of an irregular pond from soundings on an even grid: surface times mean depth [L]."""
    return surface_m2 * sum(depths_m) / len(depths_m) * LITRES_PER_M3


def lying_cylinder_l(diameter_m: float, length_m: float, water_depth_m: float) -> float:
    """Return the volume in a lying cylinder filled to ``water_depth_m`` [L].

    Raises:
        Unfit: The water stands above the cylinder.
    """
    if water_depth_m > diameter_m:
        raise Unfit("the water stands above the cylinder", code="shape-impossible")
    radius = diameter_m / 2
    segment = radius**2 * acos((radius - water_depth_m) / radius)
    triangle = (radius - water_depth_m) * sqrt(2 * radius * water_depth_m - water_depth_m**2)
    return length_m * (segment - triangle) * LITRES_PER_M3


def net_of_furnishing_l(gross_l: float, displacement_fraction: float) -> float:
    """Return what remains beside rocks, roots and substrate [L]."""
    return gross_l * (1 - displacement_fraction)


def volume_by_tracer_l(salt_g: float, *, salinity_before_g_per_l: float, salinity_after_g_per_l: float) -> float:
    """Return the volume that raises salinity by this much when this much salt is dissolved [L].

    Check the welfare of salt-sensitive animals first.

    Raises:
        Unfit: Salinity did not rise.

    Source:
        Mass balance of a tracer.
    """
    rise = salinity_after_g_per_l - salinity_before_g_per_l
    if rise < LEAST_RISE_G_PER_L:
        raise Unfit("salinity has to rise for a volume to follow", code="shape-impossible")
    return salt_g / rise


def circle_m2(diameter_m: float) -> float:
    """Return the area of a circle [m2]."""
    return pi * (diameter_m / 2) ** 2


def stadium_m2(length_m: float, width_m: float) -> float:
    """Return the area of a rectangle with half-round ends, over all ``length_m`` long [m2].

    Raises:
        Unfit: It is wider than long.
    """
    if width_m > length_m:
        raise Unfit("a tank with round ends is at least as long as wide", code="shape-impossible")
    return (length_m - width_m) * width_m + circle_m2(width_m)


def ellipse_m2(length_m: float, width_m: float) -> float:
    """Return the area of an ellipse [m2]."""
    return pi * length_m * width_m / 4
