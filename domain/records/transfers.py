"""Transfers of animals between sites, or to and from others: the plan, the animals, the papers, and the reports from where they went."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, ClassVar

import sqlalchemy as sa
from pydantic import Field as PydanticField
from pydantic import model_validator
from sqlmodel import Field

from domain.records.animals import DatePrecision, Number
from domain.records.base import Record, Stated, owned_by_organisation, refers_to, unique_while_kept
from domain.records.columns import Day, Days, Id, InstantColumn, JsonColumn, Name, Note, Passage, UuidColumn, words_of
from domain.records.jurisdictions import JurisdictionCode
from domain.records.measurements import Grams
from domain.records.requirements import LawCode
from domain.records.stated import misstated
from domain.rules.law.decision import DISCLAIMER
from domain.rules.lives import Grouping, LifeStage, Origin, Sex
from domain.rules.transfers import TransferBasis, TransferStage

Celsius = Annotated[float, PydanticField(ge=-20, le=60)]
Counted = Annotated[int, PydanticField(ge=0, le=10_000_000)]
ReportDays = Annotated[list[Days], PydanticField(max_length=12)]
BufferDays = Annotated[int, PydanticField(ge=0, le=90)]
ANIMALS_MOST = 500
"""How many animals and groups go with one transfer at most: as many are read back and received at once."""
Ids = Annotated[list[Id], PydanticField(max_length=ANIMALS_MOST)]


class TransferStated(Stated):
    """The plan of a transfer: from which site to which, or to or from which other party, on what ground, when, how, and what follows.

    Without ``from_site_id`` the animals come from the party, without ``to_site_id`` they go to it. ``buffer_days`` is how long after the
    planned arrival every paper has to be good still. ``least_c`` and ``most_c`` are the limits of the journey [°C]. ``due_back_on`` and
    ``offspring_split`` are the terms of a loan. ``quarantine_days`` are counted from the arrival; ``report_after_days`` are the days after
    it by which the receiver reports.
    """

    basis: TransferBasis = Field(sa_type=words_of(TransferBasis))
    reference: Name
    from_site_id: Id | None = Field(default=None, sa_type=UuidColumn)
    to_site_id: Id | None = Field(default=None, sa_type=UuidColumn)
    party: Name | None = None
    party_address: Note = ""
    party_contact: Name | None = None
    party_licence: Name | None = None
    party_licence_until: Day | None = None
    party_jurisdiction: JurisdictionCode | None = None
    dispatch_on: Day
    arrive_on: Day
    buffer_days: BufferDays = 2
    carrier: Name | None = None
    carrier_contact: Name | None = None
    carrier_authorisation: Name | None = None
    carrier_until: Day | None = None
    container: Name | None = None
    least_c: Celsius | None = None
    most_c: Celsius | None = None
    care: Note = ""
    quarantine_enclosure_id: Id | None = Field(default=None, sa_type=UuidColumn)
    quarantine_days: Days | None = None
    quarantine_reason: Name | None = None
    due_back_on: Day | None = None
    offspring_split: Name | None = None
    report_after_days: ReportDays = Field(default_factory=list, sa_type=JsonColumn)
    note: Note = ""

    @model_validator(mode="after")
    def _hangs_together(self) -> TransferStated:
        self._has_two_ends()
        if self.arrive_on < self.dispatch_on:
            raise misstated("arrive_on", "this should not be before dispatch_on")
        if self.least_c is not None and self.most_c is not None and self.most_c < self.least_c:
            raise misstated("most_c", "this should not be below least_c")
        if len(set(self.report_after_days)) < len(self.report_after_days):
            raise misstated("report_after_days", "each day may be said once", code="repeated")
        if self.to_site_id is None and self.quarantine_enclosure_id is not None:
            raise misstated("quarantine_enclosure_id", "only animals that come to a site of ours are put into an enclosure of ours")
        self._has_terms()
        return self

    def _has_two_ends(self) -> None:
        if self.from_site_id is None and self.to_site_id is None:
            raise misstated("from_site_id", "say from which site they go, or to which site they come", code="required")
        if self.from_site_id is not None and self.from_site_id == self.to_site_id:
            raise misstated("to_site_id", "this should be another site; within one site animals are moved")
        between_ours = self.from_site_id is not None and self.to_site_id is not None
        if between_ours != (self.basis is TransferBasis.MOVE):
            raise misstated("basis", "animals are moved between sites of ours; with another party another ground is said")
        if between_ours and self.party is not None:
            raise misstated("party", "between sites of ours there is no other party")
        if not between_ours and self.party is None:
            raise misstated("party", "say whom they come from or go to", code="required")

    def _has_terms(self) -> None:
        if self.basis is TransferBasis.LOAN:
            if self.due_back_on is None:
                raise misstated("due_back_on", "say until when the loan is", code="required")
            if self.offspring_split is None:
                raise misstated("offspring_split", "say whose the offspring are", code="required")
            if self.due_back_on <= self.arrive_on:
                raise misstated("due_back_on", "this should be after arrive_on")
        elif self.due_back_on is not None:
            raise misstated("due_back_on", "only a loan has an end")


class Transfer(Record, TransferStated, table=True):
    """A stored transfer. It is at the site that has to act next: the sender's until it is dispatched, the receiver's from then on."""

    __tablename__ = "transfer"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "from_site_id"),
        refers_to("site", "to_site_id"),
        refers_to("site", "site_id"),
        refers_to("enclosure", "quarantine_enclosure_id"),
        unique_while_kept("transfer", "reference_key"),
        sa.Index("ix_transfer_site", "organisation_id", "site_id", "stage"),
        sa.Index("ix_transfer_stage", "organisation_id", "stage"),
    )
    noun: ClassVar[str] = "transfer"
    disclaimer: ClassVar[str | None] = DISCLAIMER
    personal: ClassVar[frozenset[str]] = frozenset(("party", "party_address", "party_contact", "carrier_contact"))

    report_after_days: Any = Field(sa_type=JsonColumn)
    reference_key: str
    site_id: Id = Field(sa_type=UuidColumn)
    stage: TransferStage = Field(default=TransferStage.DRAFT, sa_type=words_of(TransferStage))
    approved_by: str | None = Field(default=None, max_length=64)
    dispatched_at: datetime | None = Field(default=None, sa_type=InstantColumn)
    dispatch_c: float | None = None
    arrived_at: datetime | None = Field(default=None, sa_type=InstantColumn)
    arrival_c: float | None = None
    refused_because: str | None = None
    refused_at: datetime | None = Field(default=None, sa_type=InstantColumn)
    closed_on: date | None = None
    source: Any = Field(default=None, sa_type=JsonColumn, nullable=True)


class TransferAnimalStated(Stated):
    """An animal or a whole group that goes: one on record, or what the other party's papers say of one that comes for the first time.

    What comes is registered when it is received; ``transponder`` is the code that its papers give, ``other_mark`` any other mark in words.
    Part of a group is taken out of it first, and goes as a record of its own. Of a record whose animals have all departed ``number`` is how
    many come back, those that left last where it is not said.
    """

    animal_id: Id | None = Field(default=None, sa_type=UuidColumn)
    taxon_id: Id | None = Field(default=None, sa_type=UuidColumn)
    tag: Name | None = None
    grouping: Grouping = Field(default=Grouping.INDIVIDUAL, sa_type=words_of(Grouping))
    number: Number = 1
    sex: Sex = Field(default=Sex.UNKNOWN, sa_type=words_of(Sex))
    life_stage: LifeStage = Field(default=LifeStage.UNKNOWN, sa_type=words_of(LifeStage))
    origin: Origin = Field(default=Origin.UNKNOWN, sa_type=words_of(Origin))
    hatched_on: Day | None = None
    hatched_precision: DatePrecision = Field(default=DatePrecision.DAY, sa_type=words_of(DatePrecision))
    name_as_printed: Name | None = None
    transponder: Name | None = None
    other_mark: Name | None = None
    mass_g: Grams | None = None
    note: Note = ""

    @model_validator(mode="after")
    def _is_one_or_the_other(self) -> TransferAnimalStated:
        if self.animal_id is None:
            for name in ("taxon_id", "tag"):
                if getattr(self, name) is None:
                    raise misstated(name, "say which animal on record goes, or the taxon and the tag of one that comes", code="required")
        elif others := self.model_fields_set - {"id", "animal_id", "number", "note"}:
            raise misstated(min(others), "this is told of an animal that is not on record yet")
        if self.animal_id is None and self.grouping is Grouping.INDIVIDUAL and self.number != 1:
            raise misstated("number", "an individual counts as one; say grouping 'group' for several")
        return self


class TransferAnimal(Record, TransferAnimalStated, table=True):
    """A stored animal of a transfer: the mark that was read back on loading and on arrival, and how it arrived.

    ``arrived_number`` is how many of a group arrived, those included that were dead: ``arrived_dead``.
    """

    __tablename__ = "transfer_animal"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("transfer", "transfer_id"),
        refers_to("animal", "animal_id"),
        refers_to("taxon", "taxon_id"),
        unique_while_kept("transfer_animal", "transfer_id", "animal_id"),
        sa.Index("ix_transfer_animal_animal", "organisation_id", "animal_id"),
    )
    noun: ClassVar[str] = "transfer_animal"

    transfer_id: Id = Field(sa_type=UuidColumn)
    mark_loaded: str | None = None
    mark_arrived: str | None = None
    arrived: bool | None = None
    arrived_number: int | None = None
    arrived_dead: int | None = None
    condition: str | None = None
    discrepancy: str | None = None
    quarantine_until: date | None = None


class TransferPaperStated(Stated):
    """A paper that goes with the animals: a permit of either end, a health certificate, a notification, a carrier's document.

    ``kind`` is the code of a kind of document in a rule pack, and says how long it is good; without one it is good until ``valid_until``.
    ``inspected_on`` is the day of the inspection that it rests on. ``transfer_animal_ids`` are the animals of the transfer that it is for,
    all where none is named. ``requirement_code`` is the requirement whose notification it is. ``document_id`` is the scan.
    """

    title: Name
    kind: LawCode | None = None
    number: Name
    authority: Name | None = None
    issued_on: Day
    inspected_on: Day | None = None
    valid_until: Day | None = None
    requirement_code: LawCode | None = None
    transfer_animal_ids: Ids = Field(default_factory=list, sa_type=JsonColumn)
    document_id: Id | None = Field(default=None, sa_type=UuidColumn)
    note: Note = ""

    @model_validator(mode="after")
    def _days_hang_together(self) -> TransferPaperStated:
        if self.valid_until is not None and self.valid_until < self.issued_on:
            raise misstated("valid_until", "this should not be before issued_on")
        if self.inspected_on is not None and self.inspected_on > self.issued_on:
            raise misstated("inspected_on", "what a paper rests on was inspected on the day of its issue or before")
        if len(set(self.transfer_animal_ids)) < len(self.transfer_animal_ids):
            raise misstated("transfer_animal_ids", "each animal may be said once", code="repeated")
        return self


class TransferPaper(Record, TransferPaperStated, table=True):
    """A stored paper of a transfer."""

    __tablename__ = "transfer_paper"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("transfer", "transfer_id"),
        refers_to("document", "document_id"),
        sa.Index("ix_transfer_paper_transfer", "organisation_id", "transfer_id"),
    )
    noun: ClassVar[str] = "transfer_paper"
    disclaimer: ClassVar[str | None] = DISCLAIMER

    transfer_animal_ids: Any = Field(sa_type=JsonColumn)
    transfer_id: Id = Field(sa_type=UuidColumn)


class TransferReportStated(Stated):
    """What the receiver reported some days after the arrival: of which of the agreed reports, when, and what it says."""

    after_days: Days
    reported_on: Day
    text: Passage


class TransferReport(Record, TransferReportStated, table=True):
    """A stored report from where animals went."""

    __tablename__ = "transfer_report"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("transfer", "transfer_id"),
        unique_while_kept("transfer_report", "transfer_id", "after_days"),
    )
    noun: ClassVar[str] = "transfer_report"

    transfer_id: Id = Field(sa_type=UuidColumn)


class Reading(Stated):
    """The mark that was read back of an animal of a transfer."""

    transfer_animal_id: Id
    mark: Name | None = None


class Dispatch(Stated):
    """That animals leave now: the mark that was read back of each, and how warm it is in the box [°C], required at a site of ours."""

    readings: Annotated[list[Reading], PydanticField(max_length=ANIMALS_MOST)] = Field(default_factory=list)
    temperature_c: Celsius | None = None


class Arrival(Stated):
    """How an animal of a transfer arrived, or that it did not: the mark that was read, its condition, and what differs from the papers.

    ``number`` is how many of a group arrived, all where it is not said, and ``dead`` how many of these are dead: they are put on record as
    died that day. ``tag`` is under which tag one comes for the first time, where the planned one was taken meanwhile. ``enclosure_id`` is
    where it is put, by default the enclosure that was planned; ``override_reason`` why there although it does not suit.
    """

    transfer_animal_id: Id
    arrived: bool = True
    number: Number | None = None
    dead: Counted = 0
    tag: Name | None = None
    mark: Name | None = None
    condition: Name | None = None
    discrepancy: Name | None = None
    enclosure_id: Id | None = None
    override_reason: Name | None = None

    @model_validator(mode="after")
    def _is_said_of_who_arrived(self) -> Arrival:
        if not self.arrived:
            for name in ("number", "dead", "tag"):
                if getattr(self, name):
                    raise misstated(name, "this is said of who arrived")
        if self.number is not None and self.dead > self.number:
            raise misstated("dead", "no more are dead than arrived")
        return self


class Receipt(Stated):
    """That animals have arrived: each of them accounted for, and how warm it was in the box [°C].

    ``quarantine_days`` are for how long animals that were refused are kept apart at home, by default as long as was planned for the
    receiver's end: a veterinarian decides.
    """

    arrivals: Annotated[list[Arrival], PydanticField(max_length=ANIMALS_MOST)]
    temperature_c: Celsius | None = None
    quarantine_days: Days | None = None


class TransferRefusal(Stated):
    """That the receiver does not take the animals, and why: they go back to where they came from."""

    reason: Passage


class TaxonAnswer(Stated):
    """Which taxon on record is meant by a scientific name of a transfer file."""

    scientific_name: Name
    taxon_id: Id


class AnimalAnswer(Stated):
    """What a transfer file leaves open of the animal with a number in it.

    It is the one on record, ``animal_id``; or it is another (``is_another``) although it bears the code of one, and comes under ``tag``.
    """

    number: Number
    tag: Name | None = None
    animal_id: Id | None = None
    is_another: bool = False

    @model_validator(mode="after")
    def _says_something(self) -> AnimalAnswer:
        if self.animal_id is not None:
            for name in ("tag", "is_another"):
                if getattr(self, name):
                    raise misstated(name, "this is said of an animal that is not on record yet")
        elif self.tag is None and not self.is_another:
            raise misstated("tag", "say animal_id, is_another or tag", code="required")
        return self


class FileAnswers(Stated):
    """Answers to what was asked of a transfer file."""

    taxa: Annotated[list[TaxonAnswer], PydanticField(max_length=ANIMALS_MOST)] = Field(default_factory=list)
    animals: Annotated[list[AnimalAnswer], PydanticField(max_length=ANIMALS_MOST)] = Field(default_factory=list)


class FileToRead(Stated):
    """That a document's transfer file is to be read as a draft of animals that come to a site, with answers to what was asked of it.

    Without ``reference`` the transfer bears that of the file.
    """

    document_id: Id
    to_site_id: Id
    reference: Name | None = None
    answers: FileAnswers = Field(default_factory=FileAnswers)


class Go(Stated):
    """Nothing is said besides: an empty object."""
