"""At which site a record is: for every class of record, the column that says it, or the record that it shares the site of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from domain.errors import NotAllowed
from domain.records.accounts import Account, AccountIdentity, RoleGrant
from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.approvals import Approval
from domain.records.base import Record, table_of
from domain.records.broods import ExpectedBrood
from domain.records.columns import JsonColumn, UuidColumn
from domain.records.competences import Competence
from domain.records.documents import Attachment, Document
from domain.records.enclosures import Enclosure, LifeSupportSystem
from domain.records.equipment import (
    Equipment,
    EquipmentCheck,
    EquipmentModel,
    HourReading,
    OutputReading,
    Spare,
)
from domain.records.holdings import CallName, Holding
from domain.records.incidents import Incident, IncidentAnimal, Notification
from domain.records.inspections import CorrectiveAction, Inspection, InspectionFinding
from domain.records.jurisdictions import Jurisdiction
from domain.records.kinship import Parent
from domain.records.marks import Mark
from domain.records.measurements import Measurement
from domain.records.nights import ImportRun, NightlyRun, Report
from domain.records.organisations import ApiKey
from domain.records.overrides import Override
from domain.records.permits import Permit, PermitAnimal, PermitCondition, PermitEvent, PermitTaxon
from domain.records.premises import Premises
from domain.records.reminders import CalendarFeed, Reminder
from domain.records.requirements import DocumentKind, Requirement, RulePack
from domain.records.retention import LegalHold, RetentionRule
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.taxa import ConceptMember, Containment, HusbandryTarget, Separation, Taxon
from domain.records.transfers import Transfer, TransferAnimal, TransferPaper, TransferReport
from domain.rules.permissions import Reach

if TYPE_CHECKING:
    from domain.records.unit import Unit


@dataclass(frozen=True, slots=True)
class AtSite:
    """It is at the site whose id the column holds; without one, it is the whole organisation's."""

    column: str = "site_id"


@dataclass(frozen=True, slots=True)
class Along:
    """It is where the record is whose id the column holds; without one, it is the whole organisation's."""

    column: str
    record: type[Record]


@dataclass(frozen=True, slots=True)
class Either:
    """It is along another record where it names one, and else at the site whose id a column holds."""

    along: Along
    at: AtSite


@dataclass(frozen=True, slots=True)
class AtEvery:
    """It is at all the sites whose ids the column lists, reached by whoever reaches each; without one, it is the whole organisation's."""

    column: str


@dataclass(frozen=True, slots=True)
class Shared:
    """It is the whole organisation's."""


@dataclass(frozen=True, slots=True)
class ByItsAct:
    """It is of no place: the act that uses it checks the place of what it is used for."""


Belonging = AtSite | AtEvery | Along | Either | Shared | ByItsAct

