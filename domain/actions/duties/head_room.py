"""Permits whose numbers would be exceeded by the young that are expected, told before these come."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection as AnyOf
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.compliance import Collection, Expected
from domain.actions.duties.wording import occurrence
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.broods import ExpectedBrood
from domain.records.permits import Permit
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.compliance import Answer
from domain.rules.law.facts import Subject
from domain.rules.law.requirements import Occasion
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
    .order_by(_brood.c.id)
)
"""Every brood that is awaited: for when, or, where nobody said, since when that is seen; and how many young at the most."""


@dataclass(frozen=True, slots=True, order=True)
class _Brood:
    expected_on: date
    id: UUID
    animal_id: UUID
    number: int


@dataclass(slots=True)
class _Awaited:
    """The young that a permit, or none at all, would be for, and those of them that are left without."""

    broods: list[_Brood] = field(default_factory=list)
    without: list[_Brood] = field(default_factory=list)
    uncovered: int = 0

    @property
    def number(self) -> int:
        """How many are expected."""
        return sum(one.number for one in self.broods)


def head_rooms(unit: Unit, *, on: date, site_ids: AnyOf[UUID | None]) -> Iterator[Duty]:
    """Yield what the permits at some sites, or of none, do not suffice for of the young that are expected of animals there.

    The young are assigned to permits after all animals; of those that are left without the narrowest permit is told that would be for them,
    or the mother where there is none. It is due the day before the first of these are expected: there has to be room, or another permit.
    """
    broods = sorted(_Brood(expected_on, brood_id, animal_id, number) for brood_id, animal_id, expected_on, number in unit.rows(EXPECTED))
    if not broods:
        return
    collection = Collection(unit, from_on=on, until_on=on)
    by_id = {one.id: one for one in broods}
    of_permits: defaultdict[UUID, _Awaited] = defaultdict(_Awaited)
    for young in collection.with_young(on, expected=[Expected(one.id, one.animal_id, one.number) for one in broods]).expected:
        brood = by_id[young.subject.id]
        lacking: list[Answer] = []
        for answer in young.answers:
            fitting = collection.fitting(young.subject, answer.kinds, on=on)
            if fitting:
                _await(of_permits[fitting[0].id], brood, answer)
            else:
                lacking.append(answer)
        if lacking and young.subject.site_id in site_ids:
            yield _without_any(young.subject, brood, lacking)
    permits = {one.id: one for one in collection.in_force.permits}
    for permit_id, awaited in of_permits.items():
        site_id = next(iter(permits[permit_id].site_ids), None)
        if awaited.without and site_id in site_ids:
            yield _exceeded(permits[permit_id], collection.law.kinds[permits[permit_id].kind], awaited, site_id=site_id)


def _await(awaited: _Awaited, brood: _Brood, answer: Answer) -> None:
    awaited.broods.append(brood)
    awaited.uncovered += answer.uncovered
    awaited.without += [brood] if answer.uncovered else []


def _exceeded(permit: rules.Permit, kind: rules.DocumentKind, awaited: _Awaited, *, site_id: UUID | None) -> Duty:
    left = awaited.number - awaited.uncovered
    room = f"there is room for {left} more" if left > 0 else "there is no room left"
    ends = " It ends once its number is exceeded." if Occasion.NUMBER_EXCEEDED in kind.ends_with else ""
    sentence = f"Permit {permit.number_text}: up to {awaited.number} young are expected, and {room} under its number.{ends}"
    return _duty(Permit.noun, permit.id, min(awaited.without), sentence=sentence, site_id=site_id)


def _without_any(young: Subject, brood: _Brood, lacking: Iterable[Answer]) -> Duty:
    needed = "; ".join(" or ".join(one.kinds) for one in lacking)
    sentence = f"Up to {brood.number} young of {young.tag} are expected, and no permit on record would be for them. Needed: {needed}."
    return _duty(Animal.noun, brood.animal_id, brood, sentence=sentence, site_id=young.site_id)


def _duty(subject: str, subject_id: UUID, first: _Brood, *, sentence: str, site_id: UUID | None) -> Duty:
    return Duty(
        subject=subject,
        subject_id=subject_id,
        kind=ReminderKind.HEAD_ROOM,
        occurrence=occurrence(first.id, site_id=site_id),
        due_on=first.expected_on - timedelta(days=1),
        tell_from=first.expected_on - timedelta(days=TOLD_DAYS),
        sentence=sentence,
        site_id=site_id,
    )
