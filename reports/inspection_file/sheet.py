"""The frozen sheet behind the inspection file of a site.

``None`` in place of a list says that this system has no records of that kind, an empty list that there are none on record.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from domain.rules.compliance import Standing
from domain.rules.lives import EventKind, LifeStage, Sex
from reports.permit_register.sheet import PermitLine, UncoveredLine
from reports.stock_statement.sheet import StockStatementSheet

MOST_ANIMALS: Final = 20_000
"""Records of animals that the sheet, and with it the CSV and the JSON, holds."""
MOST_ANIMALS_PRINTED: Final = 1_000
MOST_ENCLOSURES_PRINTED: Final = 400
MOST_STOCK_LINES_PRINTED: Final = 800
MOST_PERMITS_PRINTED: Final = 150
MOST_PARTS_OF_PERMITS_PRINTED: Final = 250
MOST_LINES_PRINTED: Final = 250
"""Lines of any other list that the paper prints; what it leaves off, it counts."""
MOST_EXCEPTIONS_PRINTED: Final = 500
MOST_UNCOVERED: Final = 2_000
"""Animals that are not in order which the sheet holds; it says how many there are in all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkOfAnimal:
    """A mark that an animal bears, its kind and code."""

    kind: str
    code: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AnimalLine:
    """An animal or group in the register: its marks, how it came, by the event ``source_id``, and the numbers of permits that cover it.

    ``standing`` is how its keeping stands, ``None`` where that was not looked at.
    """

    id: str
    tag: str
    scientific_name: str
    rank: str
    sex: Sex
    life_stage: LifeStage
    number: int
    estimated: bool
    origin: str | None
    enclosure: str
    marks: tuple[MarkOfAnimal, ...]
    came_by: EventKind | None
    came_on: date | None
    basis: str | None
    party: str | None
    source_id: str | None
    permits: tuple[str, ...]
    standing: Standing | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LodgerLine:
    """Animals of one taxon and stage in an enclosure: ``outcome`` is whether it suits them, with what is against it and what is missing."""

    scientific_name: str
    life_stage: LifeStage
    number: int
    outcome: str
    against: tuple[str, ...]
    missing: tuple[str, ...]
    source: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EnclosureLine:
    """An enclosure with its size [m2, L] and who lives in it."""

    id: str
    name: str
    kind: str
    floor_m2: float | None
    volume_l: float | None
    capacity: int | None
    closure: str | None
    quarantine: bool
    lodgers: tuple[LodgerLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OverdueLine:
    """An item of equipment that is overdue, or of which that cannot be said (``standing``), and why."""

    id: str
    tag: str
    place: str
    model: str
    standing: str
    due_on: date | None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplacedLine:
    """An item that was put in place of another in the period, and why that one ended."""

    id: str
    tag: str
    model: str
    installed_on: date
    old_id: str
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedLine:
    """How many checks of a kind were made in the period with which result, or measurements in which unit, and the last day of one."""

    what: str
    result: str
    number: int
    latest_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class DeathLine:
    """A death in the period; ``id`` is that of its event."""

    id: str
    animal_id: str
    tag: str
    scientific_name: str
    rank: str
    on: date
    number: int
    cause: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TellLine:
    """What a requirement asks to be told of an incident; ``tell_by`` is ``None`` for at once, ``standing`` a word of the answers."""

    requirement: str
    citation: str
    tell_by: datetime | None
    standing: str
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class IncidentLine:
    """A bite, an escape or another incident of the period, with what had to be told; ``missing`` could not be looked at in the law."""

    id: str
    on: date
    what: str
    people: str | None
    action: str | None
    to_tell: tuple[TellLine, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLine:
    """An inspection of the period, how much it found, and how much of that was open on the last day."""

    id: str
    on: date
    kind: str
    authority: str
    reference: str | None
    summary: str
    found: int
    open: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingLine:
    """What an inspection found, by which requirement, by when it has to be put right, and what was done about it, with the proof.

    One that was closed has its day and with what result, ``closing``.
    """

    id: str
    found_on: date
    what: str
    requirement: str | None
    due_on: date | None
    action: str | None
    closed_on: date | None
    closing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CompetenceLine:
    """What a member of staff was assessed to be able to do; it ``is_renewed`` where the same was assessed to last longer since.

    Names stand with the records of staff, ``staff_id``, for who may see those.
    """

    id: str
    staff_id: str
    role: str
    whole_organisation: bool
    hazard: str | None
    from_on: date
    expires_on: date | None
    is_renewed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AnsweredLine:
    """A requirement that is not heeded for an animal because somebody answers for that, by the override ``override_id``."""

    override_id: str
    animal_id: str
    tag: str
    scientific_name: str
    requirement: str
    citation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleLine:
    """A requirement in the version that was in force for the site on the last day."""

    code: str
    edition: str
    title: str
    citation: str
    jurisdiction: str
    applies_from: date
    applies_until: date | None
    reviewed_on: date | None
    pack: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PackLine:
    """A rule pack on record; ``digest`` is the SHA-256 of its text."""

    id: str
    name: str
    edition: str
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionFileSheet:
    """Everything an inspection of a site may ask of a period, both days included, as far as it is on record.

    States are those at the end of ``until_on``, by what is known at ``data_as_of``; whether an incident was told in time is said as of
    ``data_as_of``. ``findings`` are those open at the end, ``closed`` those closed in the period. ``animals_in_all`` counts records that
    are not in the register too, ``uncovered_in_all`` those not in order. ``first_day`` is the first day of which anything is on record
    here. ``items_good`` counts the equipment that is neither overdue nor unknown. ``journal_position`` and ``journal_hash`` are the end of
    the journal when this was read. ``check_at`` is the address at which the file can be looked up, and ``sealed`` that its PDF bears a
    seal.
    """

    paper_id: str
    organisation: str
    site: str
    site_id: str
    address: str
    zone: str
    jurisdictions: tuple[str, ...]
    today: date
    data_as_of: datetime
    generated_at: datetime
    check_at: str | None
    sealed: bool
    from_on: date
    until_on: date
    first_day: date | None
    stock: StockStatementSheet
    animals: tuple[AnimalLine, ...]
    animals_in_all: int
    permits: tuple[PermitLine, ...]
    uncovered: tuple[UncoveredLine, ...]
    uncovered_in_all: int
    answered: tuple[AnsweredLine, ...]
    enclosures: tuple[EnclosureLine, ...]
    overdue: tuple[OverdueLine, ...]
    items_good: int
    replaced: tuple[ReplacedLine, ...]
    checks: tuple[CheckedLine, ...]
    outputs: tuple[CheckedLine, ...]
    deaths: tuple[DeathLine, ...]
    incidents: tuple[IncidentLine, ...] | None
    visits: tuple[VisitLine, ...]
    findings: tuple[FindingLine, ...] | None
    closed: tuple[FindingLine, ...]
    competences: tuple[CompetenceLine, ...]
    rules: tuple[RuleLine, ...]
    packs: tuple[PackLine, ...]
    journal_position: int
    journal_hash: str
