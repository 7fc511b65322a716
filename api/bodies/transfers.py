"""Transfers of animals, what goes with them, and what is open before they may leave."""

from __future__ import annotations

from datetime import date
from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from api.bodies.compliance import Advice
from api.bodies.records import Kept, LegalPage, New, Page
from domain.records.transfers import TransferAnimalStated, TransferPaperStated, TransferReportStated, TransferStated
from domain.rules.permits import Start
from domain.rules.transfers import ItemCode, TransferStage


class NewTransfer(New, TransferStated):
    """The plan of a transfer to be registered."""


class ChangedTransfer(TransferStated):
    """What can be corrected of a plan; from where the animals go stays, and the transfer is a draft again."""


class Transfer(Kept, TransferStated):
    """A transfer on file: how far it has come, at which site it is to be acted next, and what was said when it left and arrived."""

    site_id: UUID
    stage: TransferStage
    approved_by: str | None
    dispatched_at: AwareDatetime | None
    dispatch_c: float | None
    arrived_at: AwareDatetime | None
    arrival_c: float | None
    refused_because: str | None
    refused_at: AwareDatetime | None
    closed_on: date | None
    source: Annotated[dict[str, object] | None, Field(description="From which paper it was read, where it came as one.")]


class TransferPage(LegalPage[Transfer]):
    """One page of transfers."""


class NewTransferAnimal(New, TransferAnimalStated):
    """An animal to be put on a transfer."""


class TransferAnimal(Kept, TransferAnimalStated):
    """An animal of a transfer on file, with what was read of it on loading and on arrival."""

    transfer_id: UUID
    mark_loaded: str | None
    mark_arrived: str | None
    arrived: bool | None
    arrived_number: Annotated[int | None, Field(description="How many arrived, those included that were dead.")]
    arrived_dead: Annotated[int | None, Field(description="How many of these were dead.")]
    condition: str | None
    discrepancy: str | None
    quarantine_until: Annotated[date | None, Field(description="Until when it is kept apart at the least; a veterinarian releases it.")]


class TransferAnimalPage(Page[TransferAnimal]):
    """One page of the animals of a transfer."""


class NewTransferPaper(New, TransferPaperStated):
    """A paper to be put on a transfer."""


class ChangedTransferPaper(TransferPaperStated):
    """What can be corrected of a paper."""


class TransferPaper(Kept, TransferPaperStated):
    """A paper of a transfer on file."""

    transfer_id: UUID


class TransferPaperPage(LegalPage[TransferPaper]):
    """One page of the papers of a transfer."""


class NewTransferReport(New, TransferReportStated):
    """A report from where animals went, to be put on record."""


class TransferReport(Kept, TransferReportStated):
    """A report on file."""

    transfer_id: UUID


class TransferReportPage(Page[TransferReport]):
    """One page of reports."""


class _Said(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Rule(_Said):
    """Which requirement stands against it."""

    code: str
    edition: str
    title: str
    citation: str
    missing: list[str]


class OpenItem(_Said):
    """Something that has to be settled before the animals may leave, in a sentence, and the field or part by which it is mended.

    ``animal_ids`` are the animals that it is about, of those that come for the first time their ids on the transfer. ``day_settles`` says
    that other days may settle it.
    """

    code: ItemCode
    sentence: str
    field: str
    animal_ids: list[UUID]
    paper_id: UUID | None
    rule: Rule | None
    day_settles: bool


class PlannedDays(_Said):
    """When the animals leave, and when they arrive."""

    dispatch_on: date
    arrive_on: date


class Renewal(_Said):
    """A paper that has to be had anew for the planned days: inspected, or issued, on a day from the first to the last.

    Without ``from_on`` whoever issues it has to say a later last day.
    """

    paper_id: UUID
    title: str
    starts: Start
    from_on: date | None
    until_on: date


class TransferCheck(Advice):
    """What came of looking at a transfer: what is open for the planned days, and the earliest days with the papers on record.

    Every paper has to be good through ``good_through``. ``earliest`` is null where other days alone
    do not settle within twelve months what is open.
    """

    transfer_id: UUID
    stage: TransferStage
    planned: PlannedDays
    good_through: date
    items: list[OpenItem]
    earliest: PlannedDays | None
    renewals: list[Renewal]
