"""Letting go of what nobody has to keep any more: the rules, the holds that win over them, and the run.

Nothing else in Reedbed deletes a record. What is let go of leaves a last entry in the journal, and the chain still proves. The journal
itself keeps what was said of the record, but for a person's particulars.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions import reading_log
from domain.actions.documents import ever_attached_to
from domain.actions.recording import Ending, corrected, current, ended, recorded
from domain.errors import Conflict, RuleBroken
from domain.records import journal
from domain.records.accounts import Account, AccountIdentity, RoleGrant
from domain.records.animals import Animal
from domain.records.approvals import Approval
from domain.records.base import Record, all_records, metadata, table_of
from domain.records.broods import ExpectedBrood
from domain.records.competences import Competence
from domain.records.documents import Attachment, Document
from domain.records.equipment import Equipment, EquipmentCheck, HourReading, OutputReading
from domain.records.holdings import CallName, Holding
from domain.records.incidents import Incident, IncidentAnimal, Notification
from domain.records.inspections import CorrectiveAction, Inspection, InspectionFinding
from domain.records.kinship import Parent
from domain.records.marks import Mark
from domain.records.measurements import Measurement
from domain.records.nights import ImportRun, NightlyRun, Report
from domain.records.organisations import Idempotency
from domain.records.permits import Permit, PermitAnimal, PermitCondition, PermitEvent, PermitTaxon
from domain.records.premises import Premises
from domain.records.reminders import CalendarFeed, Reminder
from domain.records.retention import LegalHold, LegalHoldStated, RetentionRule, RetentionRuleStated
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.taxa import ConceptMember, HusbandryTarget, Separation, Taxon
from domain.records.transfers import Transfer, TransferAnimal, TransferPaper, TransferReport
from domain.records.unit import Unit
from domain.rules.calendar import add_months

ANSWERS_KEPT = timedelta(days=30)
"""How long the first answer to a request with an Idempotency-Key is kept."""
PART_OF: Mapping[type[Record], tuple[str, type[Record]]] = {
    HourReading: ("equipment_id", Equipment),
    OutputReading: ("equipment_id", Equipment),
    EquipmentCheck: ("equipment_id", Equipment),
    Account: ("staff_id", Staff),
    RoleGrant: ("staff_id", Staff),
    AccountIdentity: ("account_id", Account),
    Mark: ("animal_id", Animal),
    Measurement: ("animal_id", Animal),
    Parent: ("animal_id", Animal),
    Holding: ("animal_id", Animal),
    CallName: ("animal_id", Animal),
    Attachment: ("document_id", Document),
    ConceptMember: ("taxon_id", Taxon),
    HusbandryTarget: ("taxon_id", Taxon),
    Separation: ("taxon_id", Taxon),
    Competence: ("staff_id", Staff),
    ExpectedBrood: ("animal_id", Animal),
    PermitTaxon: ("permit_id", Permit),
    PermitAnimal: ("permit_id", Permit),
    PermitCondition: ("permit_id", Permit),
    PermitEvent: ("permit_id", Permit),
    InspectionFinding: ("inspection_id", Inspection),
    CorrectiveAction: ("inspection_id", Inspection),
    IncidentAnimal: ("incident_id", Incident),
    Notification: ("incident_id", Incident),
    TransferAnimal: ("transfer_id", Transfer),
    TransferPaper: ("transfer_id", Transfer),
    TransferReport: ("transfer_id", Transfer),
    Premises: ("site_id", Site),
    CalendarFeed: ("staff_id", Staff),
}
"""What belongs to another record: it ends with that one at the latest, and whatever holds that one holds it. Whatever holds a record holds
the documents that were ever attached to it."""
OF_ITS_DAY = (Report, NightlyRun, ImportRun, Approval, Reminder)
"""What is not ended but done once: it is kept from the day [UTC] on which it was made."""

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
    """What a run let go of, by kind, and what stayed although its time was up; ``answers`` are those kept under Idempotency-Keys."""

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
        RuleBroken: There is no such kind of record, or no such record of the kind; one that is held is to be there.
    """
    if stated.kind is not None:
        _refuse_unknown_kind(stated.kind)
    if stated.subject_id is not None:
        _refuse_unknown_subject(unit, stated, stated.subject_id)
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
    """Let go of every record whose longest period of keeping is over and that nothing holds.

    A kind without a rule is kept for ever. A record that others refer to stays until they have gone. Changes by others wait meanwhile: a
    hold that is registered at the same time counts either wholly or not yet. Needs the role that owns the tables.
    """
    unit.row(journal.LOCK_HEAD)
    months, holds = longest_periods(unit, today=today), unit.all(LegalHold, HOLDS)
    counts: Counter[str] = Counter()
    while True:
        gone, kept = _let_go_once(unit, months, holds, today=today)
        counts += gone
        if not gone:
            break
    counts[reading_log.KIND] = _let_go_of_readings(unit, months, holds, today=today)
    old = unit.run(OLD_ANSWERS, at_organisation_id=unit.organisation_id, before=unit.origin.at - ANSWERS_KEPT)
    return LettingGo(dict(+counts), kept, old)


