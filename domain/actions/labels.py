"""What stands on the label of an enclosure: who lives in it on a day, what they need, and what is hung over it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.taxonomy import asked_in_turns, is_among, taxonomy_above
from domain.records.base import table_of
from domain.records.enclosures import Enclosure, LifeSupportSystem
from domain.records.equipment import Equipment, EquipmentKind, EquipmentModel
from domain.records.intervals import holds_on
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.stock import animal, animals_on, place, shown_on
from domain.records.taxa import HusbandryTarget, Taxon
from domain.records.unit import Unit
from domain.rules.fitness import Hazard
from domain.rules.lives import Grouping, LifeStage, Sex

ULTRAVIOLET = frozenset({EquipmentKind.UVB_TUBE, EquipmentKind.UVB_COMPACT, EquipmentKind.MERCURY_VAPOUR, EquipmentKind.METAL_HALIDE})
"""Lamps that give ultraviolet over an enclosure."""

_day = sa.bindparam("on", type_=sa.Date())
_shown = shown_on(_day)
_place, _system, _item, _model, _taxon, _target = (
    table_of(one) for one in (Enclosure, LifeSupportSystem, Equipment, EquipmentModel, Taxon, HusbandryTarget)
)


def _same(one: Any, other: Any, column: str) -> sa.ColumnElement[bool]:  # noqa: ANN401 - tables or aliases of them
    return sa.and_(other.c.organisation_id == one.c.organisation_id, other.c.id == one.c[column])


ENCLOSURES_AT = Statement(
    sa.select(_place, _system.c.name.label("system"))
    .select_from(_place.outerjoin(_system, _same(_place, _system, "life_support_system_id")))
    .where(
        _place.c.organisation_id == sa.bindparam("organisation_id"),
        _place.c.site_id == sa.bindparam("site_id"),
        _place.c.ended_on.is_(None),
    )
    .order_by(sa.func.coalesce(_place.c.walking_order, 2**31 - 1), _place.c.id)
)
RESIDENTS_AT = Statement(
    sa.select(
        place.c.enclosure_id,
        animal.c.taxon_id,
        animal.c.grouping,
        _shown["sex"].label("sex"),
        _shown["life_stage"].label("life_stage"),
        _shown["count"].label("count"),
        _shown["estimated"].label("estimated"),
    )
    .select_from(animals_on(_day).join(_place, _same(place, _place, "enclosure_id")))
    .where(animal.c.organisation_id == sa.bindparam("organisation_id"), _place.c.site_id == sa.bindparam("site_id"))
)
LIT_BY_ULTRAVIOLET = Statement(
    sa.select(_item.c.enclosure_id)
    .select_from(_item.join(_model, _same(_item, _model, "model_id")))
    .where(
        _item.c.organisation_id == sa.bindparam("organisation_id"),
        _item.c.site_id == sa.bindparam("site_id"),
        _item.c.ended_on.is_(None),
        _item.c.enclosure_id.is_not(None),
        _model.c.kind.in_([sa.literal(kind.value, type_=sa.String()) for kind in sorted(ULTRAVIOLET)]),
    )
)
NAMES_AND_RANKS = Statement(
    sa.select(_taxon.c.id, _taxon.c.scientific_name, _taxon.c.rank).where(
        _taxon.c.organisation_id == sa.bindparam("organisation_id"), is_among(_taxon.c.id)
    )
)
TARGETS_OF = Statement(
    sa.select(_target).where(
        _target.c.organisation_id == sa.bindparam("organisation_id"), is_among(_target.c.taxon_id), holds_on(HusbandryTarget, _day)
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Residents:
    """The animals of one taxon in an enclosure; ``in_groups`` are those of counted groups. ``target`` is what they need, if on record."""

    scientific_name: str
    rank: str
    males: int
    females: int
    unsexed: int
    in_groups: int
    estimated: bool
    hazard: Hazard | None
    target: HusbandryTarget | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Labelled:
    """An enclosure and what its label says."""

    enclosure: Enclosure
    life_support_system: str | None
    residents: Sequence[Residents]
    lit_by_ultraviolet: bool


def labelled(unit: Unit, site: Site, *, on: date) -> list[Labelled]:
    """Return the enclosures of a site in walking order, each with who lives in it at the end of a day."""
    lit = {row[0] for row in unit.rows(LIT_BY_ULTRAVIOLET, site_id=site.id)}
    living: defaultdict[UUID, defaultdict[UUID, list[Mapping[str, Any]]]] = defaultdict(lambda: defaultdict(list))
    for row in unit.named(RESIDENTS_AT, site_id=site.id, on=on):
        living[row["enclosure_id"]][row["taxon_id"]].append(row)
    described_taxa = described(unit, {taxon_id for kinds in living.values() for taxon_id in kinds}, on=on)
    return [
        Labelled(
            enclosure=Enclosure.model_construct(**{name: value for name, value in row.items() if name != "system"}),
            life_support_system=row["system"],
            residents=[_residents(rows, *described_taxa[taxon_id]) for taxon_id, rows in living[row["id"]].items()],
            lit_by_ultraviolet=row["id"] in lit,
        )
        for row in unit.named(ENCLOSURES_AT, site_id=site.id)
    ]


Described = tuple[str, str, Hazard | None, Mapping[LifeStage | None, HusbandryTarget]]


def described(unit: Unit, taxon_ids: set[UUID], *, on: date) -> dict[UUID, Described]:
    """Return the name, rank and hazard of taxa, and what they need by stage of life: what is said nearest to them counts."""
    taxonomy = taxonomy_above(unit, taxon_ids)
    above = {taxon_id: taxonomy.lineage(taxonomy.accepted(taxon_id)) for taxon_id in taxon_ids}
    names = {row[0]: (row[1], row[2].value) for row in asked_in_turns(unit, NAMES_AND_RANKS, taxon_ids)}
    by_taxon: defaultdict[UUID, dict[LifeStage | None, HusbandryTarget]] = defaultdict(dict)
    every = {one for lineage in above.values() for one in lineage}
    columns = [column.name for column in _target.columns]
    for row in asked_in_turns(unit, TARGETS_OF, every, on=on):
        target = HusbandryTarget.model_construct(**dict(zip(columns, row, strict=True)))
        by_taxon[target.taxon_id][target.life_stage] = target
    found: dict[UUID, Described] = {}
    for taxon_id in taxon_ids:
        needs: dict[LifeStage | None, HusbandryTarget] = {}
        for one in reversed(list(above[taxon_id])):
            needs |= by_taxon[one]
        found[taxon_id] = (*names[taxon_id], taxonomy.hazard(taxonomy.accepted(taxon_id)), needs)
    return found


def _residents(
    rows: Sequence[Mapping[str, Any]],
    scientific_name: str,
    rank: str,
    hazard: Hazard | None,
    needs: Mapping[LifeStage | None, HusbandryTarget],
) -> Residents:
    single = [row for row in rows if row["grouping"] is Grouping.INDIVIDUAL]
    groups = [row for row in rows if row["grouping"] is Grouping.GROUP]
    stages = {row["life_stage"] for row in rows}
    stage = stages.pop() if len(stages) == 1 else None
    return Residents(
        scientific_name=scientific_name,
        rank=rank,
        males=sum(row["sex"] is Sex.MALE for row in single),
        females=sum(row["sex"] is Sex.FEMALE for row in single),
        unsexed=sum(row["sex"] not in {Sex.MALE, Sex.FEMALE} for row in single),
        in_groups=sum(row["count"] for row in groups),
        estimated=any(row["estimated"] for row in groups),
        hazard=hazard,
        target=needs.get(stage, needs.get(None)),
    )
