"""An animal's whole life in one place: everything on record about it, in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.holdings import HOLDINGS_OF
from domain.actions.lives import EVENTS_OF, MARKS_OF, PLACEMENTS_OF, STATES_OF, of_animal, today_of
from domain.actions.taxonomy import taxonomy_above
from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.base import Record, table_of
from domain.records.belonging import site_of
from domain.records.documents import Attachment, Document
from domain.records.enclosures import Enclosure
from domain.records.holdings import CallName, Holding
from domain.records.kinship import Parent
from domain.records.marks import Mark
from domain.records.measurements import Measurement
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.fitness import Hazard
from domain.rules.permissions import EVERYWHERE, Reach

MEASUREMENTS_OF = of_animal(Measurement, "measured_on", "id")
NAMES_OF = of_animal(CallName, "from_on")
PARENTS_OF = of_animal(Parent, "role", "id")
_PARTS: tuple[type[Record], ...] = (AnimalEvent, Placement, Mark, Measurement, Holding, CallName, Parent)

_parent, _animal, _taxon, _place, _site, _staff = (table_of(one) for one in (Parent, Animal, Taxon, Enclosure, Site, Staff))
_attached, _document = table_of(Attachment), table_of(Document)
_own: sa.BindParameter[int] = sa.bindparam("organisation_id")


def _joined(one: sa.Table, other: Any, column: str) -> sa.ColumnElement[bool]:  # noqa: ANN401 - a table or an alias of one
    return sa.and_(other.c.organisation_id == one.c.organisation_id, other.c.id == one.c[column])


OFFSPRING_OF = Statement(
    sa.select(
        _animal.c.id,
        _animal.c.tag,
        _taxon.c.scientific_name,
        _taxon.c.rank,
        _parent.c.role,
        _parent.c.certainty,
        _animal.c.hatched_on,
        _animal.c.hatched_precision,
        _animal.c.count,
        _animal.c.status,
        _animal.c.enclosure_id,
    )
    .select_from(_parent.join(_animal, _joined(_parent, _animal, "animal_id")).join(_taxon, _joined(_animal, _taxon, "taxon_id")))
    .where(_parent.c.organisation_id == _own, _parent.c.parent_id == sa.bindparam("animal_id"), _parent.c.ended_on.is_(None))
    .order_by(_animal.c.hatched_on, _animal.c.id)
)
PLACES_OF = Statement(
    sa.select(_place.c.id, _place.c.name, _site.c.name.label("site"))
    .select_from(_place.join(_site, _joined(_place, _site, "site_id")))
    .where(
        _place.c.organisation_id == _own,
        _place.c.id.in_(
            sa.select(table_of(Placement).c.enclosure_id).where(
                table_of(Placement).c.organisation_id == _own, table_of(Placement).c.animal_id == sa.bindparam("animal_id")
            )
        ),
    )
)
TAGS_OF_RELATED = Statement(
    sa.select(_animal.c.id, _animal.c.tag, _taxon.c.scientific_name, _taxon.c.rank, _animal.c.enclosure_id)
    .select_from(_animal.join(_taxon, _joined(_animal, _taxon, "taxon_id")))
    .where(
        _animal.c.organisation_id == _own,
        sa.or_(
            _animal.c.id.in_(
                sa.select(_parent.c.parent_id).where(_parent.c.organisation_id == _own, _parent.c.animal_id == sa.bindparam("animal_id"))
            ),
            _animal.c.id.in_(
                sa.select(table_of(AnimalEvent).c.other_animal_id).where(
                    table_of(AnimalEvent).c.organisation_id == _own, table_of(AnimalEvent).c.animal_id == sa.bindparam("animal_id")
                )
            ),
        ),
    )
)
MEASURED_BY = Statement(
    sa.select(_staff.c.id, _staff.c.name).where(
        _staff.c.organisation_id == _own,
        _staff.c.id.in_(
            sa.select(table_of(Measurement).c.staff_id).where(
                table_of(Measurement).c.organisation_id == _own, table_of(Measurement).c.animal_id == sa.bindparam("animal_id")
            )
        ),
    )
)
DOCUMENTS_OF = Statement(
    sa.select(
        _document.c.id,
        _document.c.title,
        _document.c.dated_on,
        _document.c.reference,
        _attached.c.role,
        _document.c.media_type,
        _document.c.sha256,
        _document.c.note,
        _document.c.site_id,
    )
    .select_from(_attached.join(_document, _joined(_attached, _document, "document_id")))
    .where(
        _attached.c.organisation_id == _own,
        _attached.c.subject == "animal",
        _attached.c.subject_id == sa.bindparam("animal_id"),
        _attached.c.ended_on.is_(None),
        _document.c.ended_on.is_(None),
    )
    .order_by(_document.c.dated_on, _document.c.id)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Everything on record about an animal or group on ``today`` [date at its place].

    What was withdrawn is not in the lists but counted in ``withdrawn``; ``corrected`` counts what was changed after it had been entered.
    ``places`` are the names of enclosures and their sites by id; ``related`` the tag, scientific name and rank of parents and of records
    that animals came from or went to; ``staff`` the names of who measured.
    """

    animal: Animal
    today: date
    taxon: Taxon
    hazard: Hazard | None
    zone: str
    names: Sequence[CallName]
    marks: Sequence[Mark]
    states: Sequence[AnimalState]
    placements: Sequence[Placement]
    measurements: Sequence[Measurement]
    parents: Sequence[Parent]
    offspring: Sequence[Mapping[str, Any]]
    holdings: Sequence[Holding]
    events: Sequence[AnimalEvent]
    documents: Sequence[Mapping[str, Any]]
    places: Mapping[UUID, tuple[str, str]]
    related: Mapping[UUID, tuple[str, str, str]]
    staff: Mapping[UUID, str]
    withdrawn: int
    corrected: int


