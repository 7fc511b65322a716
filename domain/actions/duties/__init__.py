"""What has to be done by when, gathered from everything on record: at a site, and of the whole organisation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from uuid import UUID

from domain.actions.duties.findings import findings
from domain.actions.duties.head_room import head_rooms
from domain.actions.duties.keeping import retention_ends
from domain.actions.duties.law import obligations
from domain.actions.duties.permits import Granted, conditions, renewals
from domain.actions.duties.service import services
from domain.actions.duties.staff import competences
from domain.actions.duties.transfers import after_arrivals, late_arrivals, loans
from domain.actions.law import law_as_of
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.reminders import Duty, ReminderKind

OF_ORGANISATION = frozenset((ReminderKind.HEAD_ROOM, ReminderKind.RETENTION_END))
"""What is worked out for all sites at once: permits are assigned over all animals, and who is gone is at no site any more."""


def duties_at(unit: Unit, site: Site, *, today: date) -> Iterator[Duty]:
    """Yield what has to be done at a site, by its date; the forecasts are those that the latest night there stored."""
    law = law_as_of(unit)
    granted = Granted.of(unit)
    yield from services(unit, site.id, today=today)
    yield from renewals(law, granted, site_id=site.id, today=today)
    yield from conditions(unit, law, granted, site_id=site.id, today=today)
    yield from competences(unit, site_id=site.id, today=today)
    yield from obligations(unit, law, granted, site=site, today=today)
    yield from findings(unit, site_id=site.id)
    yield from loans(unit, site_id=site.id, today=today)
    yield from late_arrivals(unit, site=site, today=today)
    yield from after_arrivals(unit, site=site)


def duties_of_organisation(unit: Unit, *, today: Mapping[UUID | None, date]) -> Iterator[Duty]:
    """Yield what has to be done of no site, and what is worked out for all sites at once; ``today`` is by site."""
    law, on = law_as_of(unit), today[None]
    granted = Granted.of(unit)
    yield from renewals(law, granted, site_id=None, today=on)
    yield from conditions(unit, law, granted, site_id=None, today=on)
    yield from competences(unit, site_id=None, today=on)
    yield from loans(unit, site_id=None, today=on)
    yield from head_rooms(unit, on=on, site_ids=today.keys())
    yield from retention_ends(unit, law, today=on)