BELONGING: Mapping[type[Record], Belonging] = {
    Site: AtSite("id"),
    Enclosure: AtSite(),
    LifeSupportSystem: AtSite(),
    Staff: AtSite(),
    Competence: Along("staff_id", Staff),
    Animal: Along("enclosure_id", Enclosure),
    AnimalEvent: Along("animal_id", Animal),
    AnimalState: Along("animal_id", Animal),
    Placement: Along("animal_id", Animal),
    Mark: Along("animal_id", Animal),
    Measurement: Along("animal_id", Animal),
    Holding: Along("animal_id", Animal),
    CallName: Along("animal_id", Animal),
    Parent: Along("animal_id", Animal),
    ExpectedBrood: Along("animal_id", Animal),
    Premises: AtSite(),
    Permit: AtSite(),
    PermitTaxon: Along("permit_id", Permit),
    PermitAnimal: Along("permit_id", Permit),
    PermitCondition: Along("permit_id", Permit),
    PermitEvent: Along("permit_id", Permit),
    Reminder: AtSite(),
    CalendarFeed: Along("staff_id", Staff),
    Override: Either(Along("animal_id", Animal), AtSite()),
    Inspection: AtSite(),
    InspectionFinding: Along("inspection_id", Inspection),
    CorrectiveAction: Along("inspection_id", Inspection),
    Incident: AtSite(),
    IncidentAnimal: Along("incident_id", Incident),
    Notification: Along("incident_id", Incident),
    Transfer: AtSite(),
    TransferAnimal: Along("transfer_id", Transfer),
    TransferPaper: Along("transfer_id", Transfer),
    TransferReport: Along("transfer_id", Transfer),
    Document: AtSite(),
    Attachment: Along("document_id", Document),
    Taxon: Shared(),
    ConceptMember: Shared(),
    HusbandryTarget: Shared(),
    Separation: Shared(),
    Containment: Shared(),
    EquipmentModel: Shared(),
    Equipment: AtSite(),
    HourReading: Along("equipment_id", Equipment),
    OutputReading: Along("equipment_id", Equipment),
    EquipmentCheck: Along("equipment_id", Equipment),
    Spare: AtSite(),
    Report: AtSite(),
    NightlyRun: AtSite(),
    ImportRun: Shared(),
    Account: Along("staff_id", Staff),
    AccountIdentity: Along("account_id", Account),
    RoleGrant: AtSite(),
    ApiKey: AtEvery("site_ids"),
    RulePack: Shared(),
    Jurisdiction: Shared(),
    DocumentKind: Shared(),
    Requirement: Shared(),
    RetentionRule: Shared(),
    LegalHold: Shared(),
    Approval: ByItsAct(),
}
"""Every class of record. One that is missing can be reached by nobody whose reach is bound to sites."""


def site_of(unit: Unit, record: type[Record], row: Mapping[str, Any]) -> UUID | None:
    """Return the site that a row of a record is at, ``None`` where it is the whole organisation's."""
    belonging = BELONGING[record]
    if isinstance(belonging, Either):
        belonging = belonging.at if row[belonging.along.column] is None else belonging.along
    if isinstance(belonging, AtSite):
        return row[belonging.column]  # type: ignore[no-any-return]
    if not isinstance(belonging, Along) or row[belonging.column] is None:
        return None
    found = unit.row(site_of_one(belonging.record), id=row[belonging.column])
    return found[0] if found else None


def refuse_beyond_reach(unit: Unit, record: type[Record], row: Mapping[str, Any]) -> None:
    """Refuse a row of a record at a site that the unit's origin does not reach.

    Raises:
        NotAllowed: It is at another site, or the whole organisation's.
    """
    reach = unit.origin.reach
    belonging = BELONGING[record]
    if reach.site_ids is None or isinstance(belonging, ByItsAct):
        return
    if isinstance(belonging, AtEvery):
        if covers_every(reach, row[belonging.column]):
            return
    elif reach.covers(site_of(unit, record, row)):
        return
    raise beyond_reach(record)


def covers_every(reach: Reach, site_ids: Iterable[UUID | str] | None) -> bool:
    """Return whether a reach holds at all of some sites, given as ids or their text; without a list, in the whole organisation."""
    return reach.covers(None) if site_ids is None else all(reach.covers(UUID(str(site_id))) for site_id in site_ids)


def leans_on(record: type[Record]) -> Along | None:
    """Return the other record whose site a class of record shares, where it names one; ``None`` where it never does."""
    belonging = BELONGING[record]
    if isinstance(belonging, Either):
        return belonging.along
    return belonging if isinstance(belonging, Along) else None


def has_sites(record: type[Record]) -> bool:
    """Return whether records of a class are at sites, so that a list of those at some sites means something."""
    return not isinstance(BELONGING[record], (Shared, ByItsAct))


def beyond_reach(record: type[Record]) -> NotAllowed:
    """Return the refusal of a record at a site that is not reached."""
    noun = record.noun.replace("_", " ")
    return NotAllowed(
        f"This {noun} belongs where your rights do not reach: to another site, or to the whole organisation.", code="other-site"
    )


