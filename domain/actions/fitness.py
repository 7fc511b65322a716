"""Whether an enclosure suits animals that are to be put there: the facts on record, and the decision as it is kept with a placement."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.taxonomy import asked_in_turns, is_among, taxonomy_above
from domain.errors import Fault, RuleBroken
from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.base import table_of
from domain.records.competences import Competence
from domain.records.enclosures import Enclosure
from domain.records.intervals import holds_on
from domain.records.staff import Staff
from domain.records.statements import Row, Statement
from domain.records.stock import number_on
from domain.records.taxa import Containment, HusbandryTarget, Separation
from domain.records.unit import Unit
from domain.rules.fitness import (
    Apart,
    CameFrom,
    Fitness,
    Hazard,
    Lodgers,
    Outcome,
    Place,
    PlacementFacts,
    Safeguard,
    Target,
    fitness,
    target_for,
)
from domain.rules.lives import ARRIVALS, OPENING, EventKind, LifeStage
from domain.rules.taxonomy import Taxonomy

FROM_ELSEWHERE = ARRIVALS | {EventKind.CAME_BACK}
"""With what animals come from outside, where others may have given them what quarantine is to find."""

_animal, _event, _state, _placement, _enclosure, _target, _separation, _containment, _competence, _staff = (
    table_of(one)
    for one in (Animal, AnimalEvent, AnimalState, Placement, Enclosure, HusbandryTarget, Separation, Containment, Competence, Staff)
)
_on = sa.bindparam("on", type_=sa.Date())


def _own(table: sa.Table) -> sa.ColumnElement[bool]:
    return table.c.organisation_id == sa.bindparam("organisation_id")


def _same(one: sa.Table, other: sa.Table, column: str, of_other: str = "id") -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == one.c.organisation_id, other.c[of_other] == one.c[column])


def _words(*kinds: EventKind) -> list[sa.ColumnElement[str]]:
    return [sa.literal(kind.value, type_=sa.String()) for kind in sorted(kinds)]


LIVING_THERE = Statement(
    sa.select(_animal.c.taxon_id, _state.c.life_stage, number_on(_on).label("number"))
    .select_from(
        _placement.join(_animal, _same(_placement, _animal, "animal_id")).join(
            _state, _same(_placement, _state, "animal_id", "animal_id") & holds_on(AnimalState, _on)
        )
    )
    .where(
        _own(_placement),
        _placement.c.enclosure_id == sa.bindparam("enclosure_id"),
        _placement.c.animal_id != sa.bindparam("animal_id"),
        holds_on(Placement, _on),
    )
    .order_by(_placement.c.animal_id)
)
LIVING_AT_SITE = Statement(
    sa.select(_placement.c.enclosure_id, _animal.c.taxon_id, _state.c.life_stage, number_on(_on).label("number"))
    .select_from(
        _placement.join(_animal, _same(_placement, _animal, "animal_id"))
        .join(_state, _same(_placement, _state, "animal_id", "animal_id") & holds_on(AnimalState, _on))
        .join(_enclosure, _same(_placement, _enclosure, "enclosure_id"))
    )
    .where(_own(_placement), _enclosure.c.site_id == sa.bindparam("site_id"), holds_on(Placement, _on))
    .order_by(_placement.c.animal_id)
)
STAGE_ON = Statement(
    sa.select(_state.c.life_stage).where(_own(_state), _state.c.animal_id == sa.bindparam("animal_id"), holds_on(AnimalState, _on))
)
NUMBER_ON = Statement(
    sa.select(number_on(_on).label("number")).select_from(_animal).where(_own(_animal), _animal.c.id == sa.bindparam("animal_id"))
)
TARGETS_IN_FORCE = Statement(
    sa.select(
        _target.c.taxon_id,
        _target.c.life_stage,
        _target.c.enclosure_kinds,
        _target.c.least_floor_m2,
        _target.c.floor_each_more_m2,
        _target.c.least_water_l,
        _target.c.water_each_more_l,
        _target.c.source,
    ).where(_own(_target), is_among(_target.c.taxon_id), holds_on(HusbandryTarget, _on))
)
SEPARATIONS_IN_FORCE = Statement(
    sa.select(_separation.c.taxon_id, _separation.c.other_taxon_id, _separation.c.reason, _separation.c.source)
    .where(_own(_separation), is_among(_separation.c.taxon_id), holds_on(Separation, _on))
    .order_by(_separation.c.id)
)
CONTAINMENT_IN_FORCE = Statement(
    sa.select(_containment.c.least_closure, _containment.c.competence_needed, _containment.c.source).where(
        _own(_containment), _containment.c.hazard == sa.bindparam("hazard"), holds_on(Containment, _on)
    )
)
COMPETENT_ON = Statement(
    sa.select(_staff.c.id)
    .where(
        _own(_staff),
        sa.or_(_staff.c.site_id.is_(None), _staff.c.site_id == sa.bindparam("site_id")),
        sa.or_(_staff.c.ended_on.is_(None), _staff.c.ended_on > _on),
        sa.exists().where(
            _competence.c.organisation_id == _staff.c.organisation_id,
            _competence.c.staff_id == _staff.c.id,
            _competence.c.hazard == sa.bindparam("hazard"),
            _competence.c.ended_on.is_(None),
            _competence.c.from_on <= _on,
            sa.or_(_competence.c.expires_on.is_(None), _competence.c.expires_on >= _on),
        ),
    )
    .order_by(_staff.c.id)
)
QUARANTINE_AT = Statement(
    sa.select(_enclosure.c.id)
    .where(
        _own(_enclosure),
        _enclosure.c.site_id == sa.bindparam("site_id"),
        _enclosure.c.quarantine.is_(True),
        _enclosure.c.ended_on.is_(None),
    )
    .limit(1)
)
_places = (
    sa.select(_placement.c.from_on, _enclosure.c.quarantine)
    .join(_enclosure, _same(_placement, _enclosure, "enclosure_id"))
    .where(_own(_placement), _placement.c.animal_id == sa.bindparam("animal_id"), _placement.c.ended_on.is_(None))
)
PLACE_BEFORE = Statement(_places.where(_placement.c.from_on < _on).order_by(_placement.c.from_on.desc()).limit(1))
PLACE_ON = Statement(_places.where(holds_on(Placement, _on)))
LAST_COMING = Statement(
    sa.select(_event.c.kind, _event.c.happened_on, _event.c.other_animal_id)
    .where(
        _own(_event),
        _event.c.animal_id == sa.bindparam("animal_id"),
        _event.c.ended_on.is_(None),
        _event.c.happened_on <= _on,
        _event.c.kind.in_(_words(*OPENING, *FROM_ELSEWHERE)),
    )
    .order_by(_event.c.happened_on.desc(), _event.c.id.desc())
    .limit(1)
)


def fitness_of(
    unit: Unit,
    animal: Animal,
    enclosure: Enclosure,
    *,
    on: date,
    number: int,
    came_from: CameFrom | None = None,
    beside: Sequence[Row] = (),
) -> Fitness:
    """Return whether an enclosure suits some animals of a record from a day on, with everybody who lives there on it.

    To be asked once it is on record how the animals came: what was born here needs no quarantine, what arrived does; or with ``came_from``
    before that. ``beside`` are others that come with them: the taxon, the stage of life and the number of each.
    """
    there = [*unit.rows(LIVING_THERE, enclosure_id=enclosure.id, animal_id=animal.id, on=on), *beside]
    taxon_ids = {animal.taxon_id, *(row[0] for row in there)}
    taxonomy = taxonomy_above(unit, taxon_ids)
    needs = _targets(unit, taxonomy, taxon_ids, on=on)
    stage = next((row[0] for row in unit.rows(STAGE_ON, animal_id=animal.id, on=on)), animal.life_stage)
    animals = _lodgers(taxonomy, needs, animal.taxon_id, stage, number, on=on)
    others = [_lodgers(taxonomy, needs, taxon_id, stage, count, on=on) for (taxon_id, stage), count in _counted(taxonomy, there).items()]
    safeguard = _safeguard(unit, animals.hazard, on=on)
    if enclosure.quarantine:
        came_from = CameFrom.STOCK
    elif came_from is None:
        came_from = _came_from(unit, animal.id, on=on)
    return fitness(
        PlacementFacts(
            on=on,
            animals=animals,
            place=_place(enclosure),
            others=others,
            came_from=came_from,
            apart=_apart(unit, (animals, *others), on=on),
            safeguard=safeguard,
            competent=_competent(unit, safeguard, site_id=enclosure.site_id, hazard=animals.hazard, on=on),
            site_quarantines=came_from is CameFrom.OUTSIDE and unit.row(QUARANTINE_AT, site_id=enclosure.site_id) is not None,
        )
    )


def hazards_without_competence(unit: Unit, site_id: UUID, taxon_ids: Iterable[UUID], *, on: date) -> Mapping[Hazard, Sequence[str]]:
    """Return the hazard classes of some taxa, with their names, whose competence a rule asks for and nobody holds at a site on a day."""
    wanted = dict.fromkeys(taxon_ids)
    taxonomy = taxonomy_above(unit, wanted)
    named: dict[Hazard, list[str]] = {}
    for taxon_id in map(taxonomy.accepted, wanted):
        if (hazard := taxonomy.hazard(taxon_id)) is not None:
            named.setdefault(hazard, []).append(taxonomy.name(taxon_id))
    guarded = {hazard: _safeguard(unit, hazard, on=on) for hazard in named}
    return {
        hazard: names
        for hazard, names in named.items()
        if (rule := guarded[hazard]) is not None
        and rule.competence_needed
        and not _competent(unit, rule, site_id=site_id, hazard=hazard, on=on)
    }


@dataclass(frozen=True, slots=True)
class Suited:
    """Animals of one taxon and stage of life in an enclosure, and whether it suits them beside everybody else there."""

    animals: Lodgers
    fitness: Fitness


def suitability_at(unit: Unit, site_id: UUID, enclosures: Iterable[Enclosure], *, on: date) -> Mapping[UUID, Sequence[Suited]]:
    """Return, by enclosure, whether it suits the animals that live in it on a day, by the rules in force on it.

    How they came there is not asked: quarantine is looked at when animals move.
    """
    there: defaultdict[UUID, list[Row]] = defaultdict(list)
    for enclosure_id, *row in unit.rows(LIVING_AT_SITE, site_id=site_id, on=on):
        there[enclosure_id].append(tuple(row))
    taxon_ids = {row[0] for rows in there.values() for row in rows}
    taxonomy = taxonomy_above(unit, taxon_ids)
    needs = _targets(unit, taxonomy, taxon_ids, on=on)
    living = {
        place: [_lodgers(taxonomy, needs, taxon_id, stage, count, on=on) for (taxon_id, stage), count in _counted(taxonomy, rows).items()]
        for place, rows in there.items()
    }
    apart = _apart(unit, (one for lodgers in living.values() for one in lodgers), on=on)
    hazards = {one.hazard for lodgers in living.values() for one in lodgers}
    guarded = {hazard: _safeguard(unit, hazard, on=on) for hazard in hazards}
    able = {hazard: _competent(unit, rule, site_id=site_id, hazard=hazard, on=on) for hazard, rule in guarded.items() if hazard is not None}

    def suited(place: Enclosure, number: int, lodgers: Sequence[Lodgers]) -> Suited:
        animals, others = lodgers[number], [*lodgers[:number], *lodgers[number + 1 :]]
        facts = PlacementFacts(
            on=on,
            animals=animals,
            place=_place(place),
            others=others,
            apart=apart,
            safeguard=guarded[animals.hazard],
            competent=able[animals.hazard] if animals.hazard is not None else 0,
        )
        return Suited(animals, fitness(facts))

    found = ((one, living.get(one.id, ())) for one in enclosures)
    return {place.id: [suited(place, number, lodgers) for number in range(len(lodgers))] for place, lodgers in found}


def decided(
    unit: Unit,
    animal: Animal,
    enclosure: Enclosure,
    *,
    on: date,
    number: int,
    override_reason: str | None,
    field: str = "enclosure_id",
    came_from: CameFrom | None = None,
) -> dict[str, Any]:
    """Return the decision about a placement as it is kept with it.

    What cannot be decided is kept as that, and hinders nothing. ``field`` is what the caller says the enclosure in, ``came_from`` as in
    ``fitness_of``.

    Raises:
        RuleBroken: The enclosure does not suit the animals, and no reason is given to put them there all the same. Every reason against it
            is a fault.
    """
    found = fitness_of(unit, animal, enclosure, on=on, number=number, came_from=came_from)
    if found.outcome is Outcome.DOES_NOT_FIT and override_reason is None:
        faults = tuple(Fault(f"/{field}", reason.code.value, reason.sentence) for reason in found.against)
        raise RuleBroken(
            f"{enclosure.name} does not suit them. To put them there all the same, say why in override_reason.", code="unfit", faults=faults
        )
    return decision_json(found, on=on, number=number)


def decision_json(found: Fitness, *, on: date, number: int) -> dict[str, Any]:
    """Return a decision, the day and the number of animals that it is about, as JSON values."""
    return {
        "outcome": found.outcome.value,
        "on": on.isoformat(),
        "number": number,
        "reasons": [{name: getattr(value, "value", value) for name, value in asdict(one).items()} for one in found.reasons],
        "caution": found.caution,
    }


def number_there(unit: Unit, animal: Animal, *, on: date) -> int:
    """Return how many animals a record held at the end of a day."""
    row = unit.row(NUMBER_ON, animal_id=animal.id, on=on)
    return int(row[0]) if row else 0


def _counted(taxonomy: Taxonomy, there: Iterable[Row]) -> Mapping[tuple[UUID, LifeStage], int]:
    """Return how many animals of each accepted taxon and stage of life there are."""
    found: dict[tuple[UUID, LifeStage], int] = {}
    for taxon_id, stage, number in there:
        key = (taxonomy.accepted(taxon_id), stage)
        found[key] = found.get(key, 0) + number
    return {key: number for key, number in found.items() if number > 0}


def _lodgers(taxonomy: Taxonomy, needs: Sequence[Target], taxon_id: UUID, stage: LifeStage, number: int, *, on: date) -> Lodgers:
    accepted = taxonomy.accepted(taxon_id)
    return Lodgers(
        taxon_id=accepted,
        name=taxonomy.name(accepted),
        number=number,
        life_stage=stage,
        hazard=taxonomy.hazard(accepted),
        covered_by=taxonomy.covering(accepted, on=on),
        target=target_for(needs, lineage=taxonomy.lineage(accepted), life_stage=stage),
    )


def _targets(unit: Unit, taxonomy: Taxonomy, taxon_ids: Iterable[UUID], *, on: date) -> list[Target]:
    """Return what holds for some taxa and those above them."""
    lines = {above for taxon_id in taxon_ids for above in taxonomy.lineage(taxon_id)}
    return [
        Target(
            taxon_id=row[0],
            life_stage=row[1],
            enclosure_kinds=tuple(row[2] or ()),
            least_floor_m2=row[3],
            floor_each_more_m2=row[4],
            least_water_l=row[5],
            water_each_more_l=row[6],
            source=row[7],
        )
        for row in asked_in_turns(unit, TARGETS_IN_FORCE, lines, on=on)
    ]


def _apart(unit: Unit, everybody: Iterable[Lodgers], *, on: date) -> list[Apart]:
    """Return what keeps animals of these taxa apart, whichever of the two taxa it was stated for."""
    names = {taxon_id for lodgers in everybody for taxon_id in lodgers.covered_by}
    found = asked_in_turns(unit, SEPARATIONS_IN_FORCE, names, on=on)
    return [Apart(one=one, other=other, reason=reason, source=source) for one, other, reason, source in found]


def _safeguard(unit: Unit, hazard: Hazard | None, *, on: date) -> Safeguard | None:
    row = None if hazard is None else unit.row(CONTAINMENT_IN_FORCE, hazard=hazard, on=on)
    return None if row is None else Safeguard(least_closure=row[0], competence_needed=row[1], source=row[2])


def _competent(unit: Unit, safeguard: Safeguard | None, *, site_id: UUID, hazard: Hazard | None, on: date) -> int:
    """Return how many members of staff are competent, where a rule asks for it."""
    if safeguard is None or not safeguard.competence_needed:
        return 0
    return len(unit.rows(COMPETENT_ON, site_id=site_id, hazard=hazard, on=on))


def _place(enclosure: Enclosure) -> Place:
    return Place(
        name=enclosure.name,
        kind=enclosure.kind.value,
        floor_m2=enclosure.floor_m2,
        volume_l=enclosure.volume_l,
        capacity=enclosure.capacity,
        closure=enclosure.closure,
        quarantine=enclosure.quarantine,
    )


def _came_from(unit: Unit, animal_id: UUID, *, on: date) -> CameFrom:
    """Return where animals were before a day. Those that went from one record to another were where the other one was."""
    place = unit.row(PLACE_BEFORE, animal_id=animal_id, on=on)
    kind, came_on, other_id = unit.row(LAST_COMING, animal_id=animal_id, on=on) or (EventKind.ACQUIRED, on, None)
    if kind in FROM_ELSEWHERE and (place is None or place[0] < came_on):
        return CameFrom.OUTSIDE
    if place is None and other_id is not None:
        place = unit.row(PLACE_ON, animal_id=other_id, on=came_on)
    return CameFrom.QUARANTINE if place is not None and place[1] else CameFrom.STOCK
