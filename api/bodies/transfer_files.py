"""The shape of the animal transfer file of another installation, and of what is said when one is read.

The members are those of ``reports.transfer_file.sheet``, which says what each of them means; each text is as long as what it is kept as.
Those with a default are not in files of version 1.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, model_validator
from pydantic import Field as PydanticField

from domain.records.animals import DatePrecision, Number
from domain.records.columns import Day, Days, Id, Instant, Name, Note
from domain.records.jurisdictions import JurisdictionCode
from domain.records.marks import MarkKind
from domain.records.measurements import Grams
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.records.transfers import ANIMALS_MOST, BufferDays, Celsius, Counted, FileToRead, ReportDays
from domain.rules.fitness import Hazard
from domain.rules.lives import Grouping, LifeStage, Origin, Sex
from domain.rules.taxonomy import TaxonRank
from domain.rules.transfers import TransferBasis

PAPERS_MOST = 500
Digest = Annotated[str, PydanticField(pattern=r"^[0-9a-f]{64}$")]
Figure = Annotated[float, PydanticField(ge=-1000, le=1_000_000_000)]


class ReadTransferFile(FileToRead):
    """A document whose transfer file is to be read, the site that the animals come to, and answers to what was asked of the file before."""


class _Member(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class Licence(_Member):
    """A licence."""

    number: Name | None
    title: Name | None = None
    sha256: Digest | None = None
    until_on: Day | None
    lapses: bool


class End(_Member):
    """The sender or the receiver."""

    name: Name
    site: Name | None
    address: Note
    contact: Name | None
    jurisdiction: JurisdictionCode | None
    licences: list[Licence]


class Carriage(_Member):
    """Who carries the animals, in what."""

    carrier: Name | None
    contact: Name | None
    authorisation: Licence | None
    container: Name | None
    least_c: Celsius | None
    most_c: Celsius | None


class OpenLine(_Member):
    """What was open at the sender."""

    code: Name
    sentence: Note


class Earliest(_Member):
    """The first days on which it would not have been."""

    dispatch_on: Day
    arrive_on: Day


class MarkToRead(_Member):
    """A mark of an animal."""

    kind: MarkKind
    code: Name | None
    scheme: Name | None
    body_site: Name | None
    note: Note


class Weight(_Member):
    """A mass on a day."""

    measured_on: Day
    mass_g: Grams


class Output(_Member):
    """What a lamp or heater was measured to give."""

    measured_on: Day
    value: Annotated[float, PydanticField(ge=0, le=1e12)]
    unit: Name | None
    method: Note


class Ancestor(_Member):
    """A parent."""

    role: Name
    who: Name
    scientific_name: Name | None
    certainty: Name


class Happening(_Member):
    """Something that was entered at the sender."""

    on: Day
    what: Note


class Targets(_Member):
    """What animals like it need."""

    uvi_low: Figure | None
    uvi_high: Figure | None
    air_low_c: Figure | None
    air_high_c: Figure | None
    basking_low_c: Figure | None
    basking_high_c: Figure | None
    water_low_c: Figure | None
    water_high_c: Figure | None
    humidity_low_pct: Figure | None
    humidity_high_pct: Figure | None
    water: Name | None


class GoingAnimal(_Member):
    """An animal, or a whole group."""

    number: Annotated[int, PydanticField(ge=1, le=10_000)]
    tag: Name
    name: Name | None
    scientific_name: Name
    name_authorship: Name | None
    rank: TaxonRank
    common_name: Name | None
    name_as_printed: Name | None
    grouping: Grouping
    count: Number
    estimated: bool
    sex: Sex
    life_stage: LifeStage
    hatched_on: Day | None
    hatched_precision: DatePrecision
    origin: Origin
    locality: Note | None
    hazard: Hazard | None
    acquired: Note | None
    held: Note | None
    marks: list[MarkToRead]
    weights: list[Weight]
    parents: list[Ancestor]
    history: list[Happening]
    lived_in: Note | None
    measured_there: list[Output]
    target: Targets | None
    target_source: Note | None
    note: Note
    mark_loaded: Name | None
    mark_arrived: Name | None
    arrived: bool | None
    arrived_number: Counted | None = None
    arrived_dead: Counted | None = None
    condition: Name | None
    discrepancy: Name | None

    @model_validator(mode="after")
    def _counts_as_one(self) -> GoingAnimal:
        if self.grouping is Grouping.INDIVIDUAL and self.count != 1:
            raise misstated("count", "an individual counts as one")
        return self


class GoingPaper(_Member):
    """A paper that goes with the animals."""

    title: Name
    kind: LawCode | None
    kind_title: Name | None
    number: Name
    authority: Name | None
    issued_on: Day
    inspected_on: Day | None
    valid_until: Day | None
    good_until: Day | None
    lapses: bool
    requirement_code: LawCode | None
    covers: Annotated[list[int], PydanticField(max_length=ANIMALS_MOST)]
    sha256: Digest | None
    note: Note


class RulePack(_Member):
    """A rule pack of the sender's."""

    name: Name
    edition: Name
    digest: Name


class TransferFile(_Member):
    """A transfer as the sender's file tells of it."""

    form: str
    form_version: int
    paper_id: Name
    organisation: Name
    zone: Name
    today: Day
    data_as_of: Instant
    generated_at: Instant
    check_at: Annotated[str, PydanticField(max_length=500)] | None
    sealed: bool
    transfer_id: Id
    reference: Name
    basis: TransferBasis
    stage: Name
    sender: End
    receiver: End
    carriage: Carriage
    dispatch_on: Day
    arrive_on: Day
    buffer_days: BufferDays
    through_on: Day
    dispatched_at: Instant | None
    arrived_at: Instant | None
    quarantine_days: Days | None
    quarantine_place: Name | None
    due_back_on: Day | None
    offspring_split: Name | None
    report_after_days: ReportDays
    care: Note
    note: Note
    open_items: list[OpenLine] | None
    earliest: Earliest | None
    renewals: list[Note]
    animals: Annotated[list[GoingAnimal], PydanticField(max_length=ANIMALS_MOST)]
    papers: Annotated[list[GoingPaper], PydanticField(max_length=PAPERS_MOST)]
    rules: list[RulePack]
