"""Registering, correcting and ending permits, and having them as the rules about coverage take them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.documents import follow
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
from domain.records.base import Record, table_of
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
from domain.rules.law.requirements import Activity, Occasion
from domain.rules.taxonomy import TaxonRank
from domain.rules.text import same_name

NO_TAXON = frozenset(("",))
"""The key of no name: what a permit is for that lists neither taxa nor animals and is not said to be for any."""
_FACTS = ("issued_on", "inspected_on", "used_on", "withdrawn_on")
"""The dates that tell what happened; the days from which and until which it is good may be to come."""
_NARROWEST_FIRST = {rank: -place for place, rank in enumerate(TaxonRank)}

_permit, _taxa, _animals, _events, _taxon, _kind = (
    table_of(one) for one in (Permit, PermitTaxon, PermitAnimal, PermitEvent, Taxon, DocumentKind)
)
_accepted = _taxon.alias("accepted")


def _kept(record: type[Record]) -> sa.ColumnElement[bool]:
    table = table_of(record)
    return sa.and_(table.c.organisation_id == sa.bindparam("organisation_id"), table.c.ended_on.is_(None))


def _same(table: sa.FromClause, other: sa.FromClause, column: str) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == table.c.organisation_id, other.c.id == table.c[column])


KIND = Statement(sa.select(_kind.c.id).where(_kept(DocumentKind), _kind.c.code == sa.bindparam("code")))
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
    sa.select(_animals.c.permit_id, _animals.c.animal_id)
    .join(_permit, _same(_animals, _permit, "permit_id"))
    .where(_kept(PermitAnimal), _kept(Permit))
    .order_by(_animals.c.id)
)
EVENTS_OF_PERMITS = Statement(
    sa.select(_events.c.permit_id, _events.c.occasion, _events.c.happened_on)
    .join(_permit, _same(_events, _permit, "permit_id"))
    .where(_kept(PermitEvent), _kept(Permit))
    .order_by(_events.c.happened_on, _events.c.id)
)


def register_permit(unit: Unit, stated: PermitStated, *, record_id: UUID | None = None) -> Permit:
    """Register a permit and return it.

    Raises:
        RuleBroken: No rule pack knows its kind; it refers to nothing; or a day that tells what happened has not come.
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
    of the lowest rank comes first: animals count against the narrowest that names them.
    """
    taxa: defaultdict[UUID, list[tuple[TaxonRank, str, int | None]]] = defaultdict(list)
    for permit_id, name, rank, number in unit.rows(NAMES_OF_TAXA):
        taxa[permit_id].append((rank, key_of(name), number))
    animals: defaultdict[UUID, set[UUID]] = defaultdict(set)
    for permit_id, animal_id in unit.rows(ANIMALS_OF_PERMITS):
        animals[permit_id].add(animal_id)
    events: defaultdict[UUID, list[tuple[Occasion, date]]] = defaultdict(list)
    for permit_id, occasion, on in unit.rows(EVENTS_OF_PERMITS):
        events[permit_id].append((occasion, on))
    return [
        _as_ruled(one, taxa=taxa.get(one.id, ()), animal_ids=frozenset(animals.get(one.id, ())), events=tuple(events.get(one.id, ())))
        for one in unit.all(Permit, PERMITS)
    ]


def _as_ruled(
    one: Permit,
    *,
    taxa: Sequence[tuple[TaxonRank, str, int | None]],
    animal_ids: frozenset[UUID],
    events: tuple[tuple[Occasion, date], ...],
) -> rules.Permit:
    named = frozenset(key for _, key, number in taxa if number is None)
    limited = sorted(((rank, key, number) for rank, key, number in taxa if number is not None), key=lambda each: _NARROWEST_FIRST[each[0]])
    is_for_none = not (one.any_taxon or taxa or animal_ids)
    return rules.Permit(
        id=one.id,
        kind=one.kind,
        number_text=one.number,
        issued_on=one.issued_on,
        valid_from=one.valid_from,
        last_day=one.valid_until,
        inspected_on=one.inspected_on,
        used_on=one.used_on,
        withdrawn_on=one.withdrawn_on,
        events=events,
        taxa=NO_TAXON if is_for_none else named,
        activities=frozenset(map(Activity, one.activities)),
        site_ids=frozenset() if one.site_id is None else frozenset((one.site_id,)),
        animal_ids=animal_ids,
        limits=tuple(rules.Limit(frozenset((key,)), number) for _, key, number in limited),
        number=one.total_number,
    )


def _keys(stated: PermitStated) -> dict[str, str]:
    return {"authority_key": same_name(stated.authority), "number_key": same_name(stated.number)}


def _check(unit: Unit, said: PermitStated, *, before: Permit | None) -> None:
    if before is None or said.kind != before.kind:
        refuse_unknown_kind(unit, said.kind)
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
