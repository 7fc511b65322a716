"""The frozen sheet behind the animal transfer file: what travels with animals, for whoever carries and whoever receives them.

Its canonical JSON lies in the PDF as an attachment, from which another installation reads it as a draft. ``FORM`` and ``VERSION`` say
what it is: as readers refuse members that they do not know, one more makes another version, and the earlier ones are read on. ``None`` and
an empty list mean that nobody has entered it. Days of the plan are dates at the end where they fall. Words of closed lists come as their
values: ``captive_bred``.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from reports.animal_record.sheet import PRECISIONS
from reports.labels.sheet import Targets

FORM: Final = "reedbed-transfer-file"
VERSION: Final = 2
"""Since 2 a licence has a title and a digest and may lack a number, and of who arrived the number and the dead are told."""
ATTACHMENT_NAME: Final = "transfer-file.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """Who sends or receives: the legal name, where, who can be reached on the day, and under which licence animals are kept there.

    ``jurisdiction`` is the code of the local law.
    """

    name: str
    site: str | None
    address: str
    contact: str | None
    jurisdiction: str | None
    licences: tuple["Licence", ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Licence:
    """A licence by its number, ``None`` where nobody has entered that; ``until_on`` is its last day, ``lapses`` that this is too early.

    ``title`` is what its kind is called, ``sha256`` the digest of its scan, of one that is on record at the sender.
    """

    number: str | None
    title: str | None
    sha256: str | None
    until_on: date | None
    lapses: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Carriage:
    """Who carries the animals in what, and within which limits of temperature [degrees Celsius]."""

    carrier: str | None
    contact: str | None
    authorisation: Licence | None
    container: str | None
    least_c: float | None
    most_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """What has to be settled before the animals may leave."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Earliest:
    """The first days on which nothing is open that other days settle."""

    dispatch_on: date
    arrive_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkToRead:
    """A mark that is read back on loading and on arrival; ``code`` is ``None`` of a mark that is only seen."""

    kind: str
    code: str | None
    scheme: str | None
    body_site: str | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """A mass [g] on a day; of a group the mean."""

    measured_on: date
    mass_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """What a lamp or heater gave in the enclosure that an animal comes from, in the unit of its model; ``method`` says where and how."""

    measured_on: date
    value: float
    unit: str | None
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ancestor:
    """A parent in a role: the tag of its record at the sender, or in words an animal elsewhere."""

    role: str
    who: str
    scientific_name: str | None
    certainty: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """What was entered about an animal at the sender on a day."""

    on: date
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GoingAnimal:
    """An animal or a whole group that goes, by its ``number`` in this file.

    ``acquired`` says in words since when and how the sender has it; ``held`` whose it is. ``target`` is what animals like it need, by
    ``target_source``; ``lived_in`` the enclosure that it comes from, with what was ``measured_there`` last. ``hazard`` is ``None`` where
    nobody has said how dangerous it is. ``arrived_number`` is how many arrived, the ``arrived_dead`` of them included.
    """

    number: int
    tag: str
    name: str | None
    scientific_name: str
    name_authorship: str | None
    rank: str
    common_name: str | None
    name_as_printed: str | None
    grouping: str
    count: int
    estimated: bool
    sex: str
    life_stage: str
    hatched_on: date | None
    hatched_precision: str
    origin: str
    locality: str | None
    hazard: str | None
    acquired: str | None
    held: str | None
    marks: tuple[MarkToRead, ...]
    weights: tuple[Weight, ...]
    parents: tuple[Ancestor, ...]
    history: tuple[Happening, ...]
    lived_in: str | None
    measured_there: tuple[Output, ...]
    target: Targets | None
    target_source: str | None
    note: str
    mark_loaded: str | None
    mark_arrived: str | None
    arrived: bool | None
    arrived_number: int | None
    arrived_dead: int | None
    condition: str | None
    discrepancy: str | None

    def __post_init__(self) -> None:
        """Refuse what could be read in two ways."""
        if self.hatched_precision not in PRECISIONS:
            raise ValueError(f"hatched_precision is {self.hatched_precision!r}, not one of {', '.join(PRECISIONS)}")


@dataclass(frozen=True, slots=True, kw_only=True)
class GoingPaper:
    """A paper that goes with the animals whose numbers are ``covers``, all where that is empty.

    ``good_until`` is its last day by the rule of its kind, and ``lapses`` says that this is too early. ``sha256`` is the digest of its
    scan.
    """

    title: str
    kind: str | None
    kind_title: str | None
    number: str
    authority: str | None
    issued_on: date
    inspected_on: date | None
    valid_until: date | None
    good_until: date | None
    lapses: bool
    requirement_code: str | None
    covers: tuple[int, ...]
    sha256: str | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RulePack:
    """A rule pack that the check was made by."""

    name: str
    edition: str
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferFileSheet:
    """A transfer as it stands: the plan, the animals and the papers that go, and what is open, all as of ``data_as_of``.

    ``dispatch_on`` and ``arrive_on`` are planned, and counted from the day of leaving once the animals have left. ``through_on`` is the day
    through which papers have to be good. ``open_items`` is ``None`` once the animals have left: then nothing is looked at any more.
    ``check_at`` is the address at which the file can be looked up, ``sealed`` that its PDF bears a seal.

    Raises:
        ValueError: An instant without a zone.
    """

    form: str
    form_version: int
    paper_id: str
    organisation: str
    zone: str
    today: date
    data_as_of: datetime
    generated_at: datetime
    check_at: str | None
    sealed: bool
    transfer_id: str
    reference: str
    basis: str
    stage: str
    sender: End
    receiver: End
    carriage: Carriage
    dispatch_on: date
    arrive_on: date
    buffer_days: int
    through_on: date
    dispatched_at: datetime | None
    arrived_at: datetime | None
    quarantine_days: int | None
    quarantine_place: str | None
    due_back_on: date | None
    offspring_split: str | None
    report_after_days: tuple[int, ...]
    care: str
    note: str
    open_items: tuple[OpenLine, ...] | None
    earliest: Earliest | None
    renewals: tuple[str, ...]
    animals: tuple[GoingAnimal, ...]
    papers: tuple[GoingPaper, ...]
    rules: tuple[RulePack, ...]

    def __post_init__(self) -> None:
        """Refuse instants that could be any."""
        for name in ("data_as_of", "generated_at", "dispatched_at", "arrived_at"):
            instant = getattr(self, name)
            if instant is not None and instant.tzinfo is None:
                raise ValueError(f"{name} has no zone")