def site_column(record: type[Record]) -> sa.ColumnElement[UUID | None]:
    """Return the expression for the site that a row of a record's table is at: null where it is the whole organisation's."""
    return _site_by(BELONGING[record], table_of(record))


def _site_by(belonging: Belonging, table: sa.Table) -> sa.ColumnElement[UUID | None]:
    if isinstance(belonging, AtSite):
        return table.c[belonging.column]
    if isinstance(belonging, Along):
        other = table_of(belonging.record)
        same = (other.c.organisation_id == sa.bindparam("organisation_id"), other.c.id == table.c[belonging.column])
        return sa.select(site_column(belonging.record)).where(*same).correlate(table).scalar_subquery()
    if isinstance(belonging, Either):
        named = table.c[belonging.along.column].is_not(None)
        return sa.case((named, _site_by(belonging.along, table)), else_=_site_by(belonging.at, table))
    return sa.literal_column("NULL", UuidColumn())


def at_reached_sites(record: type[Record]) -> sa.ColumnElement[bool]:
    """Return the condition that a row is at one of the sites of the parameter ``reach_site_ids``, a list of their ids as text."""
    belonging = BELONGING[record]
    if isinstance(belonging, AtEvery):
        return _AllAmong(table_of(record).c[belonging.column], sa.bindparam("reach_site_ids", type_=JsonColumn()))
    site = table_of(Site).alias("reached_site")
    wanted = sa.bindparam("reach_site_ids", type_=JsonColumn())
    reached = sa.select(site.c.id).where(site.c.organisation_id == sa.bindparam("organisation_id"), _IsAmong(site.c.id, wanted))
    return site_column(record).in_(reached)


class _IsAmong(FunctionElement[bool]):
    """Whether an id is in a list of ids, which is given as JSON text; thus one statement serves lists of any length."""

    inherit_cache = True
    type = sa.Boolean()


@compiles(_IsAmong)
def _among_on_sqlite(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    one, wanted = element.clauses
    each = sa.func.json_each(wanted).table_valued("value", name="wanted_site")
    digits = sa.func.replace(each.c.value, sa.literal_column("'-'"), sa.literal_column("''"))
    return f"({compiler.process(sa.func.lower(sa.func.hex(one)).in_(sa.select(digits)), **rest)})"


@compiles(_IsAmong, "postgresql")
def _among_on_postgresql(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    one, wanted = element.clauses
    each = sa.func.jsonb_array_elements_text(sa.cast(wanted, postgresql.JSONB)).column_valued("wanted_site")
    return f"({compiler.process(one.in_(sa.select(sa.cast(each, sa.Uuid()))), **rest)})"


class _AllAmong(FunctionElement[bool]):
    """Whether a list of ids is there, and each of them is in another; both are JSON text."""

    inherit_cache = True
    type = sa.Boolean()


@compiles(_AllAmong)
def _all_among_on_sqlite(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    listed, wanted = (compiler.process(part, **rest) for part in element.clauses)
    strays = f"SELECT 1 FROM json_each({listed}) AS one WHERE one.value NOT IN (SELECT value FROM json_each({wanted}))"  # noqa: S608 - our own
    return f"(json_type({listed}) = 'array' AND NOT EXISTS ({strays}))"


@compiles(_AllAmong, "postgresql")
def _all_among_on_postgresql(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    listed, wanted = (compiler.process(part, **rest) for part in element.clauses)
    return f"(left({listed}, 1) = '[' AND CAST({listed} AS jsonb) <@ CAST({wanted} AS jsonb))"


@cache
def site_of_one(record: type[Record]) -> Statement:
    """Return the statement for the site that the record of ``id`` is at: one row, and null where it is the whole organisation's."""
    table = table_of(record)
    chosen = sa.select(site_column(record).label("site_id"))
    return Statement(chosen.where(table.c.organisation_id == sa.bindparam("organisation_id"), table.c.id == sa.bindparam("id")))
