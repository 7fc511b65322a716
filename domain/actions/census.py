"""Counting the stock: as of a day, with the records behind it, what came and went in a period, and every movement behind that."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.records.base import table_of
from domain.records.sites import Site
from domain.records.statements import Row, Statement
from domain.records.stock import Happening, Places, estimates, listed, sums
from domain.records.stock import census as census_of
from domain.records.stock import specimens as specimens_of
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.calendar import date_at_site
from domain.rules.lives import DAY, EventKind, LifeStage, Sex, Status
from domain.rules.stock import Account, Line, Passage, accounts_of, column_of
from domain.rules.taxonomy import TaxonRank

_taxon, _site = table_of(Taxon), table_of(Site)
NAMES_OF_TAXA = Statement(
    sa.select(_taxon.c.id, _taxon.c.scientific_name, _taxon.c.common_name, _taxon.c.rank).where(
        _taxon.c.organisation_id == sa.bindparam("organisation_id")
    )
)
NAMES_OF_SITES = Statement(sa.select(_site.c.id, _site.c.name).where(_site.c.organisation_id == sa.bindparam("organisation_id")))
ZONES = Statement(sa.select(_site.c.id, _site.c.zone).where(_site.c.organisation_id == sa.bindparam("organisation_id")))
PLACES_OF_TAXA = Statement(
    sa.select(_taxon.c.id, _taxon.c.parent_id, _taxon.c.accepted_id).where(_taxon.c.organisation_id == sa.bindparam("organisation_id"))
)
_FIRST, _LAST = UUID(int=0), UUID(int=2**128 - 1)
_FEWEST_AT_ONCE, _MOST_AT_ONCE = 256, 16_384


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Which stock is counted: of all sites that are reached (``None``: all), of one site, of some taxa (``None``: all)."""

    reached: frozenset[UUID] | None = None
    site_id: UUID | None = None
    taxon_ids: frozenset[UUID] | None = None

    @property
    def is_whole(self) -> bool:
        """Whether it is the whole organisation's, so that moves between its sites change nothing."""
        return self.site_id is None and self.reached is None

    @property
    def only_site(self) -> UUID | None:
        """The site that it is bound to, ``None`` where there may be several."""
        if self.site_id is None and self.reached is not None and len(self.reached) == 1:
            return next(iter(self.reached))
        return self.site_id

    def holds(self, line: Line) -> bool:
        """Return whether a line is part of it."""
        if self.taxon_ids is not None and line.taxon_id not in self.taxon_ids:
            return False
        return self.is_at(line.site_id)

    def is_at(self, site_id: UUID | None) -> bool:
        """Return whether what is at a site, or in no place, is part of it as far as places go."""
        if self.site_id is not None:
            return site_id == self.site_id
        return self.reached is None or site_id in self.reached


@dataclass(frozen=True, slots=True)
class Counted:
    """A line of a census: how many animals, in how many records, and whether they are present, away or missing.

    ``estimated`` is how many of them are in groups whose number was estimated when it was last looked at.
    """

    line: Line
    status: Status
    number: int
    records: int
    estimated: int = 0


@dataclass(frozen=True, slots=True)
class Specimen:
    """A record of a census: one animal or a group, what it is, how many there are, and the site where they are, if they are at one."""

    animal_id: UUID
    tag: str
    name: str | None
    scientific_name: str
    name_authorship: str | None
    rank: TaxonRank
    common_name: str | None
    number: int
    sex: Sex
    life_stage: LifeStage
    status: Status
    site_id: UUID | None
    site: str | None


