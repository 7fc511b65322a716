"""The columns that a list of each kind may have: what their cells hold, in which unit, and what a list cannot do without."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum, StrEnum, auto
from functools import cache
from typing import Any, get_args, get_origin

from domain.actions.imports.measurements import SIZES
from domain.records.animals import CAME_BY, Basis, DatePrecision
from domain.records.enclosures import EnclosureKind
from domain.records.equipment import EquipmentKind
from domain.records.marks import MarkKind, MarkReading
from domain.records.nights import ImportKind
from domain.records.shapes import Shape
from domain.rules.fitness import Hazard
from domain.rules.law.requirements import Activity
from domain.rules.lives import EventKind, Grouping, LifeStage, Origin, Sex
from domain.rules.measures import MeasureKind
from domain.rules.permissions import Role
from domain.rules.taxonomy import TaxonRank


class Cell(Enum):
    """What a column's cells hold."""

    LINE = auto()
    LINES = auto()
    DATE = auto()
    PART_DATE = auto()
    YES_NO = auto()
    QUANTITY = auto()
    NUMBER = auto()
    WHOLE_NUMBER = auto()
    MONEY = auto()
    KIND = auto()
    WORDS = auto()
    NUMBERED_NAMES = auto()
    NUMBERS = auto()


@dataclass(frozen=True, slots=True)
class Target:
    """One column. ``measure`` names its family of units; ``kinds`` are the words it may hold, with what they stand for."""

    name: str
    cell: Cell = Cell.LINE
    measure: str | None = None
    required: bool = False
    kinds: Mapping[str, Any] = field(default_factory=dict)


SHAPES = {word: shape for shape in get_args(get_args(Shape)[0]) for word in get_args(shape.model_fields["kind"].annotation)}
"""The shapes that an enclosure may have, by their words."""

_THOUSANDTH = Decimal("0.001")
UNITS: Mapping[str, Mapping[str, Decimal]] = {
    "length": {"m": Decimal(1), "cm": Decimal("0.01"), "mm": _THOUSANDTH, "in": Decimal("0.0254"), "ft": Decimal("0.3048")},
    "hours": {"h": Decimal(1), "kh": Decimal(1000), "days": Decimal(24)},
    "hours a day": {"h": Decimal(1), "min": Decimal(1) / 60},
    "days": {"days": Decimal(1), "weeks": Decimal(7)},
    "weeks": {"weeks": Decimal(1)},
    "months": {"months": Decimal(1), "years": Decimal(12)},
    "share": {"fraction": Decimal(1), "%": Decimal("0.01")},
    "size": SIZES,
}
"""Families of units, with the factor to the unit that the column's name bears. An inch is 25.4 mm and a foot 304.8 mm exactly.

Source:
    ISO 80000-3; international yard and pound agreement, 1959.
"""

