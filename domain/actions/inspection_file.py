"""What an inspection file gathers of a site besides its stock, permits and enclosures: animals one by one, equipment, people, the law."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.census import Movement
from domain.actions.due_list import DueItem, due_list, judge_site
from domain.actions.law import Law
from domain.records.animals import AnimalEvent, Placement
from domain.records.base import table_of
from domain.records.competences import Competence
from domain.records.enclosures import Enclosure
from domain.records.equipment import Equipment, EquipmentCheck, EquipmentModel, OutputReading
from domain.records.intervals import holds_on
from domain.records.journal import HEAD
from domain.records.marks import Mark
from domain.records.requirements import RulePack
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.stock import animal, animals_on, place, shown_on
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.law.requirements import Requirement
from domain.rules.lives import OPENING, EventKind
from domain.rules.service_life import Standing
from domain.rules.text import same_name

_day = sa.bindparam("on", type_=sa.Date())
_from_on, _until_on = (sa.bindparam(name, type_=sa.Date()) for name in ("from_on", "until_on"))
_shown = shown_on(_day)
_enclosure, _taxon, _event, _mark, _item, _model, _check, _output, _staff, _competence, _pack, _placement = (
    table_of(one)
    for one in (
        Enclosure,
        Taxon,
        AnimalEvent,
        Mark,
        Equipment,
        EquipmentModel,
        EquipmentCheck,
        OutputReading,
        Staff,
        Competence,
        RulePack,
        Placement,
    )
)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_site_id: sa.BindParameter[Any] = sa.bindparam("site_id")


def _same(one: Any, other: Any, column: str) -> sa.ColumnElement[bool]:  # noqa: ANN401 - tables or aliases of them
    return sa.and_(other.c.organisation_id == one.c.organisation_id, other.c.id == one.c[column])


def _of_animal(table: Any) -> sa.ColumnElement[bool]:  # noqa: ANN401 - a table
    return sa.and_(table.c.organisation_id == animal.c.organisation_id, table.c.animal_id == animal.c.id)


def _words(*words: Any) -> list[sa.ColumnElement[str]]:  # noqa: ANN401 - members of closed lists
    return [sa.literal(one.value, type_=sa.String()) for one in sorted(words)]


_there = animals_on(_day).join(_enclosure, _same(place, _enclosure, "enclosure_id"))
_here = (animal.c.organisation_id == _organisation_id, _enclosure.c.site_id == _site_id)
ANIMALS_AT = Statement(
    sa.select(
        animal.c.id,
        animal.c.tag,
        _taxon.c.scientific_name,
        _taxon.c.rank,
        _shown["sex"].label("sex"),
        _shown["life_stage"].label("life_stage"),
        _shown["count"].label("number"),
        _shown["estimated"].label("estimated"),
        animal.c.origin,
        _enclosure.c.name.label("enclosure"),
    )
    .select_from(_there.join(_taxon, _same(animal, _taxon, "taxon_id")))
    .where(*_here)
    .order_by(_taxon.c.scientific_name, animal.c.tag, animal.c.id)
    .limit(sa.bindparam("limit"))
)
NUMBER_OF_RECORDS_AT = Statement(sa.select(sa.func.count()).select_from(_there).where(*_here))
MARKS_AT = Statement(
    sa.select(animal.c.id, _mark.c.kind, _mark.c.code)
    .select_from(_there.join(_mark, _of_animal(_mark) & holds_on(Mark, _day)))
    .where(*_here)
    .order_by(animal.c.id, sa.not_(_mark.c.is_primary), _mark.c.from_on, _mark.c.id)
)
SOURCES_AT = Statement(
    sa.select(animal.c.id, _event.c.kind, _event.c.happened_on, _event.c.basis, _event.c.party, _event.c.id)
    .select_from(_there.join(_event, _of_animal(_event)))
    .where(*_here, _event.c.ended_on.is_(None), _event.c.kind.in_(_words(*OPENING)))
    .order_by(animal.c.id, _event.c.happened_on, _event.c.id)
)
"""How each animal at a site came into the collection."""
FIRST_PLACEMENT_AT = Statement(
    sa.select(sa.func.min(_placement.c.from_on))
    .select_from(_placement.join(_enclosure, _same(_placement, _enclosure, "enclosure_id")))
    .where(_placement.c.organisation_id == _organisation_id, _placement.c.ended_on.is_(None), _enclosure.c.site_id == _site_id)
)
DEATHS = Statement(
    sa.select(_event.c.id, _event.c.cause)
    .where(
        _event.c.organisation_id == _organisation_id,
        _event.c.kind == sa.literal(EventKind.DIED.value, type_=sa.String()),
        _event.c.ended_on.is_(None),
        _event.c.happened_on >= _from_on,
        _event.c.happened_on <= _until_on,
    )
    .order_by(_event.c.id)
)
ENCLOSURES_AT = Statement(
    sa.select(_enclosure)
    .where(
        _enclosure.c.organisation_id == _organisation_id,
        _enclosure.c.site_id == _site_id,
        sa.or_(_enclosure.c.ended_on.is_(None), _enclosure.c.ended_on > _until_on),
    )
    .order_by(sa.func.coalesce(_enclosure.c.walking_order, 2**31 - 1), _enclosure.c.id)
)
_old = _item.alias("old")
REPLACED_AT = Statement(
    sa.select(_item.c.id, _item.c.tag, _model.c.name.label("model"), _item.c.installed_on, _old.c.id.label("old_id"), _old.c.end_reason)
    .select_from(
        _item.join(_old, sa.and_(_old.c.organisation_id == _item.c.organisation_id, _old.c.id == _item.c.replaces_id)).join(
            _model, _same(_item, _model, "model_id")
        )
    )
    .where(
        _item.c.organisation_id == _organisation_id,
        _item.c.site_id == _site_id,
        _item.c.installed_on >= _from_on,
        _item.c.installed_on <= _until_on,
    )
    .order_by(_item.c.installed_on, _item.c.id)
)
"""What was put in place of another item in a period."""
CHECKS_AT = Statement(
    sa.select(_check.c.kind, _check.c.result, sa.func.count().label("number"), sa.func.max(_check.c.done_on).label("latest_on"))
    .select_from(_check.join(_item, _same(_check, _item, "equipment_id")))
    .where(
        _check.c.organisation_id == _organisation_id,
        _item.c.site_id == _site_id,
        _check.c.ended_on.is_(None),
        _check.c.done_on >= _from_on,
        _check.c.done_on <= _until_on,
    )
    .group_by(_check.c.kind, _check.c.result)
    .order_by(_check.c.kind, _check.c.result)
)
OUTPUTS_AT = Statement(
    sa.select(_model.c.output_unit, sa.func.count().label("number"), sa.func.max(_output.c.measured_on).label("latest_on"))
    .select_from(_output.join(_item, _same(_output, _item, "equipment_id")).join(_model, _same(_item, _model, "model_id")))
    .where(
        _output.c.organisation_id == _organisation_id,
        _item.c.site_id == _site_id,
        _output.c.ended_on.is_(None),
        _output.c.measured_on >= _from_on,
        _output.c.measured_on <= _until_on,
    )
    .group_by(_model.c.output_unit)
    .order_by(_model.c.output_unit)
)
COMPETENCES_AT = Statement(
    sa.select(
        _competence.c.id,
        _staff.c.id.label("staff_id"),
        _staff.c.role,
        _staff.c.site_id,
        _competence.c.title,
        _competence.c.hazard,
        _competence.c.from_on,
        _competence.c.expires_on,
    )
    .select_from(_competence.join(_staff, _same(_competence, _staff, "staff_id")))
    .where(
        _competence.c.organisation_id == _organisation_id,
        _competence.c.ended_on.is_(None),
        _competence.c.from_on <= _until_on,
        sa.or_(_staff.c.site_id.is_(None), _staff.c.site_id == _site_id),
        sa.or_(_staff.c.ended_on.is_(None), _staff.c.ended_on > _until_on),
    )
    .order_by(_competence.c.expires_on, _competence.c.id)
)
"""What members of staff of a site, or of the whole organisation, were assessed to be able to do; who they are stands with their records."""
PACKS_ON_RECORD = Statement(
    sa.select(_pack.c.id, _pack.c.name, _pack.c.edition, _pack.c.digest)
    .where(_pack.c.organisation_id == _organisation_id, _pack.c.ended_on.is_(None))
    .order_by(_pack.c.name, _pack.c.id)
)

Shown = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Animals:
    """The records of animals at a site at the end of a day, at most so many of ``in_all``, with their marks and how they came, by id."""

    records: Sequence[Shown]
    in_all: int
    marks: Mapping[UUID, Sequence[tuple[str, str | None]]]
    sources: Mapping[UUID, Shown]


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentOfPeriod:
    """The equipment of a site: what is overdue or cannot be dated on the last day, and what was replaced, checked, measured before."""

    overdue: Sequence[DueItem]
    counts: Mapping[Standing, int]
    replaced: Sequence[Shown]
    checks: Sequence[Shown]
    outputs: Sequence[Shown]


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What a file rests on: packs on record, the requirements in force for the site on a day, and the end of the journal as it was read."""

    packs: Sequence[Shown]
    requirements: Sequence[Requirement]
    position: int
    hash: str