def hold_on(unit: Unit, holds: Sequence[LegalHold], found: Record) -> LegalHold | None:
    """Return what holds a record, or what it is part of; ``None`` where nothing does."""
    holding = next((hold for hold in holds if _holds(hold, found.noun, found.id)), None)
    if holding is not None or not holds:
        return holding
    if isinstance(found, Document):
        return next((hold for one in ever_attached_to(unit, found.id) if (hold := hold_on(unit, holds, one)) is not None), None)
    if type(found) not in PART_OF:
        return None
    column, whole = PART_OF[type(found)]
    return hold_on(unit, holds, unit.fetch(whole, getattr(found, column)))


def _holds(hold: LegalHold, kind: str, subject_id: UUID | None) -> bool:
    return hold.kind in (None, kind) and hold.subject_id in (None, subject_id)


def _refuse_unknown_kind(kind: str) -> None:
    kinds = sorted([reading_log.KIND, *(record.noun for record in all_records())])
    if kind not in kinds:
        raise RuleBroken(f"There is no such kind of record; there are: {', '.join(kinds)}.", code="kind-unknown", field="kind")


def _refuse_unknown_subject(unit: Unit, stated: LegalHoldStated, subject_id: UUID) -> None:
    kinds = [record for record in all_records() if stated.kind in (None, record.noun)]
    if all(unit.find(record, subject_id) is None for record in kinds):
        raise RuleBroken("There is no such record to be held.", code="reference-unknown", field="subject_id")


def longest_periods(unit: Unit, *, today: date) -> dict[str, int]:
    """Return for each kind the longest period [months] of the rules in force."""
    longest: dict[str, int] = {}
    for rule in unit.all(RetentionRule, RULES):
        if rule.in_force_from is None or rule.in_force_from <= today:
            longest[rule.kind] = max(rule.keep_months, longest.get(rule.kind, 0))
    return longest


def _let_go_once(unit: Unit, months: Mapping[str, int], holds: Sequence[LegalHold], *, today: date) -> tuple[Counter[str], list[Kept]]:
    """Let go of what can go now, and return it by kind and what stays; more can go once that has gone."""
    gone: Counter[str] = Counter()
    kept: list[Kept] = []
    for record in (one for one in _children_first() if one.noun in months):
        for found in _over(unit, record, today=today, keep_months=months[record.noun]):
            why = _why_kept(unit, holds, found)
            if why:
                kept.append(Kept(record.noun, found.id, why))
                continue
            _let_go_of(unit, found, reason=f"kept for {months[record.noun]} months")
            gone[record.noun] += 1
    return gone, kept


def _let_go_of_readings(unit: Unit, months: Mapping[str, int], holds: Iterable[LegalHold], *, today: date) -> int:
    """Let go of the reading log's older part, which leaves no entries; a hold on all, or on this kind, keeps it whole."""
    if reading_log.KIND not in months or any(_holds(hold, reading_log.KIND, None) for hold in holds):
        return 0
    first_day = add_months(today, -months[reading_log.KIND])
    return reading_log.forget_readings(unit, before=datetime.combine(first_day, time.min, tzinfo=UTC))


