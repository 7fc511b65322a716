"""Who is kept apart after an arrival and for how long; and what becomes of that when others join them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.transfers.lines import lines_of
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.statements import Statement
from domain.records.transfers import Transfer, TransferAnimal
from domain.records.unit import Unit
from domain.rules.lives import Status
from domain.rules.transfers import ARRIVED

_transfer, _line, _animal = (table_of(one) for one in (Transfer, TransferAnimal, Animal))
_onward, _onward_line = _transfer.alias("onward"), _line.alias("onward_line")
_own: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_PRESENT = sa.literal(Status.PRESENT.value, type_=sa.String())
_OVER = [sa.literal(one.value, type_=sa.String()) for one in (Status.DEAD, Status.DEPARTED)]
_went_on = sa.exists().where(
    _onward_line.c.organisation_id == _line.c.organisation_id,
    _onward_line.c.animal_id == _line.c.animal_id,
    _onward_line.c.ended_on.is_(None),
    _onward.c.organisation_id == _onward_line.c.organisation_id,
    _onward.c.id == _onward_line.c.transfer_id,
    _onward.c.dispatched_at > _transfer.c.arrived_at,
)
_its_transfer = sa.and_(_transfer.c.organisation_id == _line.c.organisation_id, _transfer.c.id == _line.c.transfer_id)
_its_animal = sa.and_(_animal.c.organisation_id == _line.c.organisation_id, _animal.c.id == _line.c.animal_id)
_source = _line.join(_transfer, _its_transfer).join(_animal, _its_animal)
_is_kept_apart = (
    _line.c.organisation_id == _own,
    _line.c.ended_on.is_(None),
    _line.c.quarantine_until.is_not(None),
    _transfer.c.stage.in_([sa.literal(one.value, type_=sa.String()) for one in sorted(ARRIVED)]),
    _animal.c.status.not_in(_OVER),
    ~_went_on,
)
"""Of transfers that have arrived and are not closed: who has neither died nor departed, nor left with another transfer since."""

KEPT_APART = Statement(
    sa.select(_animal.c.tag, _line.c.quarantine_until)
    .select_from(_source)
    .where(*_is_kept_apart, _line.c.transfer_id == sa.bindparam("transfer_id"))
    .order_by(_line.c.id)
)
KEPT_APART_UNTIL = Statement(
    sa.select(_line.c.transfer_id, sa.func.max(_line.c.quarantine_until, type_=sa.Date()))
    .select_from(_source)
    .where(*_is_kept_apart)
    .group_by(_line.c.transfer_id)
)
"""The transfers of which somebody is kept apart, and until when."""
JOINED = Statement(
    sa.select(_line)
    .select_from(_source)
    .where(
        *_is_kept_apart,
        _line.c.transfer_id != sa.bindparam("transfer_id"),
        _line.c.quarantine_until < sa.bindparam("until_on", type_=sa.Date()),
        _animal.c.enclosure_id == sa.bindparam("enclosure_id"),
        _animal.c.status == _PRESENT,
    )
    .order_by(_line.c.id)
)
"""The lines of other transfers whose animals are kept apart in an enclosure until an earlier day."""


def kept_apart(unit: Unit, transfer: Transfer, *, after: date) -> Sequence[tuple[str, date]]:
    """Return the tags of the animals of a transfer that are kept apart longer than until a day, and until when each of them is."""
    return [(tag, until_on) for tag, until_on in unit.rows(KEPT_APART, transfer_id=transfer.id) if until_on > after]


def restart_quarantine(unit: Unit, transfer: Transfer, *, until_on: date) -> None:
    """Have those whom the animals of a transfer join in a quarantine enclosure be kept apart until the same day, where that is later."""
    for enclosure_id in _joining(unit, transfer):
        for one in unit.all(TransferAnimal, JOINED, transfer_id=transfer.id, enclosure_id=enclosure_id, until_on=until_on):
            unit.change(one, {"quarantine_until": until_on}, action="restart_quarantine")


def _joining(unit: Unit, transfer: Transfer) -> set[UUID]:
    """Return the quarantine enclosures into which animals of a transfer were put that are kept apart there."""
    kept = (unit.fetch(Animal, one.animal_id) for one in lines_of(unit, transfer) if one.animal_id and one.quarantine_until)
    return {one.enclosure_id for one in kept if one.enclosure_id and unit.fetch(Enclosure, one.enclosure_id).quarantine}