@dataclass(frozen=True, slots=True)
class Entry:
    """A number as it is entered in a column of a statement, on one of its lines."""

    line: Line
    column: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where a movement stands among those of a period; they go on after it."""

    on: date
    happening: Happening
    id: UUID

    @property
    def order(self) -> tuple[date, int, bytes]:
        """What places are sorted by: the day, what is reckoned first within it, then the id."""
        return (self.on, _RANKS[self.happening], self.id.bytes)


@dataclass(frozen=True, slots=True)
class Movement:
    """How many animals of a record came to a line, left one, or went from one to another, and by what.

    ``place.id`` is the id of the event, of the placement that began or ended, or of the state since. ``event_kind`` is there for events.
    """

    place: Place
    animal_id: UUID
    tag: str
    number: int
    entries: tuple[Entry, ...]
    event_kind: EventKind | None = None


@dataclass(frozen=True, slots=True)
class TaxonNames:
    """What a taxon is called."""

    scientific_name: str
    common_name: str | None
    rank: str


@dataclass(frozen=True, slots=True)
class Names:
    """What taxa and sites are called."""

    taxa: Mapping[UUID, TaxonNames]
    sites: Mapping[UUID, str]


_RANKS = {one: rank for rank, one in enumerate(Happening)}


def census(unit: Unit, *, on: date, scope: Scope) -> list[Counted]:
    """Return the stock at the end of a day, line by line."""
    places = Places.AT_ONE if scope.only_site else Places.BY_SITE
    at = {"as_of": on, "site_id": scope.only_site}
    estimated = {(_line(*row[:4]), row[4]): row[5] for row in unit.rows(estimates(places), **at)}
    counted = _counted(unit, places, **at)
    return [
        Counted(one.line, one.status, one.number, one.records, estimated.get((one.line, one.status), 0))
        for one in counted
        if scope.holds(one.line)
    ]


def specimens(unit: Unit, *, on: date, scope: Scope, after_id: UUID | None, limit: int) -> list[Specimen]:
    """Return the records behind the stock at the end of a day, at most ``limit``, in order of their ids, after one of them.

    ``taxon_ids`` of the scope are not looked at.
    """
    statement_ = specimens_of(Places.AT_ONE if scope.site_id else Places.BY_SITE, within_reach=scope.reached is not None)
    reached = sorted(str(site_id) for site_id in scope.reached or ())
    at = {"as_of": on, "site_id": scope.site_id, "reach_site_ids": reached}
    return [Specimen(*row) for row in unit.rows(statement_, **at, after_id=after_id or _FIRST, limit=limit)]


def today_of(unit: Unit, scope: Scope) -> date:
    """Return the date that it is at the sites of a scope: the latest where they differ, and that of UTC where there is none."""
    dates = [date_at_site(unit.origin.at, zone) for site_id, zone in unit.rows(ZONES) if scope.is_at(site_id)]
    return max(dates, default=unit.origin.at.date())


def statement(unit: Unit, *, from_on: date, until_on: date, scope: Scope) -> dict[Line, Account]:
    """Return what was there before ``from_on``, what came and went until ``until_on``, both days included, and what was there then.

    Of the whole organisation animals are told apart by site only where it matters: a move between its own sites is none there.
    """
    places = _places(scope)
    days = {"from_on": from_on, "until_on": until_on, "site_id": scope.only_site}
    before, after = (_counted(unit, places, as_of=day, site_id=scope.only_site) for day in (from_on - DAY, until_on))
    found = accounts_of(
        opening=[(one.line, one.number) for one in before],
        closing=[(one.line, one.number) for one in after],
        events=[(_line(*row[:4]), row[4], row[6]) for row in unit.rows(sums(Happening.EVENT, places), **days)],
        passages=[
            _passage(one, row)
            for one in _happenings(scope)
            if one is not Happening.EVENT
            for row in unit.rows(sums(one, places), **days)
            if row[-1]
        ],
    )
    return {line: account for line, account in found.items() if scope.holds(line)}


def movements(unit: Unit, *, from_on: date, until_on: date, scope: Scope, after: Place | None = None) -> Iterator[Movement]:
    """Yield every movement behind a statement, in order; the sums of their numbers by line and column are the statement's.

    They are read as they are asked for, so that whoever wants the first page reads no more.
    """
    days = {"from_on": from_on, "until_on": until_on, "site_id": scope.only_site}
    each = [_of_kind(unit, one, scope, days, after=after) for one in _happenings(scope)]
    yield from heapq.merge(*each, key=lambda movement: movement.place.order)


def names(unit: Unit) -> Names:
    """Return what taxa and sites are called."""
    taxa = {row[0]: TaxonNames(*row[1:]) for row in unit.rows(NAMES_OF_TAXA)}
    return Names(taxa, {row[0]: row[1] for row in unit.rows(NAMES_OF_SITES)})


def taxa_within(unit: Unit, taxon_id: UUID) -> frozenset[UUID]:
    """Return all names of a taxon and of the taxa that lie in it."""
    below: dict[UUID, list[UUID]] = {}
    accepted: dict[UUID, UUID] = {}
    for own_id, parent_id, accepted_id in unit.rows(PLACES_OF_TAXA):
        above = accepted_id or parent_id
        if above is not None:
            below.setdefault(above, []).append(own_id)
        if accepted_id is not None:
            accepted[own_id] = accepted_id
    while taxon_id in accepted:
        taxon_id = accepted[taxon_id]
    found, waiting = set[UUID](), [taxon_id]
    while waiting:
        here = waiting.pop()
        if here not in found:
            found.add(here)
            waiting += below.get(here, ())
    return frozenset(found)


def _places(scope: Scope) -> Places:
    if scope.is_whole:
        return Places.TOGETHER
    return Places.BY_SITE if scope.only_site is None else Places.AT_ONE


def _happenings(scope: Scope) -> Sequence[Happening]:
    """Return what changes the lines of a scope: moves between sites do not where the whole organisation is counted."""
    return (Happening.TURNED, Happening.EVENT) if scope.is_whole else tuple(Happening)


def _counted(unit: Unit, places: Places, **at: Any) -> list[Counted]:  # noqa: ANN401 - a date and an id
    rows: Sequence[Any] = unit.rows(census_of(places), **at)
    return [Counted(_line(*row[:4]), row[4], row[5], row[6]) for row in rows]


def _line(site_id: UUID | None, taxon_id: UUID, sex: Sex, life_stage: LifeStage) -> Line:
    return Line(site_id, taxon_id, sex, life_stage)


def _passage(happening: Happening, row: Row) -> Passage:
    """Return a row of what turned or moved as the passage that it is."""
    if happening is Happening.TURNED:
        site_id, taxon_id, sex_before, stage_before, sex, life_stage, number = row
        lines = (_line(site_id, taxon_id, sex_before, stage_before), _line(site_id, taxon_id, sex, life_stage))
        return Passage(*lines, number, moved=False)
    before, since, taxon_id, sex, life_stage, number = row
    return Passage(_line(before, taxon_id, sex, life_stage), _line(since, taxon_id, sex, life_stage), number, moved=True)


def _of_kind(unit: Unit, happening: Happening, scope: Scope, days: Mapping[str, Any], *, after: Place | None) -> Iterator[Movement]:
    """Yield the movements of one kind that are within a scope, in order."""
    statement_ = listed(happening, _places(scope))
    after_on, after_id = _begin(happening, days["from_on"], after)
    at_once = _FEWEST_AT_ONCE
    while True:
        rows = unit.rows(statement_, **days, after_on=after_on, after_id=after_id, limit=at_once)
        for row in rows:
            found = _movement(happening, row)
            entries = tuple(one for one in found.entries if scope.holds(one.line))
            if found.number and entries:
                yield Movement(found.place, found.animal_id, found.tag, found.number, entries, found.event_kind)
        if len(rows) < at_once:
            return
        after_on, after_id = rows[-1][:2]
        at_once = min(4 * at_once, _MOST_AT_ONCE)


def _begin(happening: Happening, from_on: date, after: Place | None) -> tuple[date, UUID]:
    if after is None:
        return from_on, _FIRST
    if after.happening is happening:
        return after.on, after.id
    return after.on, _LAST if _RANKS[happening] < _RANKS[after.happening] else _FIRST


def _movement(happening: Happening, row: Row) -> Movement:
    on, record_id, animal_id, tag, *rest = row
    place = Place(on, happening, record_id)
    if happening is Happening.EVENT:
        *line, kind, change = rest
        return Movement(place, animal_id, tag, abs(change), (Entry(_line(*line), column_of(kind, change=change)),), kind)
    passage = _passage(happening, tuple(rest))
    entries = zip((passage.before, passage.since), passage.columns, strict=True)
    return Movement(place, animal_id, tag, passage.number, tuple(Entry(line, column) for line, column in entries))
