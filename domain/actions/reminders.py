"""Reminders from night to night, and what people do about them: acknowledge, defer, hand to a role."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.duties import OF_ORGANISATION, duties_at, duties_of_organisation
from domain.actions.duties.wording import at_site
from domain.actions.sites import today_at, today_there
from domain.errors import Conflict, RuleBroken
from domain.records.base import row_of, table_of
from domain.records.nights import NightlyRun, WorkState
from domain.records.reminders import Deferral, Handing, Reminder
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.permissions import Role
from domain.rules.reminders import Duty, Kept, Key, Moved, ReminderKind, ReminderState, reconcile

_reminder, _site, _run = (table_of(one) for one in (Reminder, Site, NightlyRun))
_own = _reminder.c.organisation_id == sa.bindparam("organisation_id")
_OF_ORGANISATION = [sa.literal(one.value, type_=sa.String()) for one in sorted(OF_ORGANISATION)]
REMINDERS_AT = Statement(sa.select(_reminder).where(_own, at_site(_reminder.c.site_id), _reminder.c.kind.not_in(_OF_ORGANISATION)))
"""The reminders of a site, but for those that are worked out for all sites at once."""
_kept_sites = sa.select(_site.c.id).where(_site.c.organisation_id == sa.bindparam("organisation_id"), _site.c.ended_on.is_(None))
REMINDERS_OF_ORGANISATION = Statement(
    sa.select(_reminder).where(
        _own, sa.or_(_reminder.c.site_id.is_(None), _reminder.c.site_id.not_in(_kept_sites), _reminder.c.kind.in_(_OF_ORGANISATION))
    )
)
"""Those of no site or of a site that has ended, and those that are worked out for all sites at once."""
KEPT_SITES = Statement(sa.select(_site).where(_site.c.organisation_id == sa.bindparam("organisation_id"), _site.c.ended_on.is_(None)))
LATEST_NIGHT = Statement(
    sa.select(sa.func.max(_run.c.at, type_=_run.c.at.type)).where(
        _run.c.organisation_id == sa.bindparam("organisation_id"), _run.c.state == sa.literal_column(f"'{WorkState.DONE.value}'")
    )
)


LONGEST_DEFERRAL = timedelta(days=90)
"""How long a reminder may be put off at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reminded:
    """How many reminders a night added, moved to another day or sentence, opened again, woke after a deferral, and closed."""

    added: int = 0
    moved: int = 0
    opened: int = 0
    woken: int = 0
    closed: int = 0


def remind_at(unit: Unit, site: Site) -> Reminded:
    """Bring a site's reminders up to the unit's instant, after the forecasts of its night were stored."""
    today = today_at(unit, site)
    duties = duties_at(unit, site, today=today)
    return _reconciled(unit, unit.all(Reminder, REMINDERS_AT, site_id=site.id), duties, today={site.id: today})


def remind_organisation(unit: Unit) -> Reminded:
    """Bring the reminders of no site, and those that are worked out for all sites at once, up to the unit's instant."""
    today: dict[UUID | None, date] = {site.id: today_at(unit, site) for site in unit.all(Site, KEPT_SITES)}
    today[None] = unit.origin.at.date()
    duties = duties_of_organisation(unit, today=today)
    return _reconciled(unit, unit.all(Reminder, REMINDERS_OF_ORGANISATION), duties, today=today)


def is_replay(unit: Unit) -> bool:
    """Return whether a later night than that of the unit's instant is on record at any site."""
    row = unit.row(LATEST_NIGHT)
    latest: datetime | None = row[0] if row else None
    return latest is not None and latest > unit.origin.at


def acknowledge_reminder(unit: Unit, reminder_id: UUID) -> Reminder:
    """Put on record that somebody has taken note of a reminder, and return it. The next stage is told all the same.

    Raises:
        NotFound, NotAllowed: There is none, or not within reach.
        Conflict: It was acknowledged already, or closed.
    """
    found = _wanting(unit, reminder_id)
    if found.state is ReminderState.ACKNOWLEDGED:
        raise Conflict("This reminder was acknowledged already.", code="acknowledged")
    done = {"state": ReminderState.ACKNOWLEDGED, "deferred_until": None, "reason": None}
    return _changed(unit, found, done, action="acknowledge_reminder")


