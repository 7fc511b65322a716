"""What travels with animals on paper: the plan and what is open of it, and of each animal and paper what a receiver has to know."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.histories import History, history
from domain.actions.inspection_file import PACKS_ON_RECORD
from domain.actions.labels import Described, described
from domain.actions.permit_register import SCANS_OF_PERMITS
from domain.actions.transfers.check import Planned
from domain.actions.transfers.lines import PAPERS_OF, days_of
from domain.records.base import table_of
from domain.records.documents import Document
from domain.records.enclosures import Enclosure
from domain.records.equipment import Equipment, EquipmentModel, OutputReading
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.taxa import HusbandryTarget, Taxon
from domain.records.transfers import Transfer, TransferAnimal, TransferPaper
from domain.records.unit import Unit
from domain.rules.fitness import Hazard
from domain.rules.lives import LifeStage
from domain.rules.permissions import EVERYWHERE, Reach
from domain.rules.transfers import BEFORE_DISPATCH, LOOKED_BACK_DAYS, Check, Days, good_through

_output, _item, _model = table_of(OutputReading), table_of(Equipment), table_of(EquipmentModel)


def _same(one: sa.Table, other: sa.Table, column: str) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == one.c.organisation_id, other.c.id == one.c[column])


MEASURED_IN = Statement(
    sa.select(_output.c.equipment_id, _output.c.measured_on, _output.c.value, _model.c.output_unit.label("unit"), _output.c.method)
    .select_from(_output.join(_item, _same(_output, _item, "equipment_id")).join(_model, _same(_item, _model, "model_id")))
    .where(
        _output.c.organisation_id == sa.bindparam("organisation_id"),
        _item.c.enclosure_id == sa.bindparam("enclosure_id"),
        _output.c.ended_on.is_(None),
        _item.c.ended_on.is_(None),
        _output.c.measured_on >= sa.bindparam("since", type_=sa.Date()),
    )
    .order_by(_output.c.measured_on, _output.c.id)
)
"""What the equipment of an enclosure was measured to give since a day, the last reading of each item at the end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnLicence:
    """A permit by which a site of ours keeps animals like those that go: its number, what its kind is called, and its last day.

    ``sha256`` is the digest of the scan that is dated last.
    """

    number: str
    title: str
    good_until: date | None
    sha256: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Traveller:
    """An animal or group of a transfer, what animals like it need, and its life so far; of one that is not on record here none.

    ``measured`` are the last readings of what the equipment of the enclosure gives that it lived in last.
    """

    line: TransferAnimal
    taxon: Taxon
    hazard: Hazard | None
    target: HusbandryTarget | None
    life: History | None
    measured: Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TravellingPaper:
    """A paper of a transfer: the title of its kind, its last day by that, and the digest of its scan."""

    paper: TransferPaper
    kind_title: str | None
    good_until: date | None
    sha256: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferFile:
    """A transfer with all that goes along. ``check`` is ``None`` once the animals have left: then nothing is looked at any more.

    ``days`` are those of the plan, and once the animals have left those that follow from the day on which they did.
    ``licences`` are, for each end of ours, the permits by which it keeps animals like these. ``packs`` are the rule packs on record.
    """

    transfer: Transfer
    today: date
    days: Days
    through: date
    sender: Site | None
    receiver: Site | None
    quarantine: Enclosure | None
    licences: Mapping[UUID, Sequence[OwnLicence]]
    check: Check | None
    travellers: Sequence[Traveller]
    papers: Sequence[TravellingPaper]
    packs: Sequence[Mapping[str, Any]]


