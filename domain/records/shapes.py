"""Shapes of enclosures: inside dimensions as a keeper measures them, with the volume and floor area that follow."""

from __future__ import annotations

from math import sqrt
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from domain.rules import volumes

Metres = Annotated[float, Field(ge=0.001, le=1000, allow_inf_nan=False)]
"""An inside dimension [m], of a millimetre or more."""
Depth = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
"""Water depth [m]; 0 for an enclosure without water."""
Area = Annotated[float, Field(ge=0, le=1_000_000, allow_inf_nan=False)]


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Box(_Shape):
    """A rectangular tank or vivarium."""

    kind: Literal["box"]
    length_m: Metres
    width_m: Metres
    water_depth_m: Depth

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.box_l(self.length_m, self.width_m, self.water_depth_m)

    def floor_m2(self) -> float | None:
        """Return the floor area [m2]."""
        return self.length_m * self.width_m


class BoxOutside(_Shape):
    """A rectangular tank of which only the outside could be measured; ``wall_m`` is one wall."""

    kind: Literal["box-outside"]
    length_m: Metres
    width_m: Metres
    water_depth_m: Depth
    wall_m: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]

    @model_validator(mode="after")
    def _has_room(self) -> BoxOutside:
        self.volume_l()
        return self

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.box_from_outside_l(self.length_m, self.width_m, self.water_depth_m, wall_m=self.wall_m)

    def floor_m2(self) -> float | None:
        """Return the floor area [m2]."""
        return (self.length_m - 2 * self.wall_m) * (self.width_m - 2 * self.wall_m)


class Cylinder(_Shape):
    """An upright round tank."""

    kind: Literal["cylinder"]
    diameter_m: Metres
    water_depth_m: Depth

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.cylinder_l(self.diameter_m, self.water_depth_m)

    def floor_m2(self) -> float | None:
        """Return the floor area [m2]."""
        return volumes.circle_m2(self.diameter_m)


class Stadium(_Shape):
    """A tank with straight sides and half-round ends. "Oval" is ambiguous; this and the ellipse differ by up to 27 %."""

    kind: Literal["stadium"]
    length_m: Metres
    width_m: Metres
    water_depth_m: Depth

    @model_validator(mode="after")
    def _is_longer_than_wide(self) -> Stadium:
        self.volume_l()
        return self

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.stadium_l(self.length_m, self.width_m, self.water_depth_m)

    def floor_m2(self) -> float | None:
        """Return the floor area [m2]."""
        return volumes.stadium_m2(self.length_m, self.width_m)


class Ellipse(_Shape):
    """A truly elliptic tank."""

    kind: Literal["ellipse"]
    length_m: Metres
    width_m: Metres
    water_depth_m: Depth

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.ellipse_l(self.length_m, self.width_m, self.water_depth_m)

    def floor_m2(self) -> float | None:
        """Return the floor area [m2]."""
        return volumes.ellipse_m2(self.length_m, self.width_m)


class TruncatedCone(_Shape):
    """A round tub with sloping walls; the top diameter is that of the water's surface."""

    kind: Literal["truncated-cone"]
    top_diameter_m: Metres
    bottom_diameter_m: Metres
    water_depth_m: Depth

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.truncated_cone_l(self.top_diameter_m, self.bottom_diameter_m, self.water_depth_m)

    def floor_m2(self) -> float | None:
        """Return the floor area, that of the bottom [m2]."""
        return volumes.circle_m2(self.bottom_diameter_m)


class SlopingFloor(_Shape):
    """A rectangular tank whose floor falls evenly from the shallow to the deep end."""

    kind: Literal["sloping-floor"]
    length_m: Metres
    width_m: Metres
    depth_shallow_m: Depth
    depth_deep_m: Depth

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.sloping_floor_l(self.length_m, self.width_m, self.depth_shallow_m, self.depth_deep_m)

    def floor_m2(self) -> float | None:
        """Return the floor area in plan [m2]."""
        return self.length_m * self.width_m


