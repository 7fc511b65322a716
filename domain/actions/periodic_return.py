"""Periodic returns: whether a period is one that a rule asks about, and what is returned of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple
from uuid import UUID

import sqlalchemy as sa

from domain.actions.census import Names, Scope, census, names, statement
from domain.actions.compliance import Collection
from domain.actions.law import Law, law_as_of
from domain.actions.permits import permits_of
from domain.actions.subjects import Chronicle, Taxa
from domain.errors import RuleBroken
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.intervals import holds_on
from domain.records.marks import TRANSPONDERS, Mark
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.stock import animal, animals_on, place
from domain.records.unit import Unit
from domain.rules.calendar import in_words
from domain.rules.law.decision import Bearing
from domain.rules.law.facts import Subject, TaxonFacts
from domain.rules.law.requirements import Activity, Obligation, Period, Requirement
from domain.rules.law.returns import due_on, period_from, return_of
from domain.rules.law.selection import selects
from domain.rules.lives import Grouping, LifeStage, Sex
from domain.rules.permits import Permit, valid_until
from domain.rules.stock import Account, Line

_day = sa.bindparam("on", type_=sa.Date())
_mark, _enclosure = table_of(Mark), table_of(Enclosure)
_transponders = [sa.literal(one.value, type_=sa.String()) for one in sorted(TRANSPONDERS)]
_borne = sa.and_(
    _mark.c.organisation_id == animal.c.organisation_id,
    _mark.c.animal_id == animal.c.id,
    _mark.c.kind.in_(_transponders),
    holds_on(Mark, _day),
)
TRANSPONDERS_AT = Statement(
    sa.select(animal.c.taxon_id, animal.c.grouping, animal.c.id, _mark.c.code)
    .select_from(
        animals_on(_day)
        .join(_enclosure, sa.and_(_enclosure.c.organisation_id == place.c.organisation_id, _enclosure.c.id == place.c.enclosure_id))
        .outerjoin(_mark, _borne)
    )
    .where(animal.c.organisation_id == sa.bindparam("organisation_id"), _enclosure.c.site_id == sa.bindparam("site_id"))
    .order_by(_mark.c.code, animal.c.id)
)
"""The animals at a site at the end of a day, each with the codes of its transponders, empty where it bears none."""
_NAMES_OF_PERIODS = {Period.CALENDAR_YEAR: "calendar year", Period.CALENDAR_QUARTER: "calendar quarter"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A return that a requirement asks for of a period, both days included."""

    requirement: Requirement
    obligation: Obligation
    from_on: date
    until_on: date

    @property
    def due_on(self) -> date:
        """The day by which it is due."""
        return due_on(self.obligation, self.until_on)


class Kind(NamedTuple):
    """What a row is of: an accepted taxon, its eggs or its animals, and their sex and stage where the rule tells these apart."""

    taxon_id: UUID
    are_eggs: bool
    sex: Sex | None
    life_stage: LifeStage | None


@dataclass(slots=True, kw_only=True)
class ReturnRow:
    """A row of a return. ``taxon_ids`` are the names under which its animals are on record; ``without`` of them bear no transponder."""

    kind: Kind
    taxon: TaxonFacts
    account: Account = field(default_factory=Account)
    taxon_ids: set[UUID] = field(default_factory=set)
    estimated: int = 0
    permit_numbers: Sequence[str] = ()
    transponders: list[str] = field(default_factory=list)
    without: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodicReturn:
    """What is returned of a period at a site, by taxon.

    ``asked_of`` is how many animals the requirement concerns on the last day, ``missing`` the facts without which that cannot be said of
    some. ``unsure`` are the taxa that it may or may not be about, with what would have to be known; they are among the rows.
    """

    asked: Asked
    rows: Sequence[ReturnRow]
    asked_of: int
    missing: frozenset[str]
    unsure: Mapping[UUID, frozenset[str]]
    names: Names


