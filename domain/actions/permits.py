"""Registering, correcting and ending permits, and having them as the rules about coverage take them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.documents import follow
from domain.actions.law import JURISDICTIONS
from domain.actions.recording import (
    Ending,
    corrected,
    current,
    ended,
    recorded,
    referred,
    referred_reached,
    refuse_later_than,
    refuse_while_used,
)
from domain.actions.sites import today_there
from domain.errors import Conflict, RuleBroken
from domain.records import jurisdictions as places
from domain.records.animals import AnimalEvent, AnimalState, Basis, Placement
from domain.records.base import Record, table_of
from domain.records.enclosures import Enclosure
from domain.records.permits import Permit, PermitAnimal, PermitEvent, PermitStated, PermitTaxon
from domain.records.requirements import DocumentKind
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules import permits as rules
from domain.rules.law.facts import key_of
from domain.rules.law.jurisdictions import Jurisdiction, chain
from domain.rules.law.requirements import Activity, Occasion
from domain.rules.lives import EventKind, Status
from domain.rules.permits import Happening
from domain.rules.taxonomy import TaxonRank
from domain.rules.text import same_name

NO_TAXON = frozenset(("",))
"""The key of no name: what a permit is for that lists neither taxa nor animals and is not said to be for any."""
_FACTS = ("issued_on", "inspected_on", "used_on", "withdrawn_on")
"""The dates that tell what happened; the days from which and until which it is good may be to come."""
_LEFT_BY: Mapping[Status, Occasion] = {Status.DEAD: Occasion.DEATH, Status.DEPARTED: Occasion.DEPARTURE}
"""What happened to an animal that is in a state from which no permit for it goes on."""
_OWNER_STAYS = frozenset((Basis.LOAN, Basis.LOAN_RETURN, Basis.LOST))
"""On what ground an animal leaves without another owner; any other, and none that is known, may give it one."""
_NARROWEST_FIRST = {rank: -place for place, rank in enumerate(TaxonRank)}

_permit, _taxa, _animals, _events, _taxon, _kind, _state, _lived, _place, _enclosure = (
    table_of(one)
    for one in (Permit, PermitTaxon, PermitAnimal, PermitEvent, Taxon, DocumentKind, AnimalState, AnimalEvent, Placement, Enclosure)
)
_accepted = _taxon.alias("accepted")


def _kept(record: type[Record]) -> sa.ColumnElement[bool]:
    table = table_of(record)
    return sa.and_(table.c.organisation_id == sa.bindparam("organisation_id"), table.c.ended_on.is_(None))


def _same(table: sa.FromClause, other: sa.FromClause, column: str) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == table.c.organisation_id, other.c.id == table.c[column])


KIND = Statement(sa.select(_kind.c.jurisdiction).where(_kept(DocumentKind), _kind.c.code == sa.bindparam("code")))
OF_THAT_NUMBER = Statement(
    sa.select(_permit).where(
        _kept(Permit),
        _permit.c.kind == sa.bindparam("kind"),
        _permit.c.authority_key == sa.bindparam("authority_key"),
        _permit.c.number_key == sa.bindparam("number_key"),
    )
)
TAXA_OF = Statement(sa.select(_taxa).where(_kept(PermitTaxon), _taxa.c.permit_id == sa.bindparam("permit_id")).order_by(_taxa.c.id))
PERMITS = Statement(sa.select(_permit).where(_kept(Permit)).order_by(_permit.c.id))
NAMES_OF_TAXA = Statement(
    sa.select(
        _taxa.c.permit_id,
        sa.func.coalesce(_accepted.c.scientific_name, _taxon.c.scientific_name),
        sa.func.coalesce(_accepted.c.rank, _taxon.c.rank, type_=_taxon.c.rank.type),
        _taxa.c.number,
    )
    .select_from(
        _taxa.join(_taxon, _same(_taxa, _taxon, "taxon_id"))
        .outerjoin(_accepted, _same(_taxon, _accepted, "accepted_id"))
        .join(_permit, _same(_taxa, _permit, "permit_id"))
    )
    .where(_kept(PermitTaxon), _kept(Permit))
    .order_by(_taxa.c.id)
)
"""The accepted name of every taxon of a permit, its rank, and how many animals of it the permit is for."""
ANIMALS_OF_PERMITS = Statement(
    sa.select(_animals.c.permit_id, _animals.c.animal_id, _animals.c.ended_on)
    .join(_permit, _same(_animals, _permit, "permit_id"))
    .where(_animals.c.organisation_id == sa.bindparam("organisation_id"), _kept(Permit))
    .order_by(_animals.c.id)
)
"""The animals that permits name, and those that were taken off them."""
_named = _animals.join(_permit, _same(_animals, _permit, "permit_id"))


def _of_named(table: sa.Table) -> sa.ColumnElement[bool]:
    of_animal = sa.and_(table.c.organisation_id == _animals.c.organisation_id, table.c.animal_id == _animals.c.animal_id)
    return sa.and_(of_animal, table.c.ended_on.is_(None))


GONE_OF_PERMITS = Statement(
    sa.select(_animals.c.permit_id, _animals.c.animal_id, _state.c.status, _state.c.from_on, _lived.c.basis)
    .select_from(
        _named.join(_state, _of_named(_state)).outerjoin(
            _lived,
            sa.and_(
                _of_named(_lived),
                _lived.c.happened_on == _state.c.from_on,
                _lived.c.kind == sa.literal(EventKind.DEPARTED.value, type_=sa.String()),
            ),
        )
    )
    .where(
        _kept(PermitAnimal),
        _kept(Permit),
        _state.c.status.in_([sa.literal(one.value, type_=sa.String()) for one in _LEFT_BY]),
        _state.c.from_on >= _permit.c.valid_from,
    )
    .order_by(_state.c.from_on, _state.c.id, _lived.c.id)
)
"""When animals that permits name died or left after a permit's first day, and on what ground they left."""
SITES_OF_PERMITS = Statement(
    sa.select(_animals.c.permit_id, _animals.c.animal_id, _enclosure.c.site_id, _place.c.from_on)
    .select_from(_named.join(_place, _of_named(_place)).join(_enclosure, _same(_place, _enclosure, "enclosure_id")))
    .where(
        _kept(PermitAnimal),
        _kept(Permit),
        sa.or_(_place.c.until_on.is_(None), _place.c.until_on >= _permit.c.valid_from),
    )
    .order_by(_place.c.from_on, _place.c.id)
)
"""At which sites animals that permits name stood from a permit's first day on."""
EVENTS_OF_PERMITS = Statement(
    sa.select(_events.c.permit_id, _events.c.occasion, _events.c.happened_on)
    .join(_permit, _same(_events, _permit, "permit_id"))
    .where(_kept(PermitEvent), _kept(Permit))
    .order_by(_events.c.happened_on, _events.c.id)
)