def defer_reminder(unit: Unit, reminder_id: UUID, said: Deferral) -> Reminder:
    """Put a reminder off until a day, with the reason, and return it.

    Raises:
        NotFound, NotAllowed: There is none, or not within reach.
        RuleBroken: The day is not later than today at its site, or too far away.
        Conflict: It was closed.
    """
    found = _wanting(unit, reminder_id)
    today = today_there(unit, found.site_id)
    if said.until <= today:
        raise RuleBroken(f"It is {today.isoformat()} there; put it off to a later day.", code="not-later", field="until")
    if said.until > today + LONGEST_DEFERRAL:
        latest = (today + LONGEST_DEFERRAL).isoformat()
        raise RuleBroken(f"A reminder is put off until {latest} at the latest; then look at it again.", code="too-late", field="until")
    put_off = {"state": ReminderState.DEFERRED, "deferred_until": said.until, "reason": said.reason}
    return _changed(unit, found, put_off, action="defer_reminder", reason=said.reason)


def hand_reminder(unit: Unit, reminder_id: UUID, said: Handing) -> Reminder:
    """Hand a reminder to a role, which its later stages are handed to as well, and return it.

    Raises:
        NotFound, NotAllowed: There is none, or not within reach.
        Conflict: It was closed.
    """
    return _changed(unit, _wanting(unit, reminder_id), {"role": said.role}, action="hand_reminder")


def _wanting(unit: Unit, reminder_id: UUID) -> Reminder:
    found = unit.fetch_reached(Reminder, reminder_id)
    if found.state is ReminderState.CLOSED:
        raise Conflict("This reminder is closed: nothing more has to be done about it.", code="closed")
    return found


def _reconciled(unit: Unit, kept: Sequence[Reminder], duties: Iterable[Duty], *, today: Mapping[UUID | None, date]) -> Reminded:
    by_id = {one.id: one for one in kept}
    found = reconcile([_kept(one) for one in kept], duties, today=today)
    woken = {one.id for one in found.woken}
    for moved in found.moved:
        changes = _moved(moved) | (_AWAKE if moved.reminder.id in woken else {})
        _changed(unit, by_id[moved.reminder.id], changes, action="move_reminder")
    moved_too = {one.reminder.id for one in found.moved}
    for one in found.woken:
        if one.id not in moved_too:
            _changed(unit, by_id[one.id], _AWAKE, action="wake_reminder")
    for one in found.closed:
        _changed(unit, by_id[one.id], {"state": ReminderState.CLOSED, "deferred_until": None}, action="close_reminder")
    unit.add_many(Reminder, _new_rows(unit, found.added, roles=_roles(kept)), action="add_reminder")
    return Reminded(
        added=len(found.added),
        moved=len(found.moved),
        opened=sum(one.opened for one in found.moved),
        woken=len(found.woken),
        closed=len(found.closed),
    )


_AWAKE: dict[str, Any] = {"state": ReminderState.OPEN, "deferred_until": None, "reason": None}


def _moved(moved: Moved) -> dict[str, Any]:
    to = {"due_on": moved.duty.due_on, "sentence": moved.duty.sentence}
    return to | _AWAKE if moved.opened else to


def _kept(one: Reminder) -> Kept:
    key = Key(one.subject, one.subject_id, one.kind, one.occurrence, one.stage)
    return Kept(id=one.id, key=key, due_on=one.due_on, state=one.state, sentence=one.sentence, deferred_until=one.deferred_until)


_Occurrence = tuple[str, UUID, ReminderKind, str]


def _roles(kept: Iterable[Reminder]) -> Mapping[_Occurrence, Role]:
    """Return the roles that occurrences were handed to, each at the latest of its stages that was."""
    handed = (one for one in sorted(kept, key=lambda one: one.created_at) if one.role is not None)
    return {_kept(one).key.of_occurrence: one.role for one in handed if one.role is not None}


def _new_rows(unit: Unit, added: Iterable[tuple[Key, Duty]], *, roles: Mapping[_Occurrence, Role]) -> list[dict[str, Any]]:
    return [
        row_of(
            Reminder(
                organisation_id=unit.organisation_id,
                id=unit.new_id(),
                created_at=unit.origin.at,
                subject=key.subject,
                subject_id=key.subject_id,
                kind=key.kind,
                occurrence=key.occurrence,
                stage=key.stage,
                site_id=duty.site_id,
                due_on=duty.due_on,
                sentence=duty.sentence,
                role=roles.get(key.of_occurrence),
                changed_at=unit.origin.at,
            )
        )
        for key, duty in added
    ]


def _changed(unit: Unit, found: Reminder, values: Mapping[str, Any], *, action: str, reason: str | None = None) -> Reminder:
    """Change a reminder and return it; without a difference nothing happens."""
    if all(getattr(found, name) == value for name, value in values.items()):
        return found
    return unit.change(found, {**values, "changed_at": unit.origin.at}, action=action, reason=reason)