SPELLINGS: Mapping[str, Mapping[str, str]] = {
    "length": {
        **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
        **dict.fromkeys(("inch", "inches", '"'), "in"),
        **dict.fromkeys(("foot", "feet", "'"), "ft"),
    },
    "hours": {"hr": "h", "hrs": "h", "hour": "h", "hours": "h", "day": "days", "d": "days"},
    "hours a day": {
        **dict.fromkeys(("h/day", "h/d", "hr", "hrs", "hour", "hours", "hr/day", "hrs/day", "hour/day", "hours/day", "hours/d"), "h"),
        **dict.fromkeys(("h a day", "hours a day", "h per day", "hours per day", "hrs per day", "h daily", "hours daily"), "h"),
        **dict.fromkeys(("min/day", "min/d", "minutes", "minutes a day", "minutes per day"), "min"),
    },
    "days": {"day": "days", "d": "days", "week": "weeks", "wk": "weeks", "w": "weeks"},
    "weeks": {"week": "weeks", "wk": "weeks", "w": "weeks"},
    "months": {"month": "months", "mo": "months", "year": "years", "yr": "years", "yrs": "years", "y": "years", "a": "years"},
    "share": {"percent": "%"},
    "size": {
        **dict.fromkeys(("gm", "gms", "gram", "grams", "gramme", "grammes"), "g"),
        **dict.fromkeys(("kgs", "kilo", "kilos", "kilogram", "kilograms"), "kg"),
        **dict.fromkeys(("ounce", "ounces"), "oz"),
        **dict.fromkeys(("lbs", "pound", "pounds"), "lb"),
        **dict.fromkeys(("millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
        **dict.fromkeys(("centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
        **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
        **dict.fromkeys(("inch", "inches", '"'), "in"),
    },
}
"""How cells may spell the units of a family beside their own names."""


def _words_of(enumeration: type[StrEnum]) -> dict[str, StrEnum]:
    return {member.value: member for member in enumeration}


def _word(name: str, *kinds: StrEnum, required: bool = False) -> Target:
    return Target(name, Cell.KIND, required=required, kinds={member.value: member for member in kinds})


def _whole(name: str, measure: str | None = None) -> Target:
    return Target(name, Cell.WHOLE_NUMBER, measure)


def _number(name: str, measure: str | None = None) -> Target:
    return Target(name, Cell.NUMBER, measure)


def _shape_targets() -> tuple[Target, ...]:
    found: dict[str, Target] = {}
    for shape in SHAPES.values():
        for name, facts in shape.model_fields.items():
            cell = Cell.NUMBERS if get_origin(facts.annotation) is list else Cell.NUMBER
            found.setdefault(name, Target(name, cell, "length" if name.endswith("_m") and cell is Cell.NUMBER else None))
    found.pop("kind")
    return tuple(found.values())


SHAPE_TARGETS = _shape_targets()
_NOTE = Target("note", Cell.LINES)

TARGETS: Mapping[ImportKind, tuple[Target, ...]] = {
    ImportKind.SITES: (
        Target("name", required=True),
        Target("zone", required=True),
        Target("jurisdiction"),
        Target("address", Cell.LINES),
        _NOTE,
    ),
    ImportKind.ENCLOSURES: (
        Target("site", required=True),
        Target("name", required=True),
        Target("kind", Cell.KIND, kinds=_words_of(EnclosureKind)),
        Target("shape", Cell.KIND, kinds={word: word for word in SHAPES}),
        *SHAPE_TARGETS,
        _number("displacement_fraction", "share"),
        _whole("walking_order"),
        Target("life_support_system"),
        Target("parent"),
        _NOTE,
    ),
    ImportKind.EQUIPMENT_MODELS: (
        Target("name", required=True),
        Target("kind", Cell.KIND, required=True, kinds=_words_of(EquipmentKind)),
        _whole("life_months", "months"),
        _whole("life_weeks", "weeks"),
        _whole("life_days", "days"),
        _number("life_hours", "hours"),
        _whole("shelf_life_months", "months"),
        _whole("opened_life_days", "days"),
        Target("output_unit"),
        _number("output_minimum"),
        _number("output_minimum_share", "share"),
        _number("burn_in_hours", "hours"),
        _whole("residual_current_test_months", "months"),
        _whole("residual_current_test_days", "days"),
        _whole("electrical_inspection_months", "months"),
        _whole("electrical_inspection_days", "days"),
        _whole("calibration_months", "months"),
        _whole("calibration_days", "days"),
        _whole("warn_days", "days"),
        Target("supplier"),
        _whole("lead_days", "days"),
        Target("unit_cost", Cell.MONEY),
        _whole("unit_cost_minor"),
        Target("cautions", Cell.WORDS),
        _NOTE,
    ),
    ImportKind.EQUIPMENT: (
        Target("tag", required=True),
        Target("site", required=True),
        Target("model", required=True),
        Target("enclosure"),
        Target("life_support_system"),
        Target("position"),
        Target("serial"),
        Target("installed_on", Cell.DATE),
        Target("manufactured_on", Cell.DATE),
        Target("expires_on", Cell.DATE),
        Target("opened_on", Cell.DATE),
        _number("hours_per_day", "hours a day"),
        _number("counter_at_installation_h", "hours"),
        _whole("override_life_months", "months"),
        _number("override_life_hours", "hours"),
        _number("override_output_minimum"),
        Target("override_reason"),
        _NOTE,
    ),
    ImportKind.TAXA: (
        Target("scientific_name", required=True),
        _word("rank", *TaxonRank, required=True),
        Target("parent"),
        Target("accepted_name"),
        Target("common_name"),
        Target("name_authorship"),
        Target("according_to"),
        _word("hazard", *Hazard),
        _NOTE,
    ),
    ImportKind.ANIMALS: (
        Target("tag", required=True),
        Target("taxon", required=True),
        _word("grouping", *Grouping),
        _whole("number"),
        _word("sex", *Sex),
        _word("life_stage", *LifeStage),
        Target("hatched_on", Cell.PART_DATE),
        _word("hatched_precision", *DatePrecision),
        _word("origin", *Origin),
        Target("locality"),
        _word("came_by", *(kind for kind in EventKind if kind in CAME_BY)),
        Target("acquired_on", Cell.DATE),
        _word("basis", *Basis),
        Target("acquired_from"),
        Target("reference"),
        Target("site"),
        Target("enclosure"),
        Target("placed_on", Cell.DATE),
        Target("name"),
        Target("name_as_printed"),
        Target("transponder_code"),
        Target("transponder_code_again"),
        _word("transponder_reading", *MarkReading),
        Target("override_reason"),
        _NOTE,
    ),
    ImportKind.PLACEMENTS: (
        Target("animal", required=True),
        Target("site", required=True),
        Target("enclosure", required=True),
        Target("from_on", Cell.DATE, required=True),
        Target("override_reason"),
        _NOTE,
    ),
    ImportKind.MARKS: (
        Target("animal", required=True),
        _word("kind", *MarkKind, required=True),
        Target("code"),
        Target("code_again"),
        _word("reading", *MarkReading),
        Target("scheme"),
        Target("body_site"),
        Target("from_on", Cell.DATE, required=True),
        Target("until_on", Cell.DATE),
        Target("until_reason"),
        Target("is_primary", Cell.YES_NO),
        Target("reader"),
        Target("applied_by"),
        Target("view"),
        _number("scale_mm"),
        _NOTE,
    ),
    ImportKind.MEASUREMENTS: (
        Target("animal", required=True),
        _word("kind", *MeasureKind, required=True),
        Target("value", Cell.QUANTITY, "size", required=True),
        Target("unit", Cell.KIND, kinds={unit: unit for unit in SIZES}),
        Target("measured_on", Cell.DATE, required=True),
        Target("method"),
        Target("measured_by"),
        _whole("of_number"),
        Target("confirmed", Cell.YES_NO),
        _NOTE,
    ),
    ImportKind.PERMITS: (
        Target("kind", required=True),
        Target("jurisdiction", required=True),
        Target("authority", required=True),
        Target("number", required=True),
        Target("holder"),
        Target("site"),
        Target("issued_on", Cell.DATE, required=True),
        Target("valid_from", Cell.DATE),
        Target("valid_until", Cell.DATE),
        Target("inspected_on", Cell.DATE),
        Target("activities", Cell.WORDS, kinds=_words_of(Activity)),
        Target("taxa", Cell.NUMBERED_NAMES),
        Target("any_taxon", Cell.YES_NO),
        _whole("total_number"),
        _NOTE,
    ),
    ImportKind.STAFF: (
        Target("name", required=True),
        _word("role", *Role, required=True),
        Target("site"),
        Target("contact", Cell.LINES),
        _NOTE,
    ),
    ImportKind.COMPETENCES: (
        Target("staff", required=True),
        Target("title", required=True),
        _word("hazard", *Hazard),
        Target("from_on", Cell.DATE, required=True),
        Target("expires_on", Cell.DATE),
        Target("assessed_by"),
        _NOTE,
    ),
}
"""The columns of each kind, in the template's order."""

KEY_COLUMNS: Mapping[ImportKind, str] = {
    **dict.fromkeys((ImportKind.SITES, ImportKind.ENCLOSURES, ImportKind.EQUIPMENT_MODELS), "name"),
    **dict.fromkeys((ImportKind.EQUIPMENT, ImportKind.ANIMALS), "tag"),
    ImportKind.TAXA: "scientific_name",
    **dict.fromkeys((ImportKind.PLACEMENTS, ImportKind.MARKS, ImportKind.MEASUREMENTS), "animal"),
    ImportKind.PERMITS: "number",
    ImportKind.STAFF: "name",
    ImportKind.COMPETENCES: "staff",
}
"""The column that says what, or of which animal or person, a row is."""


@cache
def names_of(kind: ImportKind) -> tuple[str, ...]:
    """Return the names of a kind's columns."""
    return tuple(target.name for target in TARGETS[kind])
