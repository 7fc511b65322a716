"""Incidents, the animals concerned, whom they were told, and what has to be told by when."""

from __future__ import annotations

from collections.abc import Mapping
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict

from api.bodies.compliance import Advice
from api.bodies.records import Kept, LegalPage, New
from domain.actions.incidents import Telling
from domain.records.incidents import IncidentAnimalStated, IncidentStated, NotificationStated


class NewIncident(New, IncidentStated):
    """An incident to be registered."""


class ChangedIncident(IncidentStated):
    """What can be corrected of an incident, and that it is over; its site stays."""


class Incident(Kept, IncidentStated):
    """An incident on file."""


class IncidentPage(LegalPage[Incident]):
    """One page of incidents."""


class NewIncidentAnimal(New, IncidentAnimalStated):
    """An animal that was concerned."""


class IncidentAnimal(Kept, IncidentAnimalStated):
    """An animal of an incident on file."""

    incident_id: UUID


class IncidentAnimalPage(LegalPage[IncidentAnimal]):
    """One page of the animals of an incident."""


class NewNotification(New, NotificationStated):
    """That an incident was told, to be put on record."""


class ChangedNotification(NotificationStated):
    """What can be corrected of a notification."""


class Notification(Kept, NotificationStated):
    """A notification on file."""

    incident_id: UUID


class NotificationPage(LegalPage[Notification]):
    """One page of whom an incident was told."""


class Notice(BaseModel):
    """That a requirement asks for an incident to be told, and how that stands.

    ``tell_by`` is the last instant in time; null: at once. ``missing`` names the facts without which it cannot be decided whether it has
    to be told: tell it all the same where you doubt. ``used`` are the facts that were looked at.
    """

    model_config = ConfigDict(extra="forbid")

    requirement: str
    edition: str
    pack: str
    jurisdiction: str
    title: str
    citation: str
    obligation: str
    tell_by: AwareDatetime | None
    standing: Telling
    told_at: AwareDatetime | None
    missing: list[str]
    used: Mapping[str, str]


class NotifyBy(Advice):
    """What has to be told after an incident, the most urgent first.

    ``missing`` is what could not be looked at at all, such as a jurisdiction without requirements on record.
    """

    incident_id: UUID
    zone: str
    notices: list[Notice]
    missing: list[str]
