"""Renewals of permits, and what permits are conditional on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.duties.wording import at_site, occurrence
from domain.actions.law import Law
from domain.actions.permits import permits_of
from domain.records.base import table_of
from domain.records.permits import Permit, PermitCondition
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.law.requirements import Occasion
from domain.rules.reminders import Duty, ReminderKind

RENEWAL_TOLD_DAYS = 60
"""How long before the last day to apply a renewal is told of."""
LONG_AGO = timedelta(days=366)
"""How long after its end a permit that nothing followed is told of: what ended before is history."""
CONDITION_TOLD_DAYS = 30
"""How long before its day a condition is told of."""

_permit, _condition = table_of(Permit), table_of(PermitCondition)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
FOLLOWERS = Statement(
    sa.select(_permit.c.replaces_id, _permit.c.valid_from).where(
        _permit.c.organisation_id == _organisation_id,
        _permit.c.ended_on.is_(None),
        _permit.c.withdrawn_on.is_(None),
        _permit.c.replaces_id.is_not(None),
    )
)
CONDITIONS_TO_MEET = Statement(
    sa.select(_condition.c.id, _condition.c.permit_id, _condition.c.due_on)
    .join(_permit, sa.and_(_permit.c.organisation_id == _condition.c.organisation_id, _permit.c.id == _condition.c.permit_id))
    .where(
        _condition.c.organisation_id == _organisation_id,
        _condition.c.ended_on.is_(None),
        _condition.c.met_on.is_(None),
        _condition.c.due_on <= sa.bindparam("until_on", type_=sa.Date()),
        _permit.c.ended_on.is_(None),
        at_site(_permit.c.site_id),
    )
    .order_by(_condition.c.id)
)


@dataclass(frozen=True, slots=True)
class Granted:
    """Every permit on record, by its id, and from which day another one that was not withdrawn follows."""

    permits: Mapping[UUID, rules.Permit]
    followed_from: Mapping[UUID, date]

    @classmethod
    def of(cls, unit: Unit) -> Granted:
        """Read them."""
        followed: dict[UUID, date] = {}
        for permit_id, valid_from in unit.rows(FOLLOWERS):
            followed[permit_id] = min(valid_from, followed.get(permit_id, valid_from))
        return cls({one.id: one for one in permits_of(unit)}, followed)


def renewals(law: Law, granted: Granted, *, site_id: UUID | None, today: date) -> Iterator[Duty]:
    """Yield the renewals of a site's permits, or of those of no site, each due on the last day to apply.

    One that another follows without a gap, that was withdrawn, was used for its consignment, ended long ago, or whose animal died, is not
    renewed. Where a kind knows no lead, the permit's own last day is the day.
    """
    for permit in granted.permits.values():
        kind = law.kinds.get(permit.kind)
        if kind is None or permit.site_ids != _sites(site_id):
            continue
        alone = replace(permit, replaced_from=None)
        last = rules.valid_until(alone, kind, working=law.working_days(kind.jurisdiction))
        if last is not None and (last < today - LONG_AGO or granted.followed_from.get(permit.id, date.max) <= last + timedelta(days=1)):
            continue
        due_on = _renew_by(law, alone, kind)
        if due_on is not None:
            yield _renewal(permit, kind, due_on, site_id=site_id)


def conditions(unit: Unit, law: Law, granted: Granted, *, site_id: UUID | None, today: date) -> Iterator[Duty]:
    """Yield the conditions of a site's permits, or of those of no site, that have to be met soon, while the permit is good."""
    until_on = today + timedelta(days=CONDITION_TOLD_DAYS)
    for condition_id, permit_id, due_on in unit.rows(CONDITIONS_TO_MEET, site_id=site_id, until_on=until_on):
        permit = granted.permits[permit_id]
        kind = law.kinds.get(permit.kind)
        last = None if kind is None else rules.valid_until(permit, kind, working=law.working_days(kind.jurisdiction))
        if last is None or due_on <= last:
            yield Duty(
                subject=PermitCondition.noun,
                subject_id=condition_id,
                kind=ReminderKind.CONDITION,
                occurrence=occurrence(site_id=site_id),
                due_on=due_on,
                tell_from=due_on - timedelta(days=CONDITION_TOLD_DAYS),
                sentence=f"Meet a condition of {_called(permit, kind)}.",
                site_id=site_id,
            )


def _renewal(permit: rules.Permit, kind: rules.DocumentKind, due_on: date, *, site_id: UUID | None) -> Duty:
    start = permit.inspected_on if kind.starts is rules.Start.INSPECTION and permit.inspected_on else permit.issued_on
    return Duty(
        subject=Permit.noun,
        subject_id=permit.id,
        kind=ReminderKind.RENEWAL,
        occurrence=occurrence(start, site_id=site_id),
        due_on=due_on,
        tell_from=due_on - timedelta(days=RENEWAL_TOLD_DAYS),
        sentence=f"Apply for what follows {_called(permit, kind)}: this is the last day to apply in time.",
        site_id=site_id,
    )


def _renew_by(law: Law, permit: rules.Permit, kind: rules.DocumentKind) -> date | None:
    died = Occasion.DEATH in kind.ends_with and any(occasion is Occasion.DEATH for occasion, _ in permit.events)
    if permit.withdrawn_on is not None or died or _all_died(permit, kind) or kind.for_one_consignment:
        return None
    working = law.working_days(kind.jurisdiction)
    if kind.renewal_lead is not None:
        return rules.renew_by(permit, kind, working=working)
    last = rules.valid_until(permit, kind, working=working)
    return None if last is None or last <= permit.valid_from else last


def _all_died(permit: rules.Permit, kind: rules.DocumentKind) -> bool:
    ended = [rules.ended_for(permit, one, kind) for one in permit.animal_ids]
    return bool(ended) and all(one is not None and one[0] is Occasion.DEATH for one in ended)


def _sites(site_id: UUID | None) -> frozenset[UUID]:
    return frozenset() if site_id is None else frozenset((site_id,))


def _called(permit: rules.Permit, kind: rules.DocumentKind | None) -> str:
    """Return what a permit is called in a sentence."""
    return permit.number_text if kind is None else f"{permit.number_text} ({kind.title})"
