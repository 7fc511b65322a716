"""Registering, changing and ending taxa, and what is said of them: what a name covers, what animals need, whom they may not live with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.actions.intervals import make_room, refuse_overlap
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred, refuse_while_used
from domain.actions.taxonomy import taxonomy_above
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records import journal
from domain.records.animals import Animal
from domain.records.base import Record, table_of
from domain.records.permits import PermitTaxon
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.taxa import (
    ConceptMember,
    ConceptMemberStated,
    HusbandryTarget,
    HusbandryTargetStated,
    Separation,
    SeparationStated,
    Taxon,
    TaxonStated,
)
from domain.records.unit import Unit
from domain.rules.taxonomy import TaxonRow, is_higher
from domain.rules.text import same_name

P = TypeVar("P", ConceptMember, HusbandryTarget, Separation)

ANY_STAGE = "any"
"""The key of what holds for all stages of life that have no target of their own."""

SAID_OF_IT: Sequence[tuple[type[Record], str]] = (
    (ConceptMember, "taxon_id"),
    (HusbandryTarget, "taxon_id"),
    (Separation, "taxon_id"),
)
"""What is said of an accepted taxon."""
SAID_WITH_IT: Sequence[tuple[type[Record], str]] = ((ConceptMember, "member_id"), (Separation, "other_taxon_id"))
"""And what is said of another one, and names it."""

_taxon, _member, _separation = table_of(Taxon), table_of(ConceptMember), table_of(Separation)
_own = _taxon.c.organisation_id == sa.bindparam("organisation_id")
CHILDREN = Statement(sa.select(_taxon).where(_own, _taxon.c.parent_id == sa.bindparam("taxon_id"), _taxon.c.ended_on.is_(None)))
SYNONYMS_OF = Statement(
    sa.select(_taxon).where(_own, _taxon.c.accepted_id == sa.bindparam("taxon_id"), _taxon.c.ended_on.is_(None)).limit(1)
)
MEMBER = Statement(
    sa.select(_member).where(
        _member.c.organisation_id == sa.bindparam("organisation_id"),
        _member.c.taxon_id == sa.bindparam("taxon_id"),
        _member.c.member_id == sa.bindparam("member_id"),
        _member.c.ended_on.is_(None),
    )
)
BETWEEN = Statement(
    sa.select(_separation).where(
        _separation.c.organisation_id == sa.bindparam("organisation_id"),
        _separation.c.ended_on.is_(None),
        sa.or_(
            sa.and_(_separation.c.taxon_id == sa.bindparam("one_id"), _separation.c.other_taxon_id == sa.bindparam("other_id")),
            sa.and_(_separation.c.taxon_id == sa.bindparam("other_id"), _separation.c.other_taxon_id == sa.bindparam("one_id")),
        ),
    )
)
"""What keeps two taxa apart, whichever of them it was stated for."""


def register_taxon(unit: Unit, stated: TaxonStated, *, record_id: UUID | None = None) -> Taxon:
    """Register a taxon and return it.

    Raises:
        RuleBroken: It refers to nothing, lies in a taxon that is no higher, or is a synonym of one.
    """
    _check_taxon(unit, stated, before=None)
    return recorded(unit, Taxon, stated, record_id=record_id, name_key=same_name(stated.scientific_name))


def change_taxon(unit: Unit, taxon_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Taxon:
    """Apply a correction to a taxon and return it. Animals of a name that becomes a synonym stay of that name and count as the accepted.

    Changes by others wait meanwhile, so that two that are right by themselves do not make a circle together.

    Raises:
        RuleBroken: As for registering; or it would lie above itself, or not above a taxon that lies in it, or other names are its synonyms.
        Conflict: It would be a synonym, and something is said of it that belongs to an accepted taxon.
    """
    unit.row(journal.LOCK_HEAD)
    found = current(unit, Taxon, taxon_id, expected_version=expected_version)
    stated = merged(TaxonStated, found, patch)
    _check_taxon(unit, stated, before=found)
    return corrected(unit, found, stated, name_key=same_name(stated.scientific_name))


def end_taxon(unit: Unit, taxon_id: UUID, ending: Ending) -> Taxon:
    """End a taxon's record and return it.

    Raises:
        Conflict: Animals, permits, other taxa, or rules about taxa still refer to it.
    """
    found = unit.fetch(Taxon, taxon_id)
    refuse_while_used(unit, found, [(Animal, "taxon_id"), (Taxon, "parent_id"), (PermitTaxon, "taxon_id"), *SAID_OF_IT])
    refuse_while_used(unit, found, [(Taxon, "accepted_id"), *SAID_WITH_IT])
    return ended(unit, found, ending, today=unit.origin.at.date())


def record_concept_member(unit: Unit, taxon_id: UUID, stated: ConceptMemberStated, *, record_id: UUID | None = None) -> ConceptMember:
    """Put on record that a name also covers another taxon, and return it.

    Raises:
        RuleBroken: One of the two is a synonym, or the other is the same taxon, or covers this one itself.
        Conflict: It is on record already, or the taxon has ended.
    """
    owner = _accepted_taxon(unit, taxon_id)
    _check_member(unit, owner, stated, before=None)
    return recorded(unit, ConceptMember, stated, record_id=record_id, taxon_id=owner.id)


def change_concept_member(unit: Unit, member_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> ConceptMember:
    """Apply a correction to a member of a name's concept and return it."""
    _of_taxon(unit, ConceptMember, member_id, owner_id=owner_id)
    found = current(unit, ConceptMember, member_id, expected_version=expected_version)
    stated = merged(ConceptMemberStated, found, patch)
    _check_member(unit, unit.fetch(Taxon, owner_id), stated, before=found)
    return corrected(unit, found, stated)