def return_asked(unit: Unit, site: Site, code: str, *, today: date, from_on: date | None = None, year: int | None = None) -> Asked:
    """Return what a requirement wants returned for the period that begins on a day, or is a year.

    Raises:
        RuleBroken: There is no such requirement, it asks for no return, or not of this site; or the rule has no such period, did not apply
            in it, or it is not over. The field is named.
    """
    law = law_as_of(unit)
    versions = [one for one in law.requirements if one.code == code]
    if not versions:
        raise RuleBroken("There is no such requirement.", code="reference-unknown", field="requirement_code")
    told = "year" if from_on is None else "from_on"
    period = _period(versions, from_on=from_on, year=year, told=told)
    in_force = [one for one in versions if one.applies_from <= period[1] and (one.applies_until is None or one.applies_until >= period[0])]
    if not in_force:
        raise RuleBroken(f"{code} did not apply on any day of this period.", code="not-in-period", field=told)
    requirement = in_force[-1]
    obligation = return_of(requirement)
    if obligation is None or not obligation.fields:
        raise RuleBroken(f"{code} asks for no return whose fields it lists.", code="no-return", field="requirement_code")
    if site.jurisdiction is None or requirement.jurisdiction not in law.chain(site.jurisdiction):
        sentence = f"{code} is law of {requirement.jurisdiction}, where this site is not on record as being."
        raise RuleBroken(sentence, code="not-there", field="requirement_code")
    if period[1] >= today:
        raise RuleBroken(f"It is {today.isoformat()} at the site; this period is not over.", code="in-future", field=told)
    return Asked(requirement=requirement, obligation=obligation, from_on=period[0], until_on=period[1])


def _period(versions: Sequence[Requirement], *, from_on: date | None, year: int | None, told: str) -> tuple[date, date]:
    """Return the period that is meant, of those that the latest version of a requirement asks about which asks about any.

    Raises:
        RuleBroken: It asks about none, or none begins there.
    """
    obligations = [found for one in versions if (found := return_of(one)) is not None]
    period = obligations[-1].period if obligations else None
    if period is None:
        raise RuleBroken(f"{versions[-1].code} asks for no return of a period.", code="no-return", field="requirement_code")
    if from_on is None and period is not Period.CALENDAR_YEAR:
        sentence = f"This rule asks about each {_NAMES_OF_PERIODS[period]}: say its first day in from_on."
        raise RuleBroken(sentence, code="not-in-period", field=told)
    first = from_on or date(year or date.min.year, 1, 1)
    days = period_from(period, first)
    if days is None:
        sentence = f"This rule asks about each {_NAMES_OF_PERIODS[period]}, and none begins on {in_words(first)}."
        raise RuleBroken(sentence, code="not-in-period", field=told)
    return days


def periodic_return(unit: Unit, site: Site, asked: Asked) -> PeriodicReturn:
    """Return what is returned of a period, from the stock statement and what is on record beside it."""
    from_on, until_on, requirement = asked.from_on, asked.until_on, asked.requirement
    scope = Scope(site_id=site.id)
    accounts = statement(unit, from_on=from_on, until_on=until_on, scope=scope)
    taxa = Taxa(unit, {line.taxon_id for line in accounts})
    rows: dict[Kind, ReturnRow] = {}
    unsure: dict[UUID, frozenset[str]] = {}
    by_name: dict[UUID, UUID] = {}
    for line, account in accounts.items():
        facts = taxa.facts(line.taxon_id, on=until_on)
        by_name[line.taxon_id] = facts.id
        taken = selects(requirement.selector, _pseudo(line, facts), on=until_on)
        if taken.is_false:
            continue
        if not taken.is_known:
            unsure[facts.id] = unsure.get(facts.id, frozenset()) | taken.missing
        kind = _kind(line, facts, asked.obligation.fields)
        row = rows.setdefault(kind, ReturnRow(kind=kind, taxon=facts))
        row.account.take(account)
        row.taxon_ids.add(line.taxon_id)
    for one in census(unit, on=until_on, scope=scope):
        kind = _kind(one.line, taxa.facts(one.line.taxon_id, on=until_on), asked.obligation.fields)
        if kind in rows:
            rows[kind].estimated += one.estimated
    _name_permits(unit, site, asked, rows.values())
    _name_transponders(unit, site, asked, rows, by_name)
    asked_of, missing = _concerned(unit, site, asked)
    return PeriodicReturn(
        asked=asked, rows=sorted(rows.values(), key=_order), asked_of=asked_of, missing=missing, unsure=unsure, names=names(unit)
    )


def _pseudo(line: Line, facts: TaxonFacts) -> Subject:
    """Return animals of a line as the law asks for them; a statement does not tell animals apart by their origin."""
    return Subject(id=line.taxon_id, tag="", taxon=facts, site_id=line.site_id, sex=line.sex, life_stage=line.life_stage)


