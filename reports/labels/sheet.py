"""The frozen sheet behind the enclosure labels."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from domain.rules.fitness import Hazard

LABELS_PER_PAGE: Final = 10

_short_id = re.compile(r"[0-9A-Za-z-]{4,16}")
_link_base = re.compile(r"[!-~]{0,48}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """What animals of a kind need, as bands from low to high; ``None`` is not on record.

    The UV index where the animal is, temperatures [degrees Celsius], relative humidity [percent], the water in words.
    """

    uvi_low: float | None = None
    uvi_high: float | None = None
    air_low_c: float | None = None
    air_high_c: float | None = None
    basking_low_c: float | None = None
    basking_high_c: float | None = None
    water_low_c: float | None = None
    water_high_c: float | None = None
    humidity_low_pct: float | None = None
    humidity_high_pct: float | None = None
    water: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelTaxon:
    """The animals of one taxon in the enclosure: individuals by sex, and in ``in_groups`` all animals of counted groups.

    ``unsexed`` counts individuals that are neither known as male nor as female. ``estimated``: the number in groups is not a count.
    ``hazard`` is that of the taxon or of the nearest above it that says one.
    """

    scientific_name: str
    rank: str
    males: int
    females: int
    unsexed: int
    in_groups: int
    estimated: bool
    hazard: Hazard | None
    targets: Targets | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EnclosureLabel:
    """A label. ``code`` is what the enclosure is called, ``short_id`` stands for it in the code to be scanned and outlives its names.

    ``revision`` counts how often the label changed.

    Raises:
        ValueError: A short id that is more than letters, digits and hyphens, or not of 4 to 16.
    """

    code: str
    place: str
    life_support_system: str | None
    taxa: tuple[LabelTaxon, ...]
    uv_lamp: bool
    quarantine: bool
    short_id: str
    revision: int

    def __post_init__(self) -> None:
        """Refuse an id that may say something about what it stands for, or that no code holds."""
        if not _short_id.fullmatch(self.short_id):
            raise ValueError("short_id is not of 4 to 16 letters, digits and hyphens")


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSheet:
    """The labels of a site in the order they are stuck on.

    ``link_base`` is put before the short id in the code to be scanned, such as ``https://records.example.org/e/``; empty, the code holds
    the id alone. ``first_label`` is the place of the first label on the first page, 1 to 10, row by row: the places before it are used up.

    Raises:
        ValueError: An instant without a zone, a place that is not on the page, or a link base of more than 48 characters or with blanks.
    """

    paper_id: str
    organisation: str
    site: str
    zone: str
    data_as_of: datetime
    generated_at: datetime
    link_base: str
    first_label: int
    labels: tuple[EnclosureLabel, ...]

    def __post_init__(self) -> None:
        """Refuse what cannot be printed."""
        for name, instant in (("data_as_of", self.data_as_of), ("generated_at", self.generated_at)):
            if instant.tzinfo is None:
                raise ValueError(f"{name} has no zone")
        if not 1 <= self.first_label <= LABELS_PER_PAGE:
            raise ValueError(f"first_label is {self.first_label}, not one of 1 to {LABELS_PER_PAGE}")
        if not _link_base.fullmatch(self.link_base):
            raise ValueError("link_base is not of at most 48 characters without blanks")
