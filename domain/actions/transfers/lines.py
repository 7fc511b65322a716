"""What belongs to a transfer, and the statements by which it is read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.errors import Conflict, Fault
from domain.records.base import Record, table_of
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.transfers import Arrival, Reading, Transfer, TransferAnimal, TransferPaper, TransferReport
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from domain.rules.transfers import BEFORE_DISPATCH, UNDER_WAY, Days, TransferAct, TransferStage, next_stage

_transfer, _line, _paper = table_of(Transfer), table_of(TransferAnimal), table_of(TransferPaper)
_own: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_UNDER_WAY = [sa.literal(one.value, type_=sa.String()) for one in sorted(UNDER_WAY)]
_EXPECTED = [sa.literal(one.value, type_=sa.String()) for one in sorted(BEFORE_DISPATCH | {TransferStage.DISPATCHED})]


def _of_transfer(record: type[Record], *order: str) -> Statement:
    table = table_of(record)
    own = (table.c.organisation_id == _own, table.c.transfer_id == sa.bindparam("transfer_id"), table.c.ended_on.is_(None))
    return Statement(sa.select(table).where(*own).order_by(*(table.c[name] for name in order)))


LINES_OF, PAPERS_OF = _of_transfer(TransferAnimal, "id"), _of_transfer(TransferPaper, "id")
REPORTS_OF = _of_transfer(TransferReport, "after_days", "id")
LINES_UNDER_WAY = Statement(
    sa.select(_line)
    .join(_transfer, sa.and_(_transfer.c.organisation_id == _line.c.organisation_id, _transfer.c.id == _line.c.transfer_id))
    .where(_line.c.organisation_id == _own, _line.c.ended_on.is_(None), _transfer.c.stage.in_(_UNDER_WAY))
    .order_by(_line.c.id)
)
"""The animals of all transfers that have been dispatched and have not come to an end."""
GOING = Statement(
    sa.select(_transfer)
    .join(_line, sa.and_(_transfer.c.organisation_id == _line.c.organisation_id, _transfer.c.id == _line.c.transfer_id))
    .where(
        _line.c.organisation_id == _own,
        _line.c.animal_id == sa.bindparam("animal_id"),
        _line.c.ended_on.is_(None),
        _transfer.c.stage.in_(_UNDER_WAY),
    )
    .limit(1)
)
"""The transfer that an animal is under way with."""

USED_PAPERS = Statement(
    sa.select(_paper.c.kind, _paper.c.number, _transfer.c.dispatched_at)
    .join(_transfer, sa.and_(_transfer.c.organisation_id == _paper.c.organisation_id, _transfer.c.id == _paper.c.transfer_id))
    .where(
        _paper.c.organisation_id == _own,
        _paper.c.ended_on.is_(None),
        _paper.c.kind.is_not(None),
        _transfer.c.dispatched_at.is_not(None),
        _transfer.c.id != sa.bindparam("transfer_id"),
    )
    .order_by(_transfer.c.dispatched_at, _paper.c.id)
)
"""The documents of other transfers whose animals have left, with the instant of that."""
EXPECTED = Statement(
    sa.select(_line.c.tag, _line.c.transponder, _line.c.id)
    .join(_transfer, sa.and_(_transfer.c.organisation_id == _line.c.organisation_id, _transfer.c.id == _line.c.transfer_id))
    .where(
        _line.c.organisation_id == _own,
        _line.c.ended_on.is_(None),
        _line.c.animal_id.is_(None),
        _transfer.c.ended_on.is_(None),
        _transfer.c.stage.in_(_EXPECTED),
    )
    .order_by(_line.c.id)
)
"""Who is expected for the first time: the tag and the transponder's code planned for each, and its line of a transfer."""


def lines_of(unit: Unit, transfer: Transfer) -> Sequence[TransferAnimal]:
    """Return the animals of a transfer, in the order in which they were put on it."""
    return unit.all(TransferAnimal, LINES_OF, transfer_id=transfer.id)


def misnamed(said: Sequence[Reading | Arrival], lines: Iterable[TransferAnimal], *, member: str) -> Iterator[Fault]:
    """Yield the faults of what is said in a list of animals that are not on a transfer, or are said twice: none of it is passed over."""
    known, told = {line.id for line in lines}, set[UUID]()
    for place, one in enumerate(said):
        pointer = f"/{member}/{place}/transfer_animal_id"
        if one.transfer_animal_id not in known:
            yield Fault(pointer, "reference-unknown", "This animal is not on the transfer.")
        elif one.transfer_animal_id in told:
            yield Fault(pointer, "repeated", "This animal is said twice.")
        told.add(one.transfer_animal_id)


def heading_for(transfer: Transfer) -> UUID | None:
    """Return the site of ours that the animals of a dispatched transfer are on their way to, ``None`` where that is another party's."""
    return transfer.from_site_id if transfer.stage is TransferStage.REFUSED else transfer.to_site_id


def days_of(unit: Unit, transfer: Transfer) -> Days:
    """Return when the animals leave and arrive: as planned; once they have left, counted from that day, as long on their way as planned."""
    planned, from_us = Days(transfer.dispatch_on, transfer.arrive_on), transfer.from_site_id is not None
    if transfer.dispatched_at is None:
        return planned
    return planned.left(_day_at(unit, transfer.from_site_id or transfer.to_site_id, transfer.dispatched_at), from_us=from_us)


def days_back_of(unit: Unit, transfer: Transfer) -> Days:
    """Return when animals that were refused turned back, and when they are home: as long on their way as was planned for the way out."""
    out = days_of(unit, transfer)
    if transfer.refused_at is None:
        return out
    return out.from_day(max(out.dispatch_on, _day_at(unit, transfer.to_site_id or transfer.from_site_id, transfer.refused_at)))


def _day_at(unit: Unit, site_id: UUID | None, instant: datetime) -> date:
    return instant.date() if site_id is None else date_at_site(instant, unit.fetch(Site, site_id).zone)


def turn_of(unit: Unit, transfer_id: UUID, act: TransferAct) -> tuple[Transfer, TransferStage]:
    """Return a transfer of which it is the turn of an act, and the stage that the act leads to.

    Raises:
        NotFound: There is no such transfer.
        NotAllowed: It is at a site that the origin does not reach.
        Conflict: It is not the turn of this act.
    """
    found = unit.fetch_reached(Transfer, transfer_id)
    if found.ended_on is not None:
        raise Conflict(f"This transfer was called off on {found.ended_on.isoformat()}.", code="ended")
    stage = next_stage(found.stage, act)
    if stage is None:
        raise Conflict(f"This transfer is {found.stage.value}; it is not the turn to {act.value} it.", code="not-its-turn")
    return found, stage