def animals_at(unit: Unit, site: Site, *, on: date, most: int) -> Animals:
    """Return the records of animals at a site at the end of a day, by name of their taxon and tag."""
    at = {"site_id": site.id, "on": on}
    marks: defaultdict[UUID, list[tuple[str, str | None]]] = defaultdict(list)
    for animal_id, kind, code in unit.rows(MARKS_AT, **at):
        marks[animal_id].append((kind.value, code))
    sources: dict[UUID, Shown] = {}
    for animal_id, kind, happened_on, basis, party, event_id in unit.rows(SOURCES_AT, **at):
        found = {"kind": kind, "on": happened_on, "basis": basis, "party": party, "event_id": event_id}
        sources.setdefault(animal_id, found)
    counted = unit.row(NUMBER_OF_RECORDS_AT, **at)
    return Animals(records=unit.named(ANIMALS_AT, **at, limit=most), in_all=int(counted[0]) if counted else 0, marks=marks, sources=sources)


def enclosures_at(unit: Unit, site: Site, *, until_on: date) -> Sequence[Enclosure]:
    """Return the enclosures of a site that have not ended by a day, in walking order."""
    return unit.all(Enclosure, ENCLOSURES_AT, site_id=site.id, until_on=until_on)


def first_day_at(unit: Unit, site: Site) -> date | None:
    """Return the first day on which any animal is on record as being at a site."""
    row = unit.row(FIRST_PLACEMENT_AT, site_id=site.id)
    return row[0] if row else None


