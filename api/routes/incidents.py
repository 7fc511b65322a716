"""Incidents with the animals concerned and whom they were told, and what the law asks to be told by when."""

from __future__ import annotations

from functools import partial

from api.answers import encode
from api.bodies import incidents as bodies
from api.context import Call, computed, origin_of
from api.doors import Door
from api.errors import Answer
from api.nouns import Noun, id_parameter
from api.parts import Part
from domain.actions.incidents import (
    Asked,
    change_incident,
    change_notification,
    end_incident,
    end_incident_animal,
    end_notification,
    notify_by,
    record_incident_animal,
    record_notification,
    register_incident,
)
from domain.records import incidents as records
from domain.rules.law.decision import DISCLAIMER

NOUN = Noun(
    path="/v1/incidents",
    singular="incident",
    plural="incidents",
    parameter="incident_id",
    record=records.Incident,
    new=bodies.NewIncident,
    changed=bodies.ChangedIncident,
    kept=bodies.Incident,
    page=bodies.IncidentPage,
    register=register_incident,
    change=change_incident,
    end=end_incident,
    filters=("site_id", "kind", "enclosure_id"),
)
_part = partial(Part, owner=records.Incident, owner_path="/v1/incidents", owner_parameter="incident_id", within="incident_id")
PARTS = (
    _part(
        path="animals",
        parameter="incident_animal_id",
        singular="incident_animal",
        plural="incident_animals",
        record=records.IncidentAnimal,
        new=bodies.NewIncidentAnimal,
        kept=bodies.IncidentAnimal,
        page=bodies.IncidentAnimalPage,
        make=record_incident_animal,
        end=end_incident_animal,
        filters=("animal_id",),
    ),
    _part(
        path="notifications",
        parameter="notification_id",
        singular="notification",
        plural="notifications",
        record=records.Notification,
        new=bodies.NewNotification,
        changed=bodies.ChangedNotification,
        kept=bodies.Notification,
        page=bodies.NotificationPage,
        make=record_notification,
        change=change_notification,
        end=end_notification,
    ),
)


async def _get_notify_by(call: Call) -> Answer:
    return await computed(call, _notify_by)


def _notify_by(call: Call) -> Answer:
    with call.house.store.snapshot(origin_of(call)) as unit:
        found = notify_by(unit, call.ids[0])
    shown = {
        "disclaimer": DISCLAIMER,
        "incident_id": found.incident.id,
        "zone": found.zone,
        "notices": [_notice(one) for one in found.asked],
        "missing": sorted(found.missing),
    }
    return Answer(encode(shown))


def _notice(one: Asked) -> dict[str, object]:
    notice = one.notice
    rule = notice.requirement
    return {
        "requirement": rule.code,
        "edition": rule.version,
        "pack": rule.pack,
        "jurisdiction": rule.jurisdiction,
        "title": rule.title,
        "citation": rule.citation,
        "obligation": notice.obligation.code,
        "tell_by": notice.tell_by,
        "standing": one.standing,
        "told_at": one.told_at,
        "missing": sorted(notice.missing),
        "used": notice.used,
    }


NOTIFY_BY = Door(
    method="GET",
    path="/v1/incidents/{incident_id}/notify-by",
    action="get_notify_by",
    operation_id="get_notify_by",
    summary="Get what has to be told after an incident, to whom and by when",
    tag="incidents",
    subject="incident",
    answers=bodies.NotifyBy,
    reads=_get_notify_by,
    parameters=[id_parameter("incident_id")],
)
DOORS = (*NOUN.doors(), *(door for part in PARTS for door in part.doors()), NOTIFY_BY)
