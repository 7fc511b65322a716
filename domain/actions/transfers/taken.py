"""Tags and transponders' codes that somebody bears already, so that nobody who comes is stopped by them on arrival."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from uuid import UUID

import sqlalchemy as sa

from domain.actions.taxonomy import asked_in_turns, is_among
from domain.actions.transfers.lines import EXPECTED
from domain.records.animals import Animal
from domain.records.base import table_of
from domain.records.marks import Mark
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.text import same_name
from domain.rules.transponders import code_key

_animal, _mark = table_of(Animal), table_of(Mark)
_own = sa.bindparam("organisation_id", type_=_animal.c.organisation_id.type)
TAGS_BORNE = Statement(
    sa.select(_animal.c.tag_key, _animal.c.id).where(
        _animal.c.organisation_id == _own, _animal.c.ended_on.is_(None), is_among(_animal.c.tag_key)
    )
)
CODES_OF_LIVING = Statement(
    sa.select(_mark.c.live_key, _mark.c.animal_id).where(_mark.c.organisation_id == _own, is_among(_mark.c.live_key))
)


def tags_taken(unit: Unit, tags: Iterable[str], *, but: Container[UUID] = ()) -> Mapping[str, UUID | None]:
    """Return by its key each of some tags that is taken: by an animal on record, or (``None``) by one that is expected with a transfer.

    ``but`` are lines of a transfer that do not count.
    """
    keys = {same_name(tag) for tag in tags}
    expected = {same_name(tag): None for tag, _, line_id in unit.rows(EXPECTED) if line_id not in but and same_name(tag) in keys}
    return {**expected, **dict(asked_in_turns(unit, TAGS_BORNE, keys))}


def bearer_of(unit: Unit, tag: str) -> UUID | None:
    """Return the animal on record that bears a tag."""
    return next((animal_id for _, animal_id in asked_in_turns(unit, TAGS_BORNE, [same_name(tag)])), None)


def codes_taken(unit: Unit, codes: Iterable[str], *, but: Container[UUID] = ()) -> Mapping[str, UUID | None]:
    """Return by its key each of some transponders' codes that a living animal bears, or (``None``) one that is expected with a transfer.

    ``but`` are lines of a transfer that do not count.
    """
    keys = {code_key(code) for code in codes}
    lines = unit.rows(EXPECTED) if keys else ()
    expected = {code_key(code): None for _, code, line_id in lines if code is not None and line_id not in but and code_key(code) in keys}
    return {**expected, **dict(asked_in_turns(unit, CODES_OF_LIVING, keys))}