def _kind(line: Line, facts: TaxonFacts, fields: Iterable[str]) -> Kind:
    wanted = frozenset(fields)
    sex = line.sex if "sex" in wanted else None
    return Kind(facts.id, line.life_stage is LifeStage.EGG, sex, line.life_stage if "life_stage" in wanted else None)


def _order(row: ReturnRow) -> tuple[str, UUID, bool, str, str]:
    return (row.taxon.name, row.taxon.id, row.kind.are_eggs, row.kind.life_stage or "", row.kind.sex or "")


def _name_permits(unit: Unit, site: Site, asked: Asked, rows: Iterable[ReturnRow]) -> None:
    """Say for each row which permits were good for such animals at the site on a day of the period, by number."""
    law, there = law_as_of(unit), Chronicle(unit, from_on=asked.from_on, until_on=asked.until_on).at_site(site.id)
    places = law.chain(site.jurisdiction) if site.jurisdiction is not None else ()
    granted = (one for one in permits_of(unit) if one.jurisdiction in places and (not one.site_ids or site.id in one.site_ids))
    good = [one for one in granted if _is_good_within(one, law, asked)]
    for row in rows:
        animals = there.get(row.taxon.id, frozenset())
        numbers = (one.number_text for one in good if _is_for(one, row.taxon, animals, asked.requirement.activities))
        row.permit_numbers = tuple(sorted(set(numbers)))


def _is_good_within(permit: Permit, law: Law, asked: Asked) -> bool:
    kind = law.kinds.get(permit.kind)
    if kind is None or permit.valid_from > asked.until_on:
        return False
    last = valid_until(permit, kind, working=law.working_days(kind.jurisdiction))
    return last is None or last >= max(asked.from_on, permit.valid_from)


def _is_for(permit: Permit, taxon: TaxonFacts, animals: frozenset[UUID], activities: frozenset[Activity]) -> bool:
    if permit.activities and activities and permit.activities.isdisjoint(activities):
        return False
    if permit.animal_ids and permit.animal_ids.isdisjoint(animals):
        return False
    named = permit.taxa.union(*(one.taxa for one in permit.limits))
    return not named or not named.isdisjoint(taxon.names)


def _name_transponders(unit: Unit, site: Site, asked: Asked, rows: Mapping[Kind, ReturnRow], by_name: Mapping[UUID, UUID]) -> None:
    """Say for each taxon which transponders its animals bore at the end of the period, and how many single animals bore none.

    Where a rule tells animals apart by sex or stage as well, the codes of a taxon stand in its first row.
    """
    if "transponders" not in asked.obligation.fields:
        return
    first: dict[UUID, ReturnRow] = {}
    for row in sorted((row for row in rows.values() if not row.kind.are_eggs), key=_order):
        first.setdefault(row.taxon.id, row)
    bearing: defaultdict[UUID, list[str]] = defaultdict(list)
    bare: defaultdict[UUID, int] = defaultdict(int)
    for taxon_id, grouping, _, code in unit.rows(TRANSPONDERS_AT, on=asked.until_on, site_id=site.id):
        if code is not None:
            bearing[by_name.get(taxon_id, taxon_id)].append(code)
        elif grouping is Grouping.INDIVIDUAL:
            bare[by_name.get(taxon_id, taxon_id)] += 1
    for taxon_id, row in first.items():
        row.transponders, row.without = bearing[taxon_id], bare[taxon_id]


def _concerned(unit: Unit, site: Site, asked: Asked) -> tuple[int, frozenset[str]]:
    """Return how many animals at the site a requirement concerns on the last day, and what would have to be known of the others."""
    activities = asked.requirement.activities
    activity = Activity.HOLD if not activities or Activity.HOLD in activities else min(activities)
    collection = Collection(unit, from_on=asked.until_on, until_on=asked.until_on)
    number, missing = 0, frozenset[str]()
    for one in collection.standings(asked.until_on, activity=activity, site_ids=frozenset((site.id,))).coverages:
        for finding in one.decision.findings:
            if finding.requirement.code != asked.requirement.code or finding.bearing in (Bearing.EXEMPTED, Bearing.NOT_YET):
                continue
            number += 0 if finding.missing else one.subject.number
            missing |= finding.missing
    return number, missing
