"""As much of an organisation's taxonomy as some animals need: what lies above their taxa, and which names cover them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.columns import UuidColumn
from domain.records.statements import Row, Statement
from domain.records.taxa import ConceptMember, Taxon
from domain.records.unit import Unit
from domain.rules.taxonomy import Member, Taxonomy, TaxonRow
from domain.rules.text import same_name

Key = TypeVar("Key", UUID, str)

AT_ONCE = 16
"""How many ids or keys one statement is asked for; fewer are filled up with repetitions, so that it is compiled once."""

_taxon, _member = table_of(Taxon), table_of(ConceptMember)
_above = _taxon.alias("above")


def is_among(column: sa.ColumnElement[Any]) -> sa.ColumnElement[bool]:
    """Return the condition that a column holds one of the ids or keys that ``asked_in_turns`` gives to a statement."""
    return column.in_([sa.bindparam(f"id_{number}", type_=column.type) for number in range(AT_ONCE)])


def asked_in_turns(unit: Unit, statement: Statement, ids: Iterable[Key], **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
    """Return the rows of a statement for all of some ids or keys, some of them at a time."""
    wanted = sorted(set(ids))
    found: list[Row] = []
    for start in range(0, len(wanted), AT_ONCE):
        found += unit.rows(statement, **_filled_up(wanted[start : start + AT_ONCE]), **parameters)
    return found


def _filled_up(ids: Sequence[Key]) -> dict[str, Key]:
    return {f"id_{number}": ids[min(number, len(ids) - 1)] for number in range(AT_ONCE)}


def _own(table: sa.FromClause) -> sa.ColumnElement[bool]:
    return table.c.organisation_id == sa.bindparam("organisation_id")


_COLUMNS = ("id", "rank", "parent_id", "accepted_id", "hazard", "scientific_name")


def _upwards() -> sa.Subquery:
    """Return the rows of taxa and of all that lie above them: of a synonym the accepted taxon, of any other what it lies in."""
    columns = ("organisation_id", *_COLUMNS)
    reached = sa.select(*(_taxon.c[name] for name in columns)).where(_own(_taxon), is_among(_taxon.c.id)).cte("reached", recursive=True)
    above = sa.func.coalesce(reached.c.accepted_id, reached.c.parent_id, type_=UuidColumn())
    same = (_above.c.organisation_id == reached.c.organisation_id, _above.c.id == above)
    further = sa.select(*(_above.c[name] for name in columns)).join(reached, sa.and_(*same)).where(_own(_above))
    return sa.select(reached.union(further)).subquery("lineage")


_lineage = _upwards()
LINEAGES = Statement(sa.select(*(_lineage.c[name] for name in _COLUMNS)))
TAXA_NAMED = Statement(
    sa.select(_taxon.c.name_key, _taxon.c.id).where(_own(_taxon), is_among(_taxon.c.name_key), _taxon.c.ended_on.is_(None))
)
CONCEPTS_WITH = Statement(
    sa.select(_member.c.taxon_id, _member.c.member_id, _member.c.from_on).where(
        _own(_member), is_among(_member.c.member_id), _member.c.ended_on.is_(None)
    )
)


def taxonomy_above(unit: Unit, taxon_ids: Iterable[UUID], *, instead: TaxonRow | None = None) -> Taxonomy:
    """Return the taxonomy of some taxa and of all that covers them: what they stand for and lie in, and whose concept they are members of.

    It is read upwards, so that an organisation with fifty thousand taxa pays for the few that matter. ``instead`` is a row that is to be
    looked at in the place of the one on record.

    Raises:
        ValueError: With that row, a taxon lies above itself.
    """
    rows: dict[UUID, TaxonRow] = {}
    members: set[Member] = set()
    wanted = set(taxon_ids)
    if instead is not None and instead.above_id is not None:
        wanted.add(instead.above_id)
    while wanted:
        found = {row[0]: _row(row) for row in asked_in_turns(unit, LINEAGES, wanted)}
        fresh = found.keys() - rows.keys()
        rows |= found
        owners = [Member(taxon_id=owner, member_id=one, from_on=on) for owner, one, on in asked_in_turns(unit, CONCEPTS_WITH, fresh)]
        members.update(owners)
        wanted = {one.taxon_id for one in owners} - rows.keys()
    if instead is not None:
        rows[instead.id] = instead
    return Taxonomy(rows.values(), members)


def taxa_named(unit: Unit, names: Iterable[str]) -> Mapping[str, UUID]:
    """Return the taxa with some scientific names by ``same_name`` of these; what is not on record is left out."""
    return dict(asked_in_turns(unit, TAXA_NAMED, map(same_name, names)))


def _row(row: Row) -> TaxonRow:
    taxon_id, rank, parent_id, accepted_id, hazard, name = row
    return TaxonRow(id=taxon_id, rank=rank, parent_id=parent_id, accepted_id=accepted_id, hazard=hazard, name=name)
