"""What a permit is made of: its taxa and animals, the conditions under which it was granted, and what happened that may end it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.actions.permits import TAXA_OF
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred, refuse_later_than
from domain.actions.sites import today_there
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records.animals import Animal
from domain.records.base import row_of, table_of
from domain.records.belonging import refuse_beyond_reach
from domain.records.permits import (
    Permit,
    PermitAnimal,
    PermitAnimalStated,
    PermitCondition,
    PermitConditionStated,
    PermitEvent,
    PermitEventStated,
    PermitTaxon,
    PermitTaxonStated,
)
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.calendar import next_in_series
from domain.rules.lives import GONE

P = TypeVar("P", PermitTaxon, PermitAnimal, PermitCondition, PermitEvent)

LAST_YEAR = 2200
"""No day after this year is taken; what would be due later does not open anew."""
NOT_MET_AFTER_ALL = "The one before it was not met after all."
"""Why a condition that had opened anew is taken back."""

_animals, _conditions = table_of(PermitAnimal), table_of(PermitCondition)
ANIMALS_OF = Statement(
    sa.select(_animals)
    .where(
        _animals.c.organisation_id == sa.bindparam("organisation_id"),
        _animals.c.permit_id == sa.bindparam("permit_id"),
        _animals.c.ended_on.is_(None),
    )
    .order_by(_animals.c.id)
)
FOLLOWING = Statement(
    sa.select(_conditions).where(
        _conditions.c.organisation_id == sa.bindparam("organisation_id"),
        _conditions.c.follows_id == sa.bindparam("follows_id"),
        _conditions.c.ended_on.is_(None),
    )
)
"""The condition that opened anew when another was met."""


def record_permit_taxon(unit: Unit, permit_id: UUID, stated: PermitTaxonStated, *, record_id: UUID | None = None) -> PermitTaxon:
    """Put a taxon that a permit is for on record and return it. A synonym may be named, where the permit bears that.

    Raises:
        RuleBroken: There is no such taxon.
        Conflict: The permit is for any taxon, lists this one already, or has ended.
    """
    permit = _kept_permit(unit, permit_id)
    if permit.any_taxon:
        raise Conflict("This permit is on record as being for any taxon; correct that first.", code="any-taxon", field="taxon_id")
    _check_taxon(unit, permit, stated, before=None)
    return recorded(unit, PermitTaxon, stated, record_id=record_id, permit_id=permit.id)


def change_permit_taxon(
    unit: Unit, permit_taxon_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> PermitTaxon:
    """Apply a correction to a taxon of a permit and return it.

    Raises:
        NotFound: The permit has no such taxon.
        RuleBroken: There is no such taxon.
        Conflict: The permit lists that one already, or has ended.
    """
    permit = _owner(unit, PermitTaxon, permit_taxon_id, owner_id=owner_id)
    found = current(unit, PermitTaxon, permit_taxon_id, expected_version=expected_version)
    _refuse_ended(permit)
    said = merged(PermitTaxonStated, found, patch)
    _check_taxon(unit, permit, said, before=found)
    return corrected(unit, found, said)


def end_permit_taxon(unit: Unit, permit_taxon_id: UUID, ending: Ending, *, owner_id: UUID) -> PermitTaxon:
    """Take a taxon that was entered wrongly off a permit and return it. Without any taxon or animal the permit is for none.

    Raises:
        NotFound: The permit has no such taxon.
    """
    return _ended(unit, PermitTaxon, permit_taxon_id, ending, owner_id=owner_id)


def record_permit_animal(unit: Unit, permit_id: UUID, stated: PermitAnimalStated, *, record_id: UUID | None = None) -> PermitAnimal:
    """Put an animal that a permit names on record and return it. From the first on, it is for the animals alone that it names.

    Raises:
        RuleBroken: There is no such animal. It may have died or left.
        NotAllowed: The animal is at a site that the origin does not reach.
        Conflict: The permit names it already, or has ended.
    """
    permit = _kept_permit(unit, permit_id)
    _check_animal(unit, stated.animal_id)
    if any(one.animal_id == stated.animal_id for one in unit.all(PermitAnimal, ANIMALS_OF, permit_id=permit.id)):
        raise Conflict("This permit names that animal already.", code="already-there", field="animal_id")
    return recorded(unit, PermitAnimal, stated, record_id=record_id, permit_id=permit.id)


def end_permit_animal(unit: Unit, permit_animal_id: UUID, ending: Ending, *, owner_id: UUID) -> PermitAnimal:
    """Take an animal that was entered wrongly off a permit and return it. A permit that names none any more is for none.

    Raises:
        NotFound: The permit has no such animal.
    """
    return _ended(unit, PermitAnimal, permit_animal_id, ending, owner_id=owner_id)


def record_permit_condition(
    unit: Unit, permit_id: UUID, stated: PermitConditionStated, *, record_id: UUID | None = None
) -> PermitCondition:
    """Put a condition of a permit on record and return it. One that recurs and was met opens anew at once.

    Raises:
        RuleBroken: It was met on a day that has not come, or by nobody of the staff.
        Conflict: The permit has ended.
    """
    permit = _kept_permit(unit, permit_id)
    _check_condition(unit, permit, stated, before=None)
    made = recorded(unit, PermitCondition, stated, record_id=record_id, permit_id=permit.id)
    _open_anew(unit, made)
    return made


def change_permit_condition(
    unit: Unit, condition_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> PermitCondition:
    """Apply a correction to a condition, or that it was met, and return it. One that recurs opens anew when it is met.

    Raises:
        NotFound: The permit has no such condition.
        RuleBroken: It was met on a day that has not come, or by nobody of the staff.
        Conflict: It would not be met after all, and the one that opened with that was met as well; or the permit has ended.
    """
    permit = _owner(unit, PermitCondition, condition_id, owner_id=owner_id)
    found = current(unit, PermitCondition, condition_id, expected_version=expected_version)
    _refuse_ended(permit)
    said = merged(PermitConditionStated, found, patch)
    _check_condition(unit, permit, said, before=found)
    if said.met_on is None and found.met_on is not None:
        _take_back_following(unit, permit, found)
    changed = corrected(unit, found, said)
    if found.met_on is None:
        _open_anew(unit, changed)
    return changed


def end_permit_condition(unit: Unit, condition_id: UUID, ending: Ending, *, owner_id: UUID) -> PermitCondition:
    """Take a condition that was entered wrongly, or that the authority has lifted, out of account and return it. It opens no more.

    Raises:
        NotFound: The permit has no such condition.
    """
    return _ended(unit, PermitCondition, condition_id, ending, owner_id=owner_id)


def record_permit_event(unit: Unit, permit_id: UUID, stated: PermitEventStated, *, record_id: UUID | None = None) -> PermitEvent:
    """Put on record what happened that may end a permit, and return it.

    Raises:
        RuleBroken: The day has not come, or is before that of the issue.
        Conflict: The permit has ended.
    """
    permit = _kept_permit(unit, permit_id)
    _check_event(unit, permit, stated)
    return recorded(unit, PermitEvent, stated, record_id=record_id, permit_id=permit.id)


def change_permit_event(
    unit: Unit, permit_event_id: UUID, patch: Mapping[str, Any], *, owner_id: UUID, expected_version: int
) -> PermitEvent:
    """Apply a correction to what happened and return it.

    Raises:
        NotFound: The permit has no such event.
        RuleBroken: As for recording.
        Conflict: The permit has ended.
    """
    permit = _owner(unit, PermitEvent, permit_event_id, owner_id=owner_id)
    found = current(unit, PermitEvent, permit_event_id, expected_version=expected_version)
    _refuse_ended(permit)
    said = merged(PermitEventStated, found, patch)
    _check_event(unit, permit, said)
    return corrected(unit, found, said)


def end_permit_event(unit: Unit, permit_event_id: UUID, ending: Ending, *, owner_id: UUID) -> PermitEvent:
    """Take an event that was entered wrongly out of account and return it.

    Raises:
        NotFound: The permit has no such event.
    """
    return _ended(unit, PermitEvent, permit_event_id, ending, owner_id=owner_id)


def _kept_permit(unit: Unit, permit_id: UUID) -> Permit:
    permit = unit.fetch_reached(Permit, permit_id)
    _refuse_ended(permit)
    return permit


def _refuse_ended(permit: Permit) -> None:
    if permit.ended_on is not None:
        raise Conflict(f"This permit ended on {permit.ended_on.isoformat()}; nothing is said of it any more.", code="ended")


def _owner(unit: Unit, record: type[P], record_id: UUID, *, owner_id: UUID) -> Permit:
    """Return the permit that a part belongs to.

    Raises:
        NotFound: There is no such permit, or it has no such part.
        NotAllowed: It is at a site that the origin does not reach.
    """
    permit = unit.fetch_reached(Permit, owner_id)
    if unit.fetch(record, record_id).permit_id != permit.id:
        raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")
    return permit


def _ended(unit: Unit, record: type[P], record_id: UUID, ending: Ending, *, owner_id: UUID) -> P:
    permit = _owner(unit, record, record_id, owner_id=owner_id)
    return ended(unit, unit.fetch(record, record_id), ending, today=today_there(unit, permit.site_id))


def _check_taxon(unit: Unit, permit: Permit, said: PermitTaxonStated, *, before: PermitTaxon | None) -> None:
    if before is not None and said.taxon_id == before.taxon_id:
        return
    referred(unit, Taxon, said.taxon_id, field="taxon_id")
    if any(one.taxon_id == said.taxon_id for one in unit.all(PermitTaxon, TAXA_OF, permit_id=permit.id)):
        raise Conflict("This permit lists that taxon already; correct its number.", code="already-there", field="taxon_id")


def _check_animal(unit: Unit, animal_id: UUID) -> None:
    animal = unit.find(Animal, animal_id)
    if animal is None or (animal.ended_on is not None and animal.status not in GONE):
        raise RuleBroken("There is no such animal.", code="reference-unknown", field="animal_id")
    refuse_beyond_reach(unit, Animal, row_of(animal))


def _check_condition(unit: Unit, permit: Permit, said: PermitConditionStated, *, before: PermitCondition | None) -> None:
    if before is None or said.met_on != before.met_on:
        refuse_later_than(today_there(unit, permit.site_id), field="met_on", on=said.met_on)
    if said.met_by_id is not None:
        referred(unit, Staff, said.met_by_id, field="met_by_id", kept=before.met_by_id if before else None)


def _take_back_following(unit: Unit, permit: Permit, condition: PermitCondition) -> None:
    """Take back what opened anew when a condition was met, which was not met after all.

    Raises:
        Conflict: That was met as well.
    """
    following = unit.first(PermitCondition, FOLLOWING, follows_id=condition.id)
    if following is None:
        return
    if following.met_on is not None:
        sentence = f"The one that follows was met on {following.met_on.isoformat()}; correct that first."
        raise Conflict(sentence, code="following-met", field="met_on")
    ended(unit, following, Ending(reason=NOT_MET_AFTER_ALL), today=today_there(unit, permit.site_id))


def _open_anew(unit: Unit, condition: PermitCondition) -> None:
    """Open a condition that recurs anew once it is met: each time is owed, however late the one before it was met."""
    every_months, first, last = condition.every_months, condition.first_due_on, condition.due_on
    if condition.met_on is None or every_months is None or first is None or last is None:
        return
    due_on = next_in_series(first, every_months=every_months, after=last)
    if due_on.year <= LAST_YEAR:
        again = PermitConditionStated(text=condition.text, due_on=due_on, every_months=every_months, first_due_on=first)
        recorded(unit, PermitCondition, again, record_id=None, permit_id=condition.permit_id, follows_id=condition.id)


def _check_event(unit: Unit, permit: Permit, said: PermitEventStated) -> None:
    refuse_later_than(today_there(unit, permit.site_id), field="happened_on", on=said.happened_on)
    if said.happened_on < permit.issued_on:
        sentence = f"The permit was issued on {permit.issued_on.isoformat()}, later than this."
        raise RuleBroken(sentence, code="before-issue", field="happened_on")