def transfer_file(unit: Unit, transfer_id: UUID, *, filed_at: UUID | None = None) -> TransferFile:
    """Return what goes with the animals of a transfer, as of now. Relatives at other sites than the one it is filed at are left out.

    Raises:
        NotFound: There is no such transfer in the organisation.
        NotAllowed: It is at a site that the origin does not reach.
    """
    transfer = unit.fetch_reached(Transfer, transfer_id)
    planned = Planned(unit, transfer)
    ends = {site_id: unit.fetch(Site, site_id) for site_id in (transfer.from_site_id, transfer.to_site_id) if site_id is not None}
    enclosure_id, days = transfer.quarantine_enclosure_id, days_of(unit, transfer)
    return TransferFile(
        transfer=transfer,
        today=planned.today,
        days=days,
        through=good_through(days, buffer_days=transfer.buffer_days),
        sender=ends.get(transfer.from_site_id) if transfer.from_site_id else None,
        receiver=ends.get(transfer.to_site_id) if transfer.to_site_id else None,
        quarantine=None if enclosure_id is None else unit.fetch(Enclosure, enclosure_id),
        licences=_licences(unit, planned, ends),
        check=planned.check() if transfer.stage in BEFORE_DISPATCH and transfer.ended_on is None else None,
        travellers=_travellers(unit, planned, shown_at=EVERYWHERE if filed_at is None else Reach(frozenset((filed_at,)))),
        papers=_papers(unit, planned),
        packs=unit.named(PACKS_ON_RECORD),
    )


def _licences(unit: Unit, planned: Planned, site_ids: Iterable[UUID]) -> Mapping[UUID, Sequence[OwnLicence]]:
    scans = {row["permit_id"]: row["sha256"] for row in unit.named(SCANS_OF_PERMITS)}
    kinds = planned.law.kinds
    return {
        site_id: [
            OwnLicence(number=one.number_text, title=kinds[one.kind].title, good_until=last, sha256=scans.get(one.id))
            for one, last in planned.laws.licences(site_id)
        ]
        for site_id in site_ids
    }


def _travellers(unit: Unit, planned: Planned, *, shown_at: Reach) -> Sequence[Traveller]:
    lives = {line.animal_id: history(unit, line.animal_id, shown_at=shown_at) for line in planned.lines if line.animal_id is not None}
    taxa = {_taxon_of(line, lives) for line in planned.lines}
    known = described(unit, taxa, on=planned.today)
    return [_traveller(unit, line, lives, known, today=planned.today) for line in planned.lines]


def _traveller(
    unit: Unit, line: TransferAnimal, lives: Mapping[UUID, History], known: Mapping[UUID, Described], *, today: date
) -> Traveller:
    life = None if line.animal_id is None else lives[line.animal_id]
    taxon_id = _taxon_of(line, lives)
    _, _, hazard, needs = known[taxon_id]
    stage = line.life_stage if life is None else life.animal.life_stage
    target = needs.get(None if stage is LifeStage.UNKNOWN else stage, needs.get(None))
    since = today - timedelta(days=LOOKED_BACK_DAYS)
    measured = [] if life is None or not life.placements else _measured(unit, life.placements[-1].enclosure_id, since=since)
    return Traveller(line=line, taxon=unit.fetch(Taxon, taxon_id), hazard=hazard, target=target, life=life, measured=measured)


def _measured(unit: Unit, enclosure_id: UUID, *, since: date) -> Sequence[Mapping[str, Any]]:
    """Return the last reading since a day of each item of an enclosure."""
    last = {row["equipment_id"]: row for row in unit.named(MEASURED_IN, enclosure_id=enclosure_id, since=since)}
    return list(last.values())


def _taxon_of(line: TransferAnimal, lives: Mapping[UUID, History]) -> UUID:
    taxon_id = line.taxon_id if line.animal_id is None else lives[line.animal_id].animal.taxon_id
    assert taxon_id is not None, "what comes has a taxon"  # noqa: S101 - its shape says so
    return taxon_id


def _papers(unit: Unit, planned: Planned) -> Sequence[TravellingPaper]:
    ruled = {one.id: one for one in planned.papers}
    return [
        _paper(unit, one, planned, ruled[one.id].last_day) for one in unit.all(TransferPaper, PAPERS_OF, transfer_id=planned.transfer.id)
    ]


def _paper(unit: Unit, one: TransferPaper, planned: Planned, last_day: date | None) -> TravellingPaper:
    kind = None if one.kind is None else planned.law.kinds.get(one.kind)
    scan = None if one.document_id is None else unit.fetch(Document, one.document_id)
    return TravellingPaper(
        paper=one,
        kind_title=None if kind is None else kind.title,
        good_until=last_day,
        sha256=None if scan is None else scan.sha256,
    )
