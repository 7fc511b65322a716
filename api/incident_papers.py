"""The paper about an incident: from what is on record of it to the frozen sheet that is printed."""

from __future__ import annotations

from collections.abc import Mapping
from uuid import UUID

from api.animal_papers import organisation_name, paper_number
from domain.actions.incidents import ANIMALS_OF_INCIDENT, NOTIFICATIONS_OF, Asked, notify_by
from domain.actions.law import JURISDICTIONS
from domain.actions.taxonomy import taxonomy_above
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure
from domain.records.incidents import IncidentAnimal, Notification
from domain.records.jurisdictions import Jurisdiction
from domain.records.sites import Site
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from reports.incident_sheet import ConcernedAnimal, IncidentSheet, NoticeLine, ToldLine


def incident_sheet(unit: Unit, incident_id: UUID, *, report_id: UUID) -> IncidentSheet:
    """Return the sheet of an incident; the unit's instant is that of the data and of the paper.

    Raises:
        NotFound: There is no such incident in the organisation.
        NotAllowed: It was at a site that the origin does not reach.
    """
    found = notify_by(unit, incident_id)
    incident = found.incident
    site = unit.fetch(Site, incident.site_id)
    places = {one.code: one.name for one in unit.all(Jurisdiction, JURISDICTIONS)}
    place = unit.find(Enclosure, incident.enclosure_id) if incident.enclosure_id else None
    return IncidentSheet(
        paper_id=paper_number(date_at_site(unit.origin.at, site.zone), report_id),
        organisation=organisation_name(unit),
        site=site.name,
        address=site.address,
        zone=site.zone,
        data_as_of=unit.origin.at,
        generated_at=unit.origin.at,
        incident_id=str(incident.id),
        kind=incident.kind,
        found_at=incident.found_at,
        enclosure=None if place is None else place.name,
        persons_hurt=incident.persons_hurt,
        account=incident.account,
        outcome=incident.outcome,
        animals=tuple(_animal(unit, one) for one in unit.all(IncidentAnimal, ANIMALS_OF_INCIDENT, incident_id=incident.id)),
        notices=tuple(_notice(one, places) for one in found.asked),
        told=tuple(map(_told, unit.all(Notification, NOTIFICATIONS_OF, incident_id=incident.id))),
        missing=tuple(sorted(found.missing)),
    )


def _animal(unit: Unit, one: IncidentAnimal) -> ConcernedAnimal:
    animal = unit.fetch(Animal, one.animal_id)
    taxon = unit.fetch(Taxon, animal.taxon_id)
    taxonomy = taxonomy_above(unit, [taxon.id])
    return ConcernedAnimal(
        tag=animal.tag,
        scientific_name=taxon.scientific_name,
        rank=taxon.rank.value,
        hazard=taxonomy.hazard(taxonomy.accepted(taxon.id)),
        note=one.note,
    )


def _told(one: Notification) -> ToldLine:
    return ToldLine(told_to=one.told_to, told_at=one.told_at, way=one.way, reference=one.reference, requirement=one.requirement_code)


def _notice(one: Asked, places: Mapping[str, str]) -> NoticeLine:
    rule = one.notice.requirement
    return NoticeLine(
        requirement=rule.code,
        edition=rule.version,
        jurisdiction=rule.jurisdiction,
        place=places.get(rule.jurisdiction),
        title=rule.title,
        citation=rule.citation,
        tell_by=one.notice.tell_by,
        standing=one.standing.value,
        told_at=one.told_at,
        missing=tuple(sorted(one.notice.missing)),
    )
