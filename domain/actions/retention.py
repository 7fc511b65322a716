"""Letting go of what nobody has to keep any more: the rules, the holds that win over them, and the run.

Nothing else in Reedbed deletes a record. What is let go of leaves a last entry in the journal, and the chain still proves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.errors import Conflict, RuleBroken
from domain.records import journal
from domain.records.base import Record, all_records, metadata, table_of
from domain.records.organisations import Idempotency
from domain.records.retention import LegalHold, LegalHoldStated, RetentionRule, RetentionRuleStated
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import add_months

ANSWERS_KEPT = timedelta(days=30)
"""How long the first answer to a request with an Idempotency-Key is kept."""

_rule, _hold, _answer = table_of(RetentionRule), table_of(LegalHold), table_of(Idempotency)
_own = sa.bindparam("organisation_id", type_=sa.BigInteger())
_at_own = sa.bindparam("at_organisation_id", type_=sa.BigInteger())

RULES = Statement(sa.select(_rule).where(_rule.c.organisation_id == _own, _rule.c.ended_on.is_(None)))
HOLDS = Statement(sa.select(_hold).where(_hold.c.organisation_id == _own, _hold.c.ended_on.is_(None)))
OLD_ANSWERS = Statement(sa.delete(_answer).where(_answer.c.organisation_id == _at_own, _answer.c.created_at < sa.bindparam("before")))


@dataclass(frozen=True, slots=True)
class Kept:
    """What was looked at and stays: of a kind, because of a hold, or because others still refer to it."""

    kind: str
    subject_id: UUID
    why: str


@dataclass(frozen=True, slots=True)
class LettingGo:
    """What a run let go of, by kind, and what stayed although its time was up."""

    let_go: Mapping[str, int]
    kept: Sequence[Kept]
    answers: int


def register_retention_rule(unit: Unit, stated: RetentionRuleStated, *, record_id: UUID | None = None) -> RetentionRule:
    """Put on record how long a kind is kept, and return the rule.

    Raises:
        RuleBroken: There is no such kind of record.
    """
    _refuse_unknown_kind(stated.kind)
    return recorded(unit, RetentionRule, stated, record_id=record_id)


def change_retention_rule(unit: Unit, rule_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> RetentionRule:
    """Apply a correction to a rule and return it."""
    found = current(unit, RetentionRule, rule_id, expected_version=expected_version)
    stated = merged(RetentionRuleStated, found, patch)
    _refuse_unknown_kind(stated.kind)
    return corrected(unit, found, stated)


def end_retention_rule(unit: Unit, rule_id: UUID, ending: Ending) -> RetentionRule:
    """End a rule and return it."""
    return ended(unit, unit.fetch(RetentionRule, rule_id), ending, today=unit.origin.at.date())


def register_legal_hold(unit: Unit, stated: LegalHoldStated, *, record_id: UUID | None = None) -> LegalHold:
    """Put a hold on record and return it.

    Raises:
        RuleBroken: There is no such kind of record.
    """
    if stated.kind is not None:
        _refuse_unknown_kind(stated.kind)
    return recorded(unit, LegalHold, stated, record_id=record_id)


def change_legal_hold(unit: Unit, hold_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> LegalHold:
    """Correct why a hold is, and return it. What it holds is not corrected: that would lift it without a second person.

    Raises:
        Conflict: The correction changes what is held.
    """
    found = current(unit, LegalHold, hold_id, expected_version=expected_version)
    stated = merged(LegalHoldStated, found, patch)
    if (stated.kind, stated.subject_id) != (found.kind, found.subject_id):
        raise Conflict("What a hold holds is not corrected. Register another hold, and end this one.", code="hold-fixed")
    return corrected(unit, found, stated)


def end_legal_hold(unit: Unit, hold_id: UUID, ending: Ending) -> LegalHold:
    """Lift a hold and return it."""
    return ended(unit, unit.fetch(LegalHold, hold_id), ending, today=unit.origin.at.date())


def let_go(unit: Unit, *, today: date) -> LettingGo:
    """Let go of every ended record whose longest period of keeping is over and that nothing holds.

    A kind without a rule is kept for ever. A record that others refer to stays until they have gone. Needs the role that owns the tables.
    """
    months, holds = _longest(unit, today=today), unit.all(LegalHold, HOLDS)
    counts: dict[str, int] = {}
    kept: list[Kept] = []
    for record in _children_first():
        if record.noun not in months:
            continue
        for found in _ended(unit, record, today=today, keep_months=months[record.noun]):
            why = held_by(holds, found) or _referred_by(unit, found)
            if why:
                kept.append(Kept(record.noun, found.id, why))
                continue
            _let_go_of(unit, found)
            counts[record.noun] = counts.get(record.noun, 0) + 1
    old = unit.run(OLD_ANSWERS, at_organisation_id=unit.organisation_id, before=unit.origin.at - ANSWERS_KEPT)
    return LettingGo(counts, kept, old)


def _refuse_unknown_kind(kind: str) -> None:
    kinds = sorted(record.noun for record in all_records())
    if kind not in kinds:
        raise RuleBroken(f"There is no such kind of record; there are: {', '.join(kinds)}.", code="kind-unknown", field="kind")


def _longest(unit: Unit, *, today: date) -> dict[str, int]:
    """Return for each kind the longest period [months] of the rules in force."""
    longest: dict[str, int] = {}
    for rule in unit.all(RetentionRule, RULES):
        if rule.in_force_from is None or rule.in_force_from <= today:
            longest[rule.kind] = max(rule.keep_months, longest.get(rule.kind, 0))
    return longest


def _children_first() -> list[type[Record]]:
    by_table = {record.__tablename__: record for record in all_records()}
    return [by_table[table.name] for table in reversed(metadata.sorted_tables) if table.name in by_table]


def _ended(unit: Unit, record: type[Record], *, today: date, keep_months: int) -> Iterator[Record]:
    for found in unit.all(record, _ended_statement(record)):
        assert found.ended_on is not None  # noqa: S101 - the statement asks for it
        if add_months(found.ended_on, keep_months) <= today:
            yield found


def held_by(holds: Iterable[LegalHold], found: Record) -> str | None:
    """Return why a record is held, ``None`` where it is not."""
    for hold in holds:
        if hold.kind in (None, found.noun) and hold.subject_id in (None, found.id):
            return f"held: {hold.why}"
    return None


def _referred_by(unit: Unit, found: Record) -> str | None:
    for noun, statement in _references_to(type(found)):
        row = unit.row(statement, referred_id=found.id)
        if row is not None and row[0]:
            return f"{row[0]} {noun.replace('_', ' ')} still refer to it"
    return None


def _let_go_of(unit: Unit, found: Record) -> None:
    for statement in _removals(type(found)):
        unit.run(statement, at_organisation_id=unit.organisation_id, at_id=found.id)
    unit.note(journal.Change(journal.LET_GO, found.noun, found.id, found.version + 1, before={}, after={}, reason="retention"))


@cache
def _ended_statement(record: type[Record]) -> Statement:
    table = table_of(record)
    return Statement(sa.select(table).where(table.c.organisation_id == _own, table.c.ended_on.is_not(None)).order_by(table.c.id))


def _pointing_at(record: type[Record]) -> Iterator[tuple[sa.Table, str]]:
    """Yield every table and column that points at a record."""
    for table in metadata.sorted_tables:
        for key in table.foreign_key_constraints:
            if key.referred_table.name == record.__tablename__ and len(key.column_keys) > 1:
                yield table, key.column_keys[-1]


@cache
def _references_to(record: type[Record]) -> tuple[tuple[str, Statement], ...]:
    """Return the statements that count the records that refer to one."""
    records = {one.__tablename__ for one in all_records()}
    return tuple(
        (
            table.name,
            Statement(
                sa.select(sa.func.count())
                .select_from(table)
                .where(table.c.organisation_id == _own, table.c[column] == sa.bindparam("referred_id", type_=table.c[column].type))
            ),
        )
        for table, column in _pointing_at(record)
        if table.name in records
    )


@cache
def _removals(record: type[Record]) -> tuple[Statement, ...]:
    """Return the statements that remove a record, after what hangs on it and is no record itself."""
    records = {one.__tablename__ for one in all_records()}
    hanging = [(table, column) for table, column in _pointing_at(record) if table.name not in records]
    return tuple(
        Statement(
            sa.delete(table).where(table.c.organisation_id == _at_own, table.c[column] == sa.bindparam("at_id", type_=table.c[column].type))
        )
        for table, column in (*hanging, (table_of(record), "id"))
    )
