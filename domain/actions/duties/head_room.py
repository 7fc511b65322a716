"""Permits whose numbers would be exceeded by the young that are expected, told before these come."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection as AnyOf
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.compliance import Collection
from domain.actions.duties.wording import occurrence
from domain.records.base import table_of
from domain.records.broods import ExpectedBrood
from domain.records.permits import Permit
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.law.requirements import Activity
from domain.rules.reminders import Duty, ReminderKind

TOLD_DAYS = 90
"""How long before the first young are expected it is told that a permit will not suffice."""

_brood = table_of(ExpectedBrood)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
EXPECTED = Statement(
    sa.select(
        _brood.c.id,
        _brood.c.animal_id,
        sa.func.coalesce(_brood.c.expected_on, _brood.c.seen_on, type_=sa.Date()).label("expected_on"),
        sa.func.coalesce(_brood.c.number_high, _brood.c.number_low, sa.literal_column("1"), type_=sa.Integer()).label("number"),
    )
    .where(_brood.c.organisation_id == _organisation_id, _brood.c.ended_on.is_(None), _brood.c.outcome_event_id.is_(None))
    .order_by(_brood.c.expected_on, _brood.c.id)
)
"""Every brood that is awaited: for when, or, where nobody said, since when that is seen; and how many young at the most."""


@dataclass(frozen=True, slots=True, order=True)
class _Brood:
    expected_on: date
    id: UUID
    number: int


def head_rooms(unit: Unit, *, on: date, site_ids: AnyOf[UUID | None]) -> Iterator[Duty]:
    """Yield, for each permit at some sites or of none, that it does not suffice for the young expected of the animals that it covers.

    It is due the day before the first of these are expected: there has to be room, or another permit, by then.
    """
    broods: defaultdict[UUID, list[_Brood]] = defaultdict(list)
    for brood_id, animal_id, expected_on, number in unit.rows(EXPECTED):
        broods[animal_id].append(_Brood(expected_on, brood_id, number))
    if not broods:
        return
    collection = Collection(unit, from_on=on, until_on=on)
    found = collection.standings(on, activity=Activity.HOLD)
    awaited: defaultdict[UUID, set[_Brood]] = defaultdict(set)
    for one in found.coverages:
        for share in (share for answer in one.answers for share in answer.shares):
            awaited[share.permit_id] |= set(broods.get(one.subject.id, ()))
    permits = {one.id: one for one in collection.in_force.permits}
    for room in found.head_rooms:
        young = awaited[room.permit_id]
        number, permit = sum(one.number for one in young), permits[room.permit_id]
        site_id = next(iter(permit.site_ids), None)
        if room.left is not None and number > room.left and site_id in site_ids:
            yield _duty(permit, min(young), number=number, left=room.left, site_id=site_id)


def _duty(permit: rules.Permit, first: _Brood, *, number: int, left: int, site_id: UUID | None) -> Duty:
    room = f"there is room for {left} more" if left > 0 else "there is no room left"
    return Duty(
        subject=Permit.noun,
        subject_id=permit.id,
        kind=ReminderKind.HEAD_ROOM,
        occurrence=occurrence(first.id, site_id=site_id),
        due_on=first.expected_on - timedelta(days=1),
        tell_from=first.expected_on - timedelta(days=TOLD_DAYS),
        sentence=f"Permit {permit.number_text}: up to {number} young are expected, and {room} under its number.",
        site_id=site_id,
    )
