"""What stands on an enclosure label: its facts in the few words that there is room for."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from domain.rules.fitness import Hazard
from reports import words
from reports.fonts import Face
from reports.labels.sheet import EnclosureLabel, LabelSheet, LabelTaxon, Targets

EMPTY: Final = "no animals on record"
NO_SET_POINTS: Final = "set points not on record"
QUARANTINE: Final = "QUARANTINE"

UV: Final = "UV: OFF BEFORE OPENING"
WASH: Final = "WASH HANDS"

_hazard_pills: Mapping[Hazard | None, str] = {
    Hazard.VENOMOUS: "VENOM: TWO PEOPLE, TOOLS",
    Hazard.DANGEROUS: "DANGER: TWO PEOPLE, TOOLS",
    Hazard.CAN_INJURE: "BITES: USE TOOLS",
    None: "HAZARD NOT KNOWN: ASK",
}
_bands = (
    ("air", "air_low_c", "air_high_c", "\u00a0°C"),
    ("basking", "basking_low_c", "basking_high_c", "\u00a0°C"),
    ("water", "water_low_c", "water_high_c", "\u00a0°C"),
    ("humidity", "humidity_low_pct", "humidity_high_pct", "\u00a0%"),
    ("UVI", "uvi_low", "uvi_high", ""),
)
_gravest_first = (Hazard.VENOMOUS, Hazard.DANGEROUS, Hazard.CAN_INJURE, None, Hazard.HARMLESS)


class Kind(NamedTuple):
    """A taxon as it is printed: its name, the face it is set in, and how many there are."""

    name: str
    face: Face
    number: str


def code_text(sheet: LabelSheet, label: EnclosureLabel) -> str:
    """Return what the code to be scanned holds: nothing that tells what the enclosure is or who lives in it."""
    return sheet.link_base + label.short_id


def id_text(label: EnclosureLabel) -> str:
    """Return the short id with the label's revision."""
    return f"{label.short_id} r{label.revision}"


def place(label: EnclosureLabel) -> str:
    """Return where the enclosure is, and the life-support system that it hangs on."""
    return " · ".join(part for part in (label.place, label.life_support_system) if part)


def kinds(label: EnclosureLabel) -> tuple[Kind, ...]:
    """Return who lives there, the most dangerous first, then by name."""
    in_order = sorted(label.taxa, key=lambda taxon: (_gravest_first.index(taxon.hazard), taxon.scientific_name))
    return tuple(
        Kind(taxon.scientific_name, Face.OBLIQUE if words.is_italic(taxon.rank) else Face.REGULAR, number(taxon)) for taxon in in_order
    )


def number(taxon: LabelTaxon) -> str:
    """Return how many there are: males.females.unsexed as the trade writes it, the last left out when there are none, and groups."""
    individuals = f"{taxon.males}.{taxon.females}" + (f".{taxon.unsexed}" if taxon.unsexed else "")
    about = "about\u00a0" if taxon.estimated else ""
    group = f"group\u00a0of\u00a0{about}{words.number(taxon.in_groups)}" if taxon.in_groups else ""
    if not (taxon.males or taxon.females or taxon.unsexed):
        return group or "none"
    return f"{individuals}\u00a0+ {group}" if group else individuals


def more(count: int) -> str:
    """Return the line for kinds that there is no room for."""
    return f"and {words.plural(count, 'more kind')}"


def set_points(label: EnclosureLabel) -> tuple[str, ...]:
    """Return the set points that suit all its kinds, each as a short text; where no value does, that the kinds differ."""
    targets = [taxon.targets for taxon in label.taxa if taxon.targets is not None]
    bands = [_band(targets, *band) for band in _bands]
    waters = dict.fromkeys(target.water for target in targets if target.water)
    said = tuple(text for text in (*bands, *waters) if text)
    return said or ((NO_SET_POINTS,) if label.taxa else ())


def _band(targets: Sequence[Targets], name: str, low_name: str, high_name: str, unit: str) -> str:
    lows = [low for target in targets if (low := getattr(target, low_name)) is not None]
    highs = [high for target in targets if (high := getattr(target, high_name)) is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    if low is None and high is None:
        return ""
    if low is not None and high is not None and low > high:
        return f"{name}:\u00a0kinds\u00a0differ"
    return f"{name}\u00a0{_from_to(low, high)}{unit}"


def _from_to(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return f"≤\u00a0{words.number(high or 0)}" if low is None else f"≥\u00a0{words.number(low)}"
    return words.number(low) if low == high else f"{words.number(low)}–{words.number(high)}"


def pills(label: EnclosureLabel) -> tuple[str, ...]:
    """Return the cautions in capitals: of known hazards the gravest only, and whether one is not known; washing hands always."""
    hazards = [hazard for hazard in _gravest_first if any(taxon.hazard is hazard for taxon in label.taxa)]
    gravest = [hazard for hazard in hazards if hazard is not None][:1]
    unknown = [hazard for hazard in hazards if hazard is None]
    return (
        *((QUARANTINE,) if label.quarantine else ()),
        *(_hazard_pills[hazard] for hazard in (*gravest, *unknown) if hazard in _hazard_pills),
        *((UV,) if label.uv_lamp else ()),
        WASH,
    )