def deaths_among(unit: Unit, movements: Sequence[Movement], *, from_on: date, until_on: date) -> Sequence[tuple[Movement, str | None]]:
    """Return those of the movements of a period that were deaths, each with its cause, where one is on record."""
    causes = {row[0]: row[1] for row in unit.rows(DEATHS, from_on=from_on, until_on=until_on)}
    return [(one, causes.get(one.place.id)) for one in movements if one.event_kind is EventKind.DIED]


def equipment_of(unit: Unit, site: Site, *, from_on: date, until_on: date) -> EquipmentOfPeriod:
    """Return the equipment of a site as it stood on the last day of a period, and what was done to it in that."""
    judged = judge_site(unit, site, today=until_on)
    due = due_list(unit, site, judged)
    period = {"site_id": site.id, "from_on": from_on, "until_on": until_on}
    return EquipmentOfPeriod(
        overdue=[one for one in due.items if one.forecast.standing in (Standing.OVERDUE, Standing.UNKNOWN)],
        counts=due.counts,
        replaced=unit.named(REPLACED_AT, **period),
        checks=unit.named(CHECKS_AT, **period),
        outputs=unit.named(OUTPUTS_AT, **period),
    )


def competences_at(unit: Unit, site: Site, *, until_on: date) -> Sequence[Shown]:
    """Return the competences that staff of a site, or of the whole organisation, had by a day, the first to end at the head.

    ``is_renewed`` says that the member of staff had the same for longer by then. Their titles are left out.
    """
    found = unit.named(COMPETENCES_AT, site_id=site.id, until_on=until_on)
    alike: defaultdict[tuple[object, ...], list[Shown]] = defaultdict(list)
    for one in found:
        alike[one["staff_id"], same_name(one["title"]), one["hazard"]].append(one)
    latest = {max(those, key=lambda one: (one["expires_on"] or date.max, one["id"]))["id"] for those in alike.values()}
    return [{name: one[name] for name in one if name != "title"} | {"is_renewed": one["id"] not in latest} for one in found]


def provenance(unit: Unit, site: Site, law: Law, *, on: date) -> Provenance:
    """Return what a file of a site rests on, as it is read in this unit."""
    chain = law.chain(site.jurisdiction) if site.jurisdiction is not None else ()
    position, digest = unit.row(HEAD) or (0, "")
    return Provenance(
        packs=unit.named(PACKS_ON_RECORD),
        requirements=[one for one in law.requirements if one.jurisdiction in chain and _is_in_force(one, on=on)],
        position=position,
        hash=digest,
    )


def _is_in_force(one: Requirement, *, on: date) -> bool:
    return one.applies_from <= on and (one.applies_until is None or on <= one.applies_until)