def register_permit(unit: Unit, stated: PermitStated, *, record_id: UUID | None = None) -> Permit:
    """Register a permit and return it.

    Raises:
        RuleBroken: No rule pack knows its kind, or documents of that are not granted in its jurisdiction; it refers to nothing; or a day
            that tells what happened has not come.
        Conflict: Its authority's number is on record for a permit of its kind.
    """
    _check(unit, stated, before=None)
    return recorded(unit, Permit, stated, record_id=record_id, **_keys(stated))


def change_permit(unit: Unit, permit_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Permit:
    """Apply a correction to a permit, or what became of it, and return it. A renewal is a permit of its own that replaces this one.

    Raises:
        RuleBroken, Conflict: As for registering. Or it would be for any taxon and lists some; or another person's.
    """
    found = current(unit, Permit, permit_id, expected_version=expected_version)
    said = merged(PermitStated, found, patch)
    _check(unit, said, before=found)
    if said.any_taxon and not found.any_taxon and unit.all(PermitTaxon, TAXA_OF, permit_id=found.id):
        raise RuleBroken("It lists taxa. End those first; then it can be for any.", code="taxa-listed", field="any_taxon")
    changed = corrected(unit, found, said, **_keys(said))
    if changed.site_id != found.site_id:
        follow(unit, changed.id, changed.site_id, of=Permit)
    return changed


def end_permit(unit: Unit, permit_id: UUID, ending: Ending) -> Permit:
    """Take a permit that was entered wrongly out of account and return it. One that ran out or was withdrawn has its dates corrected.

    Raises:
        Conflict: Another permit is on record as replacing it.
    """
    found = unit.fetch(Permit, permit_id)
    refuse_while_used(unit, found, [(Permit, "replaces_id")])
    return ended(unit, found, ending, today=today_there(unit, found.site_id))


def permits_of(unit: Unit) -> list[rules.Permit]:
    """Return every permit as the rules about coverage take it, in the order in which they were registered.

    Taxa are named by the keys of their accepted names, so that it does not matter under which name a permit has them. Of limits the one
    of the lowest rank comes first: animals count against the narrowest that names them. One that named animals, all of which were taken
    off it, is for none.
    """
    taxa: defaultdict[UUID, list[tuple[TaxonRank, str, int | None]]] = defaultdict(list)
    for permit_id, name, rank, number in unit.rows(NAMES_OF_TAXA):
        taxa[permit_id].append((rank, name, number))
    animals: defaultdict[UUID, set[UUID]] = defaultdict(set)
    for permit_id, animal_id, ended_on in unit.rows(ANIMALS_OF_PERMITS):
        animals[permit_id].update((animal_id,) if ended_on is None else ())
    lives = _lives(unit) if any(animals.values()) else {}
    events: defaultdict[UUID, list[Happening]] = defaultdict(list)
    for permit_id, occasion, on in unit.rows(EVENTS_OF_PERMITS):
        events[permit_id].append((occasion, on))
    permits = unit.all(Permit, PERMITS)
    replaced_from: dict[UUID, date] = {}
    for one in permits:
        if one.replaces_id is not None and (one.withdrawn_on is None or one.withdrawn_on > one.valid_from):
            replaced_from[one.replaces_id] = min(one.valid_from, replaced_from.get(one.replaces_id, date.max))
    return [
        _as_ruled(
            one,
            taxa=taxa.get(one.id, ()),
            animal_ids=frozenset(animals.get(one.id, ())),
            named_animals=one.id in animals,
            events=tuple(events.get(one.id, ())),
            lives=lives.get(one.id, {}),
            replaced_from=replaced_from.get(one.id),
        )
        for one in permits
    ]


def _lives(unit: Unit) -> Mapping[UUID, Mapping[UUID, tuple[Happening, ...]]]:
    """Return what happened to the animals that permits name from the permit's first day on, as far as it may end that, by permit.

    An animal has another address from the day on which it stands at another site than on the permit's first day, or when it came.
    """
    found: defaultdict[UUID, defaultdict[UUID, tuple[Happening, ...]]] = defaultdict(lambda: defaultdict(tuple))
    for permit_id, animal_id, status, on, basis in unit.rows(GONE_OF_PERMITS):
        found[permit_id][animal_id] += ((_LEFT_BY[status], on),)
        if status is Status.DEPARTED and basis not in _OWNER_STAYS:
            found[permit_id][animal_id] += ((Occasion.OWNER_CHANGE, on),)
    first: dict[tuple[UUID, UUID], UUID] = {}
    for permit_id, animal_id, site_id, on in unit.rows(SITES_OF_PERMITS):
        if first.setdefault((permit_id, animal_id), site_id) != site_id:
            found[permit_id][animal_id] += ((Occasion.ADDRESS_CHANGE, on),)
    return found


def _as_ruled(
    one: Permit,
    *,
    taxa: Sequence[tuple[TaxonRank, str, int | None]],
    animal_ids: frozenset[UUID],
    named_animals: bool,
    events: tuple[Happening, ...],
    lives: Mapping[UUID, tuple[Happening, ...]],
    replaced_from: date | None,
) -> rules.Permit:
    named = frozenset(key_of(name) for _, name, number in taxa if number is None)
    limited = sorted(
        ((rank, name, number) for rank, name, number in taxa if number is not None), key=lambda each: _NARROWEST_FIRST[each[0]]
    )
    is_for_none = not animal_ids and (named_animals or not (one.any_taxon or taxa))
    return rules.Permit(
        id=one.id,
        kind=one.kind,
        jurisdiction=one.jurisdiction,
        number_text=one.number,
        issued_on=one.issued_on,
        valid_from=one.valid_from,
        last_day=one.valid_until,
        inspected_on=one.inspected_on,
        used_on=one.used_on,
        withdrawn_on=one.withdrawn_on,
        replaced_from=replaced_from,
        events=events,
        lives=lives,
        taxa=NO_TAXON if is_for_none else named,
        activities=frozenset(map(Activity, one.activities)),
        site_ids=frozenset() if one.site_id is None else frozenset((one.site_id,)),
        animal_ids=animal_ids,
        limits=() if is_for_none else tuple(rules.Limit(frozenset((key_of(name),)), number, name) for _, name, number in limited),
        number=one.total_number,
    )


def _keys(stated: PermitStated) -> dict[str, str]:
    return {"authority_key": same_name(stated.authority), "number_key": same_name(stated.number)}


def _check(unit: Unit, said: PermitStated, *, before: Permit | None) -> None:
    if before is None or (said.kind, said.jurisdiction) != (before.kind, before.jurisdiction):
        _refuse_unfit_kind(unit, said, before=before)
    if said.site_id is not None:
        referred(unit, Site, said.site_id, field="site_id", kept=before.site_id if before else None)
    _check_holder(unit, said, before=before)
    _check_replaced(unit, said, before=before)
    today = today_there(unit, said.site_id)
    for name in _FACTS:
        on = getattr(said, name)
        if before is None or on != getattr(before, name):
            refuse_later_than(today, field=name, on=on)
    others = unit.all(Permit, OF_THAT_NUMBER, kind=said.kind, **_keys(said))
    if any(before is None or one.id != before.id for one in others):
        sentence = "A permit of this kind and number, of this authority, is on record already."
        raise Conflict(sentence, code="already-there", field="number")


def refuse_unknown_kind(unit: Unit, kind: str) -> None:
    """Refuse a kind of document that no rule pack knows.

    Raises:
        RuleBroken: None does.
    """
    if unit.row(KIND, code=kind) is None:
        raise RuleBroken("No rule pack on record knows documents of this kind.", code="kind-unknown", field="kind")


def _refuse_unfit_kind(unit: Unit, said: PermitStated, *, before: Permit | None) -> None:
    """Refuse a kind that no rule pack knows, and one whose documents are granted in another jurisdiction.

    Raises:
        RuleBroken: It is such a one. A kind that the permit has is not asked for again.
    """
    kind = unit.row(KIND, code=said.kind)
    if kind is None:
        if before is not None and said.kind == before.kind:
            return
        raise RuleBroken("No rule pack on record knows documents of this kind.", code="kind-unknown", field="kind")
    if kind[0] not in chain(_jurisdictions(unit), said.jurisdiction):
        sentence = f"Documents of this kind are granted in {kind[0]}, or in a jurisdiction below it."
        raise RuleBroken(sentence, code="jurisdiction-of-kind", field="jurisdiction")


def _jurisdictions(unit: Unit) -> Mapping[str, Jurisdiction]:
    kept = unit.all(places.Jurisdiction, JURISDICTIONS)
    return {
        one.code: Jurisdiction(code=one.code, name=one.name, level=one.level, zone=one.zone, parent_code=one.parent_code) for one in kept
    }


def _check_holder(unit: Unit, said: PermitStated, *, before: Permit | None) -> None:
    """Check who holds a permit. Whoever it was made out to stays, so that what is on record of a person can be found.

    Raises:
        RuleBroken: There is no such member of staff, or the permit is another's.
    """
    if before is not None and before.holder_id is not None and said.holder_id != before.holder_id:
        sentence = "Whose permit it is stays as it is. End this record, and register the permit of the other person."
        raise RuleBroken(sentence, code="holder-fixed", field="holder_id")
    if said.holder_id is not None:
        referred(unit, Staff, said.holder_id, field="holder_id", kept=before.holder_id if before else None)


def _check_replaced(unit: Unit, said: PermitStated, *, before: Permit | None) -> None:
    """Check which permit another one renews.

    Raises:
        RuleBroken: There is none; or it is the permit itself, or one that came after it.
        NotAllowed: It is at a site that the origin does not reach.
    """
    if said.replaces_id is None or (before is not None and said.replaces_id == before.replaces_id):
        return
    one: Permit | None = referred_reached(unit, Permit, said.replaces_id, field="replaces_id")
    while before is not None and one is not None:
        if one.id == before.id:
            raise RuleBroken("A permit does not replace itself, nor one that replaces it.", code="circular", field="replaces_id")
        one = unit.find(Permit, one.replaces_id) if one.replaces_id is not None else None
