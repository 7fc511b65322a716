"""Registering, correcting and ending overrides, and having them as the rules about coverage take them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.law import refuse_unknown_requirement
from domain.actions.recording import Ending, corrected, current, ended, recorded, referred, referred_reached
from domain.actions.sites import today_there
from domain.errors import RuleBroken
from domain.records.animals import Animal
from domain.records.base import Record, row_of, table_of
from domain.records.belonging import site_of
from domain.records.documents import Document
from domain.records.overrides import Override, OverrideStated
from domain.records.requirements import Requirement
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules import compliance
from domain.rules.law.requirements import Activity

LATEST_DAYS = 31
"""How many days after its first an override may still be put on record."""
_REACHED: Mapping[str, type[Record]] = {"animal_id": Animal, "site_id": Site, "document_id": Document}
"""What an override may only name where whoever registers it may write."""
_override, _requirement = table_of(Override), table_of(Requirement)
_on = sa.bindparam("on", type_=sa.Date())
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
OVERRIDES = Statement(
    sa.select(_override)
    .where(_override.c.organisation_id == _organisation_id, _override.c.ended_on.is_(None))
    .order_by(_override.c.from_on, _override.c.id)
)
EDITION_ON = Statement(
    sa.select(_requirement.c.edition).where(
        _requirement.c.organisation_id == _organisation_id,
        _requirement.c.ended_on.is_(None),
        _requirement.c.code == sa.bindparam("code"),
        _requirement.c.applies_from <= _on,
        sa.or_(_requirement.c.applies_until.is_(None), _requirement.c.applies_until >= _on),
    )
)
"""The edition of a requirement that is in force on a day."""


def register_override(unit: Unit, stated: OverrideStated, *, record_id: UUID | None = None) -> Override:
    """Register an override and return it.

    Raises:
        RuleBroken: No rule pack has the requirement, or none of its editions is in force on the first day; that day is too long ago; or it
            refers to nothing, or to what has ended.
        NotAllowed: What it is for, or its document, is at a site that the origin does not reach.
    """
    _check(unit, stated, before=None)
    return recorded(unit, Override, stated, record_id=record_id, edition=_edition(unit, stated, before=None))


def change_override(unit: Unit, override_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Override:
    """Apply a correction to an override and return it. One that is no longer answered for has its ``expires_on`` corrected.

    Raises:
        RuleBroken, NotAllowed: As for registering.
    """
    found = current(unit, Override, override_id, expected_version=expected_version)
    said = merged(OverrideStated, found, patch)
    _check(unit, said, before=found)
    return corrected(unit, found, said, edition=_edition(unit, said, before=found))


def end_override(unit: Unit, override_id: UUID, ending: Ending) -> Override:
    """Take an override that was entered wrongly out of account and return it."""
    found = unit.fetch(Override, override_id)
    return ended(unit, found, ending, today=today_there(unit, site_of(unit, Override, row_of(found))))


def overrides_of(unit: Unit) -> list[compliance.Override]:
    """Return every override as the rules about coverage take it, the earliest first."""
    return [
        compliance.Override(
            id=one.id,
            requirement_code=one.requirement_code,
            edition=one.edition,
            activities=frozenset(map(Activity, one.activities)),
            from_on=one.from_on,
            expires_on=one.expires_on,
            animal_id=one.animal_id,
            site_id=one.site_id,
        )
        for one in unit.all(Override, OVERRIDES)
    ]


def _check(unit: Unit, said: OverrideStated, *, before: Override | None) -> None:
    refuse_unknown_requirement(unit, said.requirement_code, kept=before.requirement_code if before else None)
    referred(unit, Staff, said.staff_id, field="staff_id", kept=before.staff_id if before else None)
    for field, record in _REACHED.items():
        referred_id = getattr(said, field)
        if referred_id is not None:
            referred_reached(unit, record, referred_id, field=field, kept=getattr(before, field, None))
    if before is None or said.from_on != before.from_on:
        _refuse_long_ago(unit, said)


def _refuse_long_ago(unit: Unit, said: OverrideStated) -> None:
    """Refuse a first day that is so long ago that nobody can have answered for it then."""
    today = today_there(unit, site_of(unit, Override, {"animal_id": said.animal_id, "site_id": said.site_id}))
    earliest = today - timedelta(days=LATEST_DAYS)
    if said.from_on < earliest:
        sentence = f"An override may begin up to {LATEST_DAYS} days ago, on {earliest.isoformat()} at the earliest."
        raise RuleBroken(sentence, code="too-long-ago", field="from_on")


def _edition(unit: Unit, said: OverrideStated, *, before: Override | None) -> str:
    """Return the edition that an override is for: the one that is in force on its first day.

    Raises:
        RuleBroken: None is.
    """
    if before is not None and (said.requirement_code, said.from_on) == (before.requirement_code, before.from_on):
        return before.edition
    found = unit.row(EDITION_ON, code=said.requirement_code, on=said.from_on)
    if found is None:
        sentence = f"No edition of this requirement is in force on {said.from_on.isoformat()}."
        raise RuleBroken(sentence, code="requirement-not-in-force", field="from_on")
    return str(found[0])