def end_concept_member(unit: Unit, member_id: UUID, ending: Ending, *, owner_id: UUID) -> ConceptMember:
    """Take a member that was entered wrongly out of a name's concept and return it."""
    return _ended(unit, _of_taxon(unit, ConceptMember, member_id, owner_id=owner_id), ending)


def record_husbandry_target(unit: Unit, taxon_id: UUID, stated: HusbandryTargetStated, *, record_id: UUID | None = None) -> HusbandryTarget:
    """Put on record what animals of a taxon need from a day on, and return it.

    The target that held for them until further notice ends the day before.

    Raises:
        RuleBroken: The taxon is a synonym.
        Conflict: Another target for the same stage of life holds on one of these days, or the taxon has ended.
    """
    owner = _accepted_taxon(unit, taxon_id)
    stage_key = _stage_key(stated)
    make_room(unit, HusbandryTarget, from_on=stated.from_on, until_on=stated.until_on, taxon_id=owner.id, stage_key=stage_key)
    return recorded(unit, HusbandryTarget, stated, record_id=record_id, taxon_id=owner.id, stage_key=stage_key)


def change_husbandry_target(
    unit: Unit, target_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> HusbandryTarget:
    """Apply a correction to a target and return it. Needs that have changed are a new target.

    Raises:
        Conflict: Another target for the same stage of life holds on one of these days.
    """
    _of_taxon(unit, HusbandryTarget, target_id, owner_id=owner_id)
    found = current(unit, HusbandryTarget, target_id, expected_version=expected_version)
    stated = merged(HusbandryTargetStated, found, patch)
    stage_key = _stage_key(stated)
    refuse_overlap(unit, found, from_on=stated.from_on, until_on=stated.until_on, taxon_id=owner_id, stage_key=stage_key)
    return corrected(unit, found, stated, stage_key=stage_key)


def end_husbandry_target(unit: Unit, target_id: UUID, ending: Ending, *, owner_id: UUID) -> HusbandryTarget:
    """Take a target that was entered wrongly out of account and return it. The one before it stays ended; its days can be corrected."""
    return _ended(unit, _of_taxon(unit, HusbandryTarget, target_id, owner_id=owner_id), ending)


def record_separation(unit: Unit, taxon_id: UUID, stated: SeparationStated, *, record_id: UUID | None = None) -> Separation:
    """Put on record that animals of two taxa may not share an enclosure, whichever is named first, and return it.

    Raises:
        RuleBroken: The other taxon is not there, or one of the two is a synonym.
        Conflict: It is on record already, for either of them; or the taxon has ended.
    """
    owner = _accepted_taxon(unit, taxon_id)
    _check_separation(unit, owner.id, stated, before=None)
    return recorded(unit, Separation, stated, record_id=record_id, taxon_id=owner.id)


def change_separation(unit: Unit, separation_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int) -> Separation:
    """Apply a correction to a separation and return it. It is found with either taxon; the one it was stated for stays.

    Raises:
        RuleBroken: The other taxon is not there, or is a synonym.
        Conflict: It is on record already.
    """
    _of_taxon(unit, Separation, separation_id, owner_id=owner_id)
    found = current(unit, Separation, separation_id, expected_version=expected_version)
    stated = merged(SeparationStated, found, patch)
    _check_separation(unit, found.taxon_id, stated, before=found)
    return corrected(unit, found, stated)


def end_separation(unit: Unit, separation_id: UUID, ending: Ending, *, owner_id: UUID) -> Separation:
    """Take a separation that was entered wrongly out of account and return it. One that is over has its ``until_on`` corrected."""
    return _ended(unit, _of_taxon(unit, Separation, separation_id, owner_id=owner_id), ending)


def _kept_taxon(unit: Unit, taxon_id: UUID) -> Taxon:
    """Return the taxon that something is said of.

    Raises:
        NotFound: There is none.
        NotAllowed: The origin does not reach the whole organisation.
        Conflict: It has ended.
    """
    found = unit.fetch_reached(Taxon, taxon_id)
    if found.ended_on is not None:
        raise Conflict(f"This taxon ended on {found.ended_on.isoformat()}; nothing is said of it any more.", code="ended")
    return found


def _accepted_taxon(unit: Unit, taxon_id: UUID) -> Taxon:
    """Return the taxon that something is said of, which is no synonym. It does not become one meanwhile.

    Raises:
        RuleBroken: It is one.
    """
    unit.row(journal.LOCK_HEAD)
    found = _kept_taxon(unit, taxon_id)
    if found.accepted_id is not None:
        accepted = unit.fetch(Taxon, found.accepted_id)
        raise RuleBroken(f"This is a synonym of {accepted.scientific_name}; say it of that taxon.", code="synonym")
    return found


def _accepted_other(unit: Unit, taxon_id: UUID, *, field: str) -> Taxon:
    """Return the taxon that a field refers to, which is no synonym.

    Raises:
        RuleBroken: It is one, it has ended, or there is none; the field is named.
    """
    found = referred(unit, Taxon, taxon_id, field=field)
    if found.accepted_id is not None:
        accepted = unit.fetch(Taxon, found.accepted_id)
        sentence = f"{found.scientific_name} is a synonym of {accepted.scientific_name}; name that taxon."
        raise RuleBroken(sentence, code="synonym", field=field)
    return found


def _of_taxon(unit: Unit, record: type[P], record_id: UUID, *, owner_id: UUID) -> P:
    """Return what is said of a taxon; of what is between two, either is the owner.

    Raises:
        NotFound: There is no such taxon, or nothing of that id is said of it.
    """
    owner = unit.fetch_reached(Taxon, owner_id)
    found = unit.fetch(record, record_id)
    if owner.id not in {found.taxon_id, getattr(found, "other_taxon_id", None)}:
        raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")
    return found


def _ended(unit: Unit, found: P, ending: Ending) -> P:
    return ended(unit, found, ending, today=unit.origin.at.date())


def _stage_key(stated: HusbandryTargetStated) -> str:
    return ANY_STAGE if stated.life_stage is None else stated.life_stage.value


def _check_taxon(unit: Unit, stated: TaxonStated, *, before: Taxon | None) -> None:
    parent = accepted = None
    kept_parent, kept_accepted = (before.parent_id, before.accepted_id) if before else (None, None)
    if stated.parent_id is not None:
        parent = referred(unit, Taxon, stated.parent_id, field="parent_id", kept=kept_parent)
    if stated.accepted_id is not None:
        accepted = referred(unit, Taxon, stated.accepted_id, field="accepted_id", kept=kept_accepted)
    if before is not None:
        _refuse_circle(unit, before, stated)
        _refuse_children_as_high(unit, before, stated)
    if parent is not None:
        _check_parent(unit, stated, parent, before=before)
    if accepted is not None:
        _check_synonym(unit, stated, accepted, before=before)


def _check_parent(unit: Unit, stated: TaxonStated, parent: Taxon, *, before: Taxon | None) -> None:
    if not is_higher(parent.rank, than=stated.rank):
        sentence = f"{parent.scientific_name} is of rank {parent.rank.value}; a {stated.rank.value} lies in a taxon of a higher rank."
        raise RuleBroken(sentence, code="rank-order", field="parent_id")
    if before is None or before.parent_id != parent.id:
        _accepted_other(unit, parent.id, field="parent_id")


def _check_synonym(unit: Unit, stated: TaxonStated, accepted: Taxon, *, before: Taxon | None) -> None:
    if accepted.accepted_id is not None:
        sentence = f"{accepted.scientific_name} is a synonym itself; name the taxon that is accepted for it."
        raise RuleBroken(sentence, code="synonym", field="accepted_id")
    if stated.hazard is not None:
        raise RuleBroken("A synonym has no hazard class of its own; say it of the accepted taxon.", code="of-accepted", field="hazard")
    if before is None or before.accepted_id is not None:
        return
    synonym = unit.first(Taxon, SYNONYMS_OF, taxon_id=before.id)
    if synonym is not None:
        sentence = f"{synonym.scientific_name} is a synonym of this taxon; give it another accepted taxon first."
        raise RuleBroken(sentence, code="has-synonyms", field="accepted_id")
    refuse_while_used(unit, before, SAID_OF_IT)
    refuse_while_used(unit, before, SAID_WITH_IT)


def _refuse_circle(unit: Unit, before: Taxon, stated: TaxonStated) -> None:
    """Refuse to let a taxon lie above itself, be it by what it lies in, by what it is a synonym of, or by a concept.

    Raises:
        RuleBroken: It would; the field is named.
    """
    if (stated.parent_id, stated.accepted_id) == (before.parent_id, before.accepted_id):
        return
    wanted = TaxonRow(id=before.id, rank=stated.rank, parent_id=stated.parent_id, accepted_id=stated.accepted_id)
    try:
        circular = taxonomy_above(unit, [before.id], instead=wanted).is_circular(before.id, on=date.max)
    except ValueError:
        circular = True
    if circular:
        field = "parent_id" if stated.accepted_id is None else "accepted_id"
        raise RuleBroken("A taxon cannot lie above itself, nor be covered by what it covers.", code="circular", field=field)


def _refuse_children_as_high(unit: Unit, before: Taxon, stated: TaxonStated) -> None:
    if stated.rank is before.rank:
        return
    for child in unit.all(Taxon, CHILDREN, taxon_id=before.id):
        if not is_higher(stated.rank, than=child.rank):
            sentence = f"{child.scientific_name} lies in this taxon and is of rank {child.rank.value}, which is no lower."
            raise RuleBroken(sentence, code="rank-order", field="rank")


def _check_member(unit: Unit, owner: Taxon, stated: ConceptMemberStated, *, before: ConceptMember | None) -> None:
    if before is not None and before.member_id == stated.member_id:
        return
    member = _accepted_other(unit, stated.member_id, field="member_id")
    if owner.id == member.id:
        raise RuleBroken("A name covers its own taxon anyway.", code="same-taxon", field="member_id")
    if taxonomy_above(unit, [owner.id]).covers(member.id, owner.id, on=date.max):
        raise RuleBroken(f"{member.scientific_name} covers this taxon itself.", code="circular", field="member_id")
    if unit.first(ConceptMember, MEMBER, taxon_id=owner.id, member_id=member.id) is not None:
        raise Conflict(f"{member.scientific_name} is a member of this name's concept already.", code="already-there", field="member_id")


def _check_separation(unit: Unit, taxon_id: UUID, stated: SeparationStated, *, before: Separation | None) -> None:
    if before is not None and before.other_taxon_id == stated.other_taxon_id:
        return
    other = _accepted_other(unit, stated.other_taxon_id, field="other_taxon_id")
    if unit.first(Separation, BETWEEN, one_id=taxon_id, other_id=other.id) is not None:
        sentence = "That these two are kept apart is on record already; correct its days, or end it."
        raise Conflict(sentence, code="already-there", field="other_taxon_id")