def _children_first() -> list[type[Record]]:
    by_table = {record.__tablename__: record for record in all_records()}
    return [by_table[table.name] for table in reversed(metadata.sorted_tables) if table.name in by_table]


def _over(unit: Unit, record: type[Record], *, today: date, keep_months: int) -> Iterator[Record]:
    """Yield the records of a class whose period is over by ``today``."""
    for row in unit.named(_ended_statement(record)):
        whole_ended_on = row.pop("whole_ended_on")
        found = record.model_construct(**row)
        since = found.ended_on or whole_ended_on or found.created_at.date()
        if add_months(since, keep_months) <= today:
            yield found


def _why_kept(unit: Unit, holds: Sequence[LegalHold], found: Record) -> str:
    hold = hold_on(unit, holds, found)
    if hold is not None:
        return f"held: {hold.why}"
    for noun, statement in _references_to(type(found)):
        [(count,)] = unit.rows(statement, referred_id=found.id)
        if count:
            return f"still referred to by {count} {noun.replace('_', ' ')}"
    return ""


def _let_go_of(unit: Unit, found: Record, *, reason: str) -> None:
    if found.personal:
        unit.run(journal.FORGET_PARTICULARS, at_organisation_id=unit.organisation_id, of_subject=found.noun, of_subject_id=found.id)
    for statement in _removals(type(found)):
        unit.run(statement, at_organisation_id=unit.organisation_id, at_id=found.id)
    unit.note(journal.Change(journal.LET_GO, found.noun, found.id, found.version + 1, before={}, after={}, reason=reason))


@cache
def _ended_statement(record: type[Record]) -> Statement:
    """Return the statement for the records of a class that have ended, or whose whole has, with the date on which that did."""
    table = table_of(record)
    own = table.c.organisation_id == _own
    nothing = sa.null().cast(sa.Date())
    if record in OF_ITS_DAY:
        return Statement(sa.select(table, nothing.label("whole_ended_on")).where(own).order_by(table.c.id))
    if record not in PART_OF:
        query = sa.select(table, nothing.label("whole_ended_on")).where(own, table.c.ended_on.is_not(None))
        return Statement(query.order_by(table.c.id))
    column, whole_record = PART_OF[record]
    whole = table_of(whole_record)
    joined = table.join(whole, sa.and_(whole.c.organisation_id == table.c.organisation_id, whole.c.id == table.c[column]))
    has_ended = sa.or_(table.c.ended_on.is_not(None), whole.c.ended_on.is_not(None))
    query = sa.select(table, whole.c.ended_on.label("whole_ended_on")).select_from(joined).where(own, has_ended)
    return Statement(query.order_by(table.c.id))


def _pointing_at(record: type[Record]) -> Iterator[tuple[sa.Table, str]]:
    """Yield every table and column that points at a record, by a foreign key or by its name alone."""
    for table in metadata.sorted_tables:
        keys = (key for key in table.foreign_key_constraints if key.referred_table.name == record.__tablename__)
        columns = {key.column_keys[-1] for key in keys if len(key.column_keys) > 1}
        yield from ((table, column) for column in sorted(columns | ({f"{record.noun}_id"} & {*table.columns.keys()})))


@cache
def _references_to(record: type[Record]) -> tuple[tuple[str, Statement], ...]:
    """Return the statements that count the records that refer to one, attachments of documents among them."""
    records = {one.__tablename__ for one in all_records()}
    pointing = [(table.name, _count_of(table, column)) for table, column in _pointing_at(record) if table.name in records]
    attachment = table_of(Attachment)
    return (*pointing, (attachment.name, _count_of(attachment, "subject_id", attachment.c.subject == record.noun)))


def _count_of(table: sa.Table, column: str, *conditions: sa.ColumnElement[bool]) -> Statement:
    is_referred = table.c[column] == sa.bindparam("referred_id", type_=table.c[column].type)
    return Statement(sa.select(sa.func.count()).select_from(table).where(table.c.organisation_id == _own, is_referred, *conditions))


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