def history(unit: Unit, animal_id: UUID, *, shown_at: Reach = EVERYWHERE) -> History:
    """Return an animal's or group's whole life. Relatives and documents are those within the origin's reach and ``shown_at``.

    Raises:
        NotFound: There is no such animal in the organisation.
        NotAllowed: It is at a site that the origin does not reach.
    """
    animal = unit.fetch_reached(Animal, animal_id)
    reach = unit.origin.reach.within(shown_at)
    of = {"animal_id": animal_id}
    taxon = unit.fetch(Taxon, animal.taxon_id)
    taxonomy = taxonomy_above(unit, [taxon.id])
    return History(
        animal=animal,
        today=today_of(unit, animal),
        taxon=taxon,
        hazard=taxonomy.hazard(taxonomy.accepted(taxon.id)),
        zone=_zone(unit, animal),
        names=unit.all(CallName, NAMES_OF, **of),
        marks=unit.all(Mark, MARKS_OF, **of),
        states=unit.all(AnimalState, STATES_OF, **of),
        placements=unit.all(Placement, PLACEMENTS_OF, **of),
        measurements=unit.all(Measurement, MEASUREMENTS_OF, **of),
        parents=unit.all(Parent, PARENTS_OF, **of),
        offspring=_within(reach, unit, Animal, unit.named(OFFSPRING_OF, **of)),
        holdings=unit.all(Holding, HOLDINGS_OF, **of),
        events=unit.all(AnimalEvent, EVENTS_OF, **of),
        documents=_within(reach, unit, Document, unit.named(DOCUMENTS_OF, **of)),
        places={row[0]: (row[1], row[2]) for row in unit.rows(PLACES_OF, **of)},
        related={
            one["id"]: (one["tag"], one["scientific_name"], one["rank"].value)
            for one in _within(reach, unit, Animal, unit.named(TAGS_OF_RELATED, **of))
        },
        staff={row[0]: row[1] for row in unit.rows(MEASURED_BY, **of)},
        withdrawn=sum(_counted(unit, statement, animal_id) for statement in WITHDRAWN_OF),
        corrected=sum(_counted(unit, statement, animal_id) for statement in CORRECTED_OF),
    )


def _within(reach: Reach, unit: Unit, record: type[Record], rows: Sequence[Mapping[str, Any]]) -> Sequence[Mapping[str, Any]]:
    """Return the rows of those records that are at sites within a reach."""
    return [one for one in rows if reach.site_ids is None or reach.covers(site_of(unit, record, one))]


def _counting(record: type[Record], *, withdrawn: bool) -> Statement:
    table = table_of(record)
    gone = table.c.ended_on.is_not(None)
    wanted = gone if withdrawn else sa.and_(~gone, table.c.version > 1)
    return Statement(
        sa.select(sa.func.count()).where(table.c.organisation_id == _own, table.c.animal_id == sa.bindparam("animal_id"), wanted)
    )


WITHDRAWN_OF = tuple(_counting(record, withdrawn=True) for record in _PARTS)
CORRECTED_OF = tuple(_counting(record, withdrawn=False) for record in _PARTS if record not in {AnimalEvent, Placement, Mark})
"""What has more than one version without having been corrected, because the life was made anew, is not counted."""


def _counted(unit: Unit, statement: Statement, animal_id: UUID) -> int:
    row = unit.row(statement, animal_id=animal_id)
    return int(row[0]) if row else 0


def _zone(unit: Unit, animal: Animal) -> str:
    place = unit.find(Enclosure, animal.enclosure_id) if animal.enclosure_id else None
    return "UTC" if place is None else unit.fetch(Site, place.site_id).zone