class SlopedPond(_Shape):
    """A rectangular pond with battered sides; ``run_per_rise`` is the sides' run for one unit of rise."""

    kind: Literal["sloped-pond"]
    top_length_m: Metres
    top_width_m: Metres
    depth_m: Depth
    run_per_rise: Annotated[float, Field(ge=0, le=20, allow_inf_nan=False)]

    @model_validator(mode="after")
    def _sides_do_not_meet(self) -> SlopedPond:
        self.volume_l()
        return self

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.sloped_pond_l(self.top_length_m, self.top_width_m, self.depth_m, run_per_rise=self.run_per_rise)

    def floor_m2(self) -> float | None:
        """Return the area in plan at the water's surface [m2]."""
        return self.top_length_m * self.top_width_m


class Contours(_Shape):
    """A pond known by the areas within its depth contours, from the surface down."""

    kind: Literal["contours"]
    areas_m2: Annotated[list[Area], Field(min_length=2, max_length=100)]
    interval_m: Metres

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.contours_l(self.areas_m2, interval_m=self.interval_m)

    def floor_m2(self) -> float | None:
        """Return the area at the water's surface [m2]."""
        return self.areas_m2[0]


class CrossSections(_Shape):
    """A pond or channel known by the areas of evenly spaced cross-sections."""

    kind: Literal["cross-sections"]
    areas_m2: Annotated[list[Area], Field(min_length=2, max_length=100)]
    spacing_m: Metres

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.cross_sections_l(self.areas_m2, spacing_m=self.spacing_m)

    def floor_m2(self) -> float | None:
        """Return ``None``: cross-sections do not tell the floor area."""
        return None


class Soundings(_Shape):
    """An irregular pond: its surface and depths taken on an even grid."""

    kind: Literal["soundings"]
    surface_m2: Annotated[float, Field(gt=0, le=1_000_000, allow_inf_nan=False)]
    depths_m: Annotated[list[Depth], Field(min_length=1, max_length=1000)]

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.sounded_pond_l(self.surface_m2, self.depths_m)

    def floor_m2(self) -> float | None:
        """Return the area at the water's surface [m2]."""
        return self.surface_m2


class LyingCylinder(_Shape):
    """A lying cylinder, partly filled."""

    kind: Literal["lying-cylinder"]
    diameter_m: Metres
    length_m: Metres
    water_depth_m: Depth

    @model_validator(mode="after")
    def _holds_the_water(self) -> LyingCylinder:
        self.volume_l()
        return self

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.lying_cylinder_l(self.diameter_m, self.length_m, self.water_depth_m)

    def floor_m2(self) -> float | None:
        """Return the area in plan up to the water's level [m2]."""
        depth = min(self.water_depth_m, self.diameter_m / 2)
        return self.length_m * 2 * sqrt(self.diameter_m * depth - depth**2)


class Tracer(_Shape):
    """Water whose volume follows from how much a known mass of salt raised its salinity. Salt-sensitive animals come first."""

    kind: Literal["tracer"]
    salt_g: Annotated[float, Field(gt=0, le=1e9, allow_inf_nan=False)]
    salinity_before_g_per_l: Annotated[float, Field(ge=0, le=300, allow_inf_nan=False)]
    salinity_after_g_per_l: Annotated[float, Field(ge=0, le=300, allow_inf_nan=False)]

    @model_validator(mode="after")
    def _rises(self) -> Tracer:
        self.volume_l()
        return self

    def volume_l(self) -> float:
        """Return the water volume [L]."""
        return volumes.volume_by_tracer_l(
            self.salt_g,
            salinity_before_g_per_l=self.salinity_before_g_per_l,
            salinity_after_g_per_l=self.salinity_after_g_per_l,
        )

    def floor_m2(self) -> float | None:
        """Return ``None``: a tracer does not tell the floor area."""
        return None


Shape = Annotated[
    Box | BoxOutside | Cylinder | Stadium | Ellipse | TruncatedCone | SlopingFloor | SlopedPond
    | Contours | CrossSections | Soundings | LyingCylinder | Tracer,
    Field(discriminator="kind"),
]  # fmt: skip
"""Any shape that a volume can be computed of."""
