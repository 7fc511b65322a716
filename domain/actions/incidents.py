"""Putting incidents on record, which animals were concerned, whom they were told, and what the law asks to be told by when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.actions.law import law_as_of, refuse_unknown_requirement
from domain.actions.premises import PremisesHistory
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred, referred_reached
from domain.actions.sites import today_there
from domain.actions.subjects import Chronicle
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.incidents import Incident, IncidentAnimal, IncidentAnimalStated, IncidentStated, Notification, NotificationStated
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from domain.rules.incidents import Notice, notices
from domain.rules.law.facts import Premises, Subject

P = TypeVar("P", IncidentAnimal, Notification)

_DAY = timedelta(days=1)
_incident, _animal, _notification = (table_of(one) for one in (Incident, IncidentAnimal, Notification))
_own: sa.BindParameter[Any] = sa.bindparam("organisation_id")


def _of_incident(table: sa.Table, *order: str) -> Statement:
    return Statement(
        sa.select(table)
        .where(table.c.organisation_id == _own, table.c.incident_id == sa.bindparam("incident_id"), table.c.ended_on.is_(None))
        .order_by(*(table.c[name] for name in order))
    )


ANIMALS_OF_INCIDENT, NOTIFICATIONS_OF = _of_incident(_animal, "id"), _of_incident(_notification, "told_at", "id")
INCIDENTS_AT = Statement(
    sa.select(_incident)
    .where(_incident.c.organisation_id == _own, _incident.c.site_id == sa.bindparam("site_id"), _incident.c.ended_on.is_(None))
    .order_by(_incident.c.found_at, _incident.c.id)
)


class Telling(StrEnum):
    """How a notice stands."""

    OPEN = "open"
    MISSED = "missed"
    TOLD = "told"
    TOLD_LATE = "told_late"
    CANNOT_DECIDE = "cannot_decide"


@dataclass(frozen=True, slots=True)
class Asked:
    """A notice, how it stands now, and when it was told first."""

    notice: Notice
    standing: Telling
    told_at: datetime | None


@dataclass(frozen=True, slots=True)
class NotifyBy:
    """What has to be told after an incident, the most urgent first; ``missing`` is what could not be looked at at all."""

    incident: Incident
    zone: str
    asked: Sequence[Asked]
    missing: frozenset[str]


def register_incident(unit: Unit, stated: IncidentStated, *, record_id: UUID | None = None) -> Incident:
    """Register an incident and return it.

    Raises:
        RuleBroken: It refers to nothing, the enclosure is at another site, or it has not happened yet.
    """
    _check(unit, stated, before=None)
    return recorded(unit, Incident, stated, record_id=record_id)


def change_incident(unit: Unit, incident_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Incident:
    """Apply a correction to an incident, or that it is over, and return it. At which site it was stays as it is.

    Raises:
        RuleBroken: As for registering; or the site would be another.
    """
    found = current(unit, Incident, incident_id, expected_version=expected_version)
    said = merged(IncidentStated, found, patch)
    _check(unit, said, before=found)
    if any(one.told_at < said.found_at for one in unit.all(Notification, NOTIFICATIONS_OF, incident_id=found.id)):
        raise RuleBroken("It was told before this instant; correct one of the two.", code="before-found", field="found_at")
    return corrected(unit, found, said)


def end_incident(unit: Unit, incident_id: UUID, ending: Ending) -> Incident:
    """Take an incident that was entered wrongly out of account and return it."""
    found = unit.fetch(Incident, incident_id)
    return ended(unit, found, ending, today=today_there(unit, found.site_id))


def record_incident_animal(unit: Unit, incident_id: UUID, stated: IncidentAnimalStated, *, record_id: UUID | None = None) -> IncidentAnimal:
    """Put on record that an animal was concerned, and return that. The animal's own life is told by its events.

    Raises:
        RuleBroken: There is no such animal. It may have died or left.
        NotAllowed: It is at a site that the origin does not reach.
        Conflict: It is on record already, or the incident was taken out of account.
    """
    incident = _kept(unit, incident_id)
    if unit.find(Animal, stated.animal_id) is None:
        raise RuleBroken("There is no such animal.", code="reference-unknown", field="animal_id")
    unit.fetch_reached(Animal, stated.animal_id)
    if any(one.animal_id == stated.animal_id for one in unit.all(IncidentAnimal, ANIMALS_OF_INCIDENT, incident_id=incident.id)):
        raise Conflict("This animal is on record already.", code="already-there", field="animal_id")
    return recorded(unit, IncidentAnimal, stated, record_id=record_id, incident_id=incident.id)


def end_incident_animal(unit: Unit, incident_animal_id: UUID, ending: Ending, *, owner_id: UUID) -> IncidentAnimal:
    """Take an animal that was not concerned off an incident and return that.

    Raises:
        NotFound: The incident has no such animal.
    """
    return _ended(unit, IncidentAnimal, incident_animal_id, ending, owner_id=owner_id)


def record_notification(unit: Unit, incident_id: UUID, stated: NotificationStated, *, record_id: UUID | None = None) -> Notification:
    """Put on record that an incident was told, and return that.

    Raises:
        RuleBroken: No rule pack has the requirement, or it was told before the incident was found or at an instant to come.
        Conflict: The incident was taken out of account.
    """
    incident = _kept(unit, incident_id)
    _check_notification(unit, incident, stated, before=None)
    return recorded(unit, Notification, stated, record_id=record_id, incident_id=incident.id)


def change_notification(
    unit: Unit, notification_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> Notification:
    """Apply a correction to a notification and return it.

    Raises:
        NotFound: The incident has no such notification.
        RuleBroken: As for recording.
    """
    incident = _owner(unit, Notification, notification_id, owner_id=owner_id)
    found = current(unit, Notification, notification_id, expected_version=expected_version)
    said = merged(NotificationStated, found, patch)
    _check_notification(unit, incident, said, before=found)
    return corrected(unit, found, said)


def end_notification(unit: Unit, notification_id: UUID, ending: Ending, *, owner_id: UUID) -> Notification:
    """Take a notification that was entered wrongly out of account and return it.

    Raises:
        NotFound: The incident has no such notification.
    """
    return _ended(unit, Notification, notification_id, ending, owner_id=owner_id)


def notify_by(unit: Unit, incident_id: UUID) -> NotifyBy:
    """Return what has to be told after an incident by the law in force on its day, by when, and whether it was told."""
    incident = unit.fetch_reached(Incident, incident_id)
    return _Asking(unit, [incident], zone=unit.fetch(Site, incident.site_id).zone).after(incident)


def incidents_between(unit: Unit, site_id: UUID, *, from_on: date, until_on: date) -> Sequence[NotifyBy]:
    """Return the incidents of a site that were found on the days of a period, in their order, each with what had to be told."""
    zone = unit.fetch(Site, site_id).zone
    of_site = unit.all(Incident, INCIDENTS_AT, site_id=site_id)
    found = [one for one in of_site if from_on <= date_at_site(one.found_at, zone) <= until_on]
    if not found:
        return []
    asking = _Asking(unit, found, zone=zone)
    return [asking.after(one) for one in found]


class _Asking:
    """What the law asks to be told after incidents at one site. Law, premises and the animals concerned are read once for all of them."""

    def __init__(self, unit: Unit, incidents: Sequence[Incident], *, zone: str) -> None:
        self._unit, self._zone = unit, zone
        self._law = law_as_of(unit)
        self._premises = PremisesHistory(unit, self._law)
        self._concerned = {
            one.id: [animal.animal_id for animal in unit.all(IncidentAnimal, ANIMALS_OF_INCIDENT, incident_id=one.id)] for one in incidents
        }
        days = [day for one in incidents for animal_id in self._concerned[one.id] for day in self._days_of(one, animal_id)]
        self._chronicle = Chronicle(unit, from_on=min(days), until_on=max(days)) if days else None

    def after(self, incident: Incident) -> NotifyBy:
        """Return what has to be told after one of the incidents."""
        on = date_at_site(incident.found_at, self._zone)
        subjects = self._subjects(incident)
        found = notices(
            self._law.requirements,
            self._law.jurisdictions,
            subjects,
            kind=incident.kind,
            found_at=incident.found_at,
            zone=self._zone,
            premises=self._premises.on(on).get(incident.site_id, Premises()),
            others_concerned=len(subjects) < len(self._concerned[incident.id]),
        )
        told = self._unit.all(Notification, NOTIFICATIONS_OF, incident_id=incident.id)
        asked = [_asked(one, _told_at(one, told, among=found.notices), now=self._unit.origin.at) for one in found.notices]
        return NotifyBy(incident=incident, zone=self._zone, asked=asked, missing=found.missing)

    def _subjects(self, incident: Incident) -> list[Subject]:
        """Return the animals concerned as they stood on the day, or when they were kept last; some may never have been."""
        if self._chronicle is None:
            return []
        found: list[Subject] = []
        for animal_id in self._concerned[incident.id]:
            on_days = (self._chronicle.of(animal_id, on=day) for day in self._days_of(incident, animal_id))
            found += [one for one in on_days if one is not None][:1]
        return found

    def _days_of(self, incident: Incident, animal_id: UUID) -> tuple[date, ...]:
        """Return the days on which to look for an animal: that of the incident, its eve, and the last one on which it was kept."""
        on = date_at_site(incident.found_at, self._zone)
        ended_on = self._unit.fetch(Animal, animal_id).ended_on
        return (on, on - _DAY) if ended_on is None or ended_on >= on else (on, on - _DAY, ended_on - _DAY)


def _told_at(notice: Notice, told: Sequence[Notification], *, among: Sequence[Notice]) -> datetime | None:
    """Return when a notice was told first. One that names no obligation tells a requirement that asks for one notice alone."""
    code = notice.requirement.code
    is_alone = sum(one.requirement.code == code for one in among) == 1
    for one in told:
        if one.requirement_code == code and (one.obligation_code == notice.obligation.code or (one.obligation_code is None and is_alone)):
            return one.told_at
    return None


def _asked(notice: Notice, told_at: datetime | None, *, now: datetime) -> Asked:
    late = notice.tell_by is not None and (told_at or now) > notice.tell_by
    if told_at is not None:
        return Asked(notice, Telling.TOLD_LATE if late else Telling.TOLD, told_at)
    if not notice.is_decided:
        return Asked(notice, Telling.CANNOT_DECIDE, None)
    return Asked(notice, Telling.MISSED if late else Telling.OPEN, None)


def _check(unit: Unit, said: IncidentStated, *, before: Incident | None) -> None:
    if before is not None and said.site_id != before.site_id:
        sentence = "At which site it was stays as it is. End this record, and register the incident at the other site."
        raise RuleBroken(sentence, code="stays-at-site", field="site_id")
    referred(unit, Site, said.site_id, field="site_id", kept=before.site_id if before else None)
    if said.enclosure_id is not None:
        place = referred_reached(unit, Enclosure, said.enclosure_id, field="enclosure_id", kept=before.enclosure_id if before else None)
        if place.site_id != said.site_id:
            raise RuleBroken("That enclosure is at another site.", code="other-site", field="enclosure_id")
    _refuse_to_come(unit, field="found_at", at=said.found_at)
    if said.closed_on is None:
        return
    if said.closed_on > today_there(unit, said.site_id):
        raise RuleBroken("This date has not come yet at the site.", code="in-future", field="closed_on")
    if said.closed_on < date_at_site(said.found_at, unit.fetch(Site, said.site_id).zone):
        raise RuleBroken("It was over before it was found; correct one of the two.", code="before-found", field="closed_on")


def _check_notification(unit: Unit, incident: Incident, said: NotificationStated, *, before: Notification | None) -> None:
    refuse_unknown_requirement(unit, said.requirement_code, kept=before.requirement_code if before else None)
    if said.obligation_code is not None and (before is None or said.obligation_code != before.obligation_code):
        known = {one.code for rule in law_as_of(unit).requirements if rule.code == said.requirement_code for one in rule.obligations}
        if said.obligation_code not in known:
            raise RuleBroken("This requirement has no such obligation.", code="requirement-unknown", field="obligation_code")
    _refuse_to_come(unit, field="told_at", at=said.told_at)
    if said.told_at < incident.found_at:
        raise RuleBroken("It was told before it was found; correct one of the two.", code="before-found", field="told_at")


def _refuse_to_come(unit: Unit, *, field: str, at: datetime) -> None:
    if at > unit.origin.at:
        raise RuleBroken("This instant has not come yet.", code="in-future", field=field)


def _kept(unit: Unit, incident_id: UUID) -> Incident:
    found = unit.fetch_reached(Incident, incident_id)
    if found.ended_on is not None:
        raise Conflict(f"This incident was taken out of account on {found.ended_on.isoformat()}.", code="ended")
    return found


def _owner(unit: Unit, record: type[P], record_id: UUID, *, owner_id: UUID) -> Incident:
    incident = unit.fetch_reached(Incident, owner_id)
    if unit.fetch(record, record_id).incident_id != incident.id:
        raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")
    return incident


def _ended(unit: Unit, record: type[P], record_id: UUID, ending: Ending, *, owner_id: UUID) -> P:
    incident = _owner(unit, record, record_id, owner_id=owner_id)
    return ended(unit, unit.fetch(record, record_id), ending, today=today_there(unit, incident.site_id))
