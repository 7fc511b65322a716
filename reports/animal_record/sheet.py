"""The frozen sheet behind the animal record: everything on record about one animal, or one counted group.

What was withdrawn is not in the lists; it is counted. ``None`` and an empty list mean that nobody has entered it, and the paper says so.
Days are dates at the site. An interval is from ``from_on`` to ``until_on``, both included, and still holds where ``until_on`` is none.
Words of closed lists whose members stand in the records (ranks, kinds of mark, bases, origins) come as their values: ``scute_notch``.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from domain.rules.fitness import Hazard
from domain.rules.lives import EventKind, Grouping, LifeStage, Sex, Status
from domain.rules.measures import MeasureKind

PRECISIONS: Final = ("day", "month", "year")
"""How exactly a date of hatching is known: else its month or its year, the first day of which is given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NameLine:
    """What the animal is called, since when."""

    name: str
    from_on: date
    until_on: date | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkLine:
    """A mark; ``reading`` is how its code came to be written down, ``scale_mm`` the length of the bar in a photograph [mm]."""

    kind: str
    code: str | None
    scheme: str | None
    body_site: str | None
    from_on: date
    until_on: date | None
    until_reason: str | None
    is_primary: bool
    reading: str | None
    reader: str | None
    applied_by: str | None
    view: str | None
    scale_mm: float | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StateLine:
    """What the animal, or all animals of the group, were from a day until a day."""

    from_on: date
    until_on: date | None
    status: Status
    sex: Sex
    life_stage: LifeStage


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementLine:
    """Where it was from a day until a day; ``override_reason`` is why, although the enclosure did not suit it."""

    from_on: date
    until_on: date | None
    enclosure: str
    site: str
    override_reason: str | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementLine:
    """A mass [g] or a length [mm]; of a group the mean of ``of_number`` animals.

    ``surprising``: it was confirmed although it looked like a slip of the unit.
    """

    kind: MeasureKind
    measured_on: date
    mass_g: float | None
    length_mm: float | None
    method: str | None
    by: str | None
    of_number: int | None
    surprising: bool
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ParentLine:
    """A parent: the tag and taxon of its record here, or in ``elsewhere`` an animal that is not kept here."""

    role: str
    tag: str | None
    scientific_name: str | None
    rank: str
    elsewhere: str | None
    certainty: str
    known_by: str | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OffspringLine:
    """An animal or group that this one is a parent of, in which role; ``count`` is how many it is now."""

    tag: str
    scientific_name: str
    rank: str
    role: str
    certainty: str
    hatched_on: date | None
    hatched_precision: str
    count: int
    status: Status


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldingLine:
    """Whose it is; ``party`` is the owner of a loan in, the keeper of a loan out, or the authority."""

    kind: str
    from_on: date
    until_on: date | None
    party: str | None
    terms: str
    due_back_on: date | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EventLine:
    """What happened on a day. ``number`` is how many animals it is about, ``change`` what it changed their number by.

    ``other_tag`` is the record that animals came from or went to; ``override_reason`` is why they joined a group there although its
    enclosure does not suit them.
    """

    happened_on: date
    kind: EventKind
    number: int
    change: int
    sex: Sex | None
    life_stage: LifeStage | None
    basis: str | None
    party: str | None
    cause: str | None
    reference: str | None
    other_tag: str | None
    override_reason: str | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentLine:
    """An attached document; ``sha256`` is the digest of its file [64 hex digits], ``role`` what it is to the animal."""

    title: str
    dated_on: date | None
    reference: str | None
    role: str | None
    media_type: str
    sha256: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AnimalRecordSheet:
    """An animal's or group's life as it is on record on ``today`` [date at its site].

    ``hazard`` is that of the taxon or of the nearest above it that says one. ``name_as_printed`` is the scientific name as its papers have
    it. ``events`` come in the order of the life; every other list may come in any order. ``withdrawn`` and ``corrected`` count the entries
    about it that were taken back or changed after they had been made.

    Raises:
        ValueError: An instant without a zone, a precision this sheet does not know, or events out of order.
    """

    paper_id: str
    organisation: str
    zone: str
    today: date
    data_as_of: datetime
    generated_at: datetime
    animal_id: str
    tag: str
    name: str | None
    scientific_name: str
    name_authorship: str | None
    rank: str
    common_name: str | None
    name_as_printed: str | None
    hazard: Hazard | None
    grouping: Grouping
    count: int
    estimated: bool
    hatched_on: date | None
    hatched_precision: str
    origin: str | None
    locality: str | None
    note: str
    names: tuple[NameLine, ...]
    marks: tuple[MarkLine, ...]
    states: tuple[StateLine, ...]
    placements: tuple[PlacementLine, ...]
    measurements: tuple[MeasurementLine, ...]
    parents: tuple[ParentLine, ...]
    offspring: tuple[OffspringLine, ...]
    holdings: tuple[HoldingLine, ...]
    events: tuple[EventLine, ...]
    documents: tuple[DocumentLine, ...]
    withdrawn: int
    corrected: int

    def __post_init__(self) -> None:
        """Refuse what could be read in two ways."""
        for name, instant in (("data_as_of", self.data_as_of), ("generated_at", self.generated_at)):
            if instant.tzinfo is None:
                raise ValueError(f"{name} has no zone")
        if self.hatched_precision not in PRECISIONS:
            raise ValueError(f"hatched_precision is {self.hatched_precision!r}, not one of {', '.join(PRECISIONS)}")
        days = [event.happened_on for event in self.events]
        if days != sorted(days):
            raise ValueError("events are not in the order of the life")
