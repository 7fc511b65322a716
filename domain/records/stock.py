"""Animals as they stood on a day, and what changed their numbers in a period, in SQL.

A line of stock is of one site, taxon, sex and stage of life. Between the ends of two days each of its animals is still there, came into it
or left it: by an event, by a move, or because its sex or stage is known to be another. What is summed up here by lines can be listed as
well, movement by movement, by the same conditions.

An animal that is a record of its own counts as one while it is here; only the number of a group has to be added up from its events.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.base import table_of
from domain.records.belonging import at_reached_sites
from domain.records.columns import UuidColumn
from domain.records.enclosures import Enclosure
from domain.records.holdings import CallName
from domain.records.intervals import holds_on
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.taxa import Taxon
from domain.rules.lives import COUNTING, GONE, EventKind, Grouping

animal, event, state, place, called = (table_of(one) for one in (Animal, AnimalEvent, AnimalState, Placement, CallName))

_Column = sa.ColumnElement[Any]
_Table = sa.FromClause
_GONE = [sa.literal(one.value, type_=sa.String()) for one in sorted(GONE)]
_COUNTING = [sa.literal(one.value, type_=sa.String()) for one in sorted(COUNTING)]
_GROUP = sa.literal(Grouping.GROUP.value, type_=sa.String())


def animals_on(day: _Column) -> sa.FromClause:
    """Return the animals that were in the collection's keeping at the end of a day, joined with their state, place and name on it."""
    own = _of_animal(state) & holds_on(AnimalState, day) & state.c.status.not_in(_GONE)
    there = _of_animal(place) & holds_on(Placement, day)
    so_called = _of_animal(called) & holds_on(CallName, day)
    return animal.join(state, own).outerjoin(place, there).outerjoin(called, so_called)


def shown_on(day: _Column) -> Mapping[str, _Column]:
    """Return what takes the place of columns of an animal's record in an answer about a day; to be selected from ``animals_on`` it."""
    return {
        "status": state.c.status,
        "sex": state.c.sex,
        "life_stage": state.c.life_stage,
        "enclosure_id": place.c.enclosure_id,
        "name": called.c.name,
        "count": number_on(day),
        "estimated": estimated_on(day),
    }


def number_on(day: _Column) -> sa.ColumnElement[int]:
    """Return how many animals a record held at the end of a day."""
    total = sa.func.coalesce(sa.func.sum(event.c.change), 0)
    return sa.cast(_events_until(day, total).scalar_subquery(), sa.Integer())


def estimated_on(day: _Column) -> sa.ColumnElement[bool]:
    """Return whether the number was estimated when a record was last counted by the end of a day."""
    last = _events_until(day, event.c.kind).where(event.c.kind.in_(_COUNTING))
    last = last.order_by(event.c.happened_on.desc(), event.c.created_at.desc(), event.c.id.desc()).limit(1)
    estimated = last.scalar_subquery() == sa.literal(EventKind.ESTIMATED.value, type_=sa.String())
    return sa.func.coalesce(estimated, sa.false(), type_=sa.Boolean())


def _events_until(day: _Column, *columns: _Column) -> sa.Select[Any]:
    kept = event.c.ended_on.is_(None)
    return sa.select(*columns).where(_of_animal(event), kept, event.c.happened_on <= day).correlate(animal)


def _of_animal(table: _Table) -> sa.ColumnElement[bool]:
    return sa.and_(table.c.organisation_id == animal.c.organisation_id, table.c.animal_id == animal.c.id)


class _DayBefore(FunctionElement[Any]):
    """The day before a day."""

    inherit_cache = True
    type = sa.Date()


@compiles(_DayBefore)
def _day_before_on_sqlite(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    return f"date({compiler.process(element.clauses, **rest)}, '-1 day')"


@compiles(_DayBefore, "postgresql")
def _day_before_on_postgresql(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    return f"({compiler.process(element.clauses, **rest)} - 1)"


class _DayAfter(FunctionElement[Any]):
    """The day after a day."""

    inherit_cache = True
    type = sa.Date()


@compiles(_DayAfter)
def _day_after_on_sqlite(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    return f"date({compiler.process(element.clauses, **rest)}, '+1 day')"


@compiles(_DayAfter, "postgresql")
def _day_after_on_postgresql(element: Any, compiler: Any, **rest: Any) -> str:  # noqa: ANN401 - SQLAlchemy's own
    return f"({compiler.process(element.clauses, **rest)} + 1)"


class Places(StrEnum):
    """How far lines tell places apart: not at all, site by site, or only the animals at one site, which is ``site_id``, are told of."""

    TOGETHER = "together"
    BY_SITE = "by_site"
    AT_ONE = "at_one"


class Happening(StrEnum):
    """What changes the numbers of lines, in the order in which it is reckoned within a day.

    Sex or stage is known to be another; animals come into a place, from another site or from none; they leave one and are in none; events.
    """

    TURNED = "turned"
    CAME = "came"
    LEFT = "left"
    EVENT = "event"


@dataclass(frozen=True, slots=True)
class _Happenings:
    """What happened in a period: where it is found, the lines that it is of, and how many animals it is about.

    ``record`` bears its id, ``sorted_by`` is the column of days by which it is found and ``on`` the day that it is of.
    """

    record: sa.Table
    source: sa.FromClause
    conditions: tuple[_Column, ...]
    sorted_by: _Column
    on: _Column
    begins: _Column
    lines: tuple[_Column, ...]
    number: _Column
    told_apart: tuple[_Column, ...] = ()
    """What is not summed up together either: more may have been counted on one day of the period and fewer on another."""


_day, _from_on, _until_on, _after_on = (sa.bindparam(name, type_=sa.Date()) for name in ("as_of", "from_on", "until_on", "after_on"))
_site_id, _after_id = (sa.bindparam(name, type_=UuidColumn()) for name in ("site_id", "after_id"))
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_nowhere = sa.literal_column("NULL", UuidColumn())
_enclosure, _site, _taxon = (table_of(one) for one in (Enclosure, Site, Taxon))


@cache
def census(places: Places) -> Statement:
    """Return the stock at the end of the day ``as_of``: site, taxon, sex, stage, status, how many animals, and in how many records."""
    source = _placed(state.join(animal, _animal_of(state)), state, on=_day, places=places)
    number = _number(state, here=state.c.status.not_in(_GONE), until=event.c.happened_on <= _day)
    here = (_kept(state), _holds(state, _day), state.c.status.not_in(_GONE))
    return _summed((*_lines(places), state.c.status), source, here, number, sa.func.count().label("records"))


@cache
def estimates(places: Places) -> Statement:
    """Return how much of the stock of the day ``as_of`` is an estimate: site, taxon, sex, stage, status, how many animals."""
    joined = animal.join(state, _of_animal(state) & _holds(state, _day) & state.c.status.not_in(_GONE))
    own = (animal.c.organisation_id == _organisation_id, animal.c.grouping == _GROUP, estimated_on(_day))
    return _summed((*_lines(places), state.c.status), _placed(joined, state, on=_day, places=places), own, number_on(_day))


@cache
def specimens(places: Places, *, within_reach: bool) -> Statement:
    """Return the records whose animals are the stock of the day ``as_of``, at most ``limit``, in order of their ids, after ``after_id``.

    With ``within_reach`` only those at the sites of ``reach_site_ids``, a list of ids as text, are told of.
    """
    there = animals_on(_day).outerjoin(_enclosure, _at(place, _enclosure))
    at_site = sa.and_(_site.c.organisation_id == _enclosure.c.organisation_id, _site.c.id == _enclosure.c.site_id)
    of_taxon = sa.and_(_taxon.c.organisation_id == animal.c.organisation_id, _taxon.c.id == animal.c.taxon_id)
    shown = shown_on(_day)
    chosen = sa.select(
        animal.c.id,
        animal.c.tag,
        shown["name"].label("name"),
        *(_taxon.c[name] for name in ("scientific_name", "name_authorship", "rank", "common_name")),
        *(shown[name].label(name) for name in ("count", "sex", "life_stage", "status")),
        _site.c.id.label("site_id"),
        _site.c.name.label("site"),
    ).select_from(there.outerjoin(_site, at_site).join(_taxon, of_taxon))
    conditions = [animal.c.organisation_id == _organisation_id, animal.c.id > _after_id]
    conditions += [_enclosure.c.site_id == _site_id] if places is Places.AT_ONE else []
    conditions += [at_reached_sites(Enclosure)] if within_reach else []
    return Statement(chosen.where(*conditions).order_by(animal.c.id).limit(sa.bindparam("limit")))


@cache
def sums(happening: Happening, places: Places) -> Statement:
    """Return by how much what happened from ``from_on`` to ``until_on`` changed each line.

    Of events: site, taxon, sex and stage at the end of the event's day, kind, whether it is more, change. Where sex or stage turned: site
    and taxon, sex and stage before and since, number. Of moves: site before and since, taxon, sex, stage, number.
    """
    found = _FOUND[happening](places)
    return _summed((*found.lines, *found.told_apart), found.source, (*found.conditions, found.begins), found.number)


@cache
def listed(happening: Happening, places: Places) -> Statement:
    """Return what happened one by one, at most ``limit``, by day and id, beginning after ``after_id`` on ``after_on``.

    The day, the id of the event, placement or state, the animal's id and tag, and then what ``sums`` has.
    """
    found = _FOUND[happening](places)
    after_on = _DayBefore(_after_on) if found.on is not found.sorted_by else _after_on
    goes_on = sa.or_(found.sorted_by > after_on, sa.and_(found.sorted_by == after_on, found.record.c.id > _after_id))
    about = (found.on.label("on"), found.record.c.id.label("id"), animal.c.id.label("animal_id"), animal.c.tag)
    chosen = sa.select(*about, *found.lines, found.number.label("number")).select_from(found.source)
    chosen = chosen.where(*found.conditions, found.begins, found.sorted_by >= after_on, goes_on)
    return Statement(chosen.order_by(found.sorted_by, found.record.c.id).limit(sa.bindparam("limit")))


def _summed(
    lines: tuple[_Column, ...], source: sa.FromClause, conditions: tuple[_Column, ...], number: _Column, *more: _Column
) -> Statement:
    told_apart = [one for one in lines if getattr(one, "element", one) is not _nowhere]
    chosen = sa.select(*lines, sa.func.sum(number).label("number"), *more).select_from(source).where(*conditions)
    return Statement(chosen.group_by(*told_apart))


def _events(places: Places) -> _Happenings:
    """Events that changed a number, by the line that the animals were in at the end of the event's day."""
    on = event.c.happened_on
    then = _same_animal(state, event) & _holds(state, on)
    return _Happenings(
        record=event,
        source=_placed(event.join(animal, _animal_of(event)).join(state, then), event, on=on, places=places),
        conditions=(_kept(event), event.c.change != 0),
        sorted_by=on,
        on=on,
        begins=on.between(_from_on, _until_on),
        lines=(*_lines(places), event.c.kind),
        number=event.c.change,
        told_apart=((event.c.change > sa.literal_column("0")).label("is_more"),),
    )


def _turns(places: Places) -> _Happenings:
    """Whose sex or stage became another: the line before, the line since, and how many animals at the place of before."""
    before, on = state.alias("before"), state.c.from_on
    eve = _DayBefore(on)
    adjacent = sa.and_(_same_animal(before, state), before.c.ended_on.is_(None), before.c.from_on < on, before.c.until_on == eve)
    site, taxon, sex, stage = _lines(places)
    # Where they were is looked up and not begun with: most animals at a site have not turned.
    wide = Places.BY_SITE if places is Places.AT_ONE else places
    return _Happenings(
        record=state,
        source=_placed(state.join(before, adjacent).join(animal, _animal_of(state)), state, on=eve, places=wide),
        conditions=(
            _kept(state),
            sa.or_(before.c.sex != state.c.sex, before.c.life_stage != state.c.life_stage),
            *((_enclosure.c.site_id.is_not_distinct_from(_site_id),) if places is Places.AT_ONE else ()),
        ),
        sorted_by=on,
        on=on,
        begins=on.between(_from_on, _until_on),
        lines=(site, taxon, before.c.sex.label("sex_before"), before.c.life_stage.label("stage_before"), sex, stage),
        number=_number(state, here=before.c.status.not_in(_GONE), until=event.c.happened_on < on),
    )


def _arrivals(places: Places) -> _Happenings:
    """Who came to a site: the site of the day before, or none, the site since, and how many animals."""
    before, enclosure_before = place.alias("before"), _enclosure.alias("enclosure_before")
    eve = _DayBefore(place.c.from_on)
    adjacent = sa.and_(
        _same_animal(before, place), before.c.ended_on.is_(None), before.c.from_on < place.c.from_on, before.c.until_on == eve
    )
    found = place.outerjoin(before, adjacent).outerjoin(enclosure_before, _at(before, enclosure_before))
    return _moves(
        found.join(_enclosure, _at(place, _enclosure)),
        (enclosure_before.c.site_id, _enclosure.c.site_id),
        sorted_by=place.c.from_on,
        on=place.c.from_on,
        begins=place.c.from_on.between(_from_on, _until_on),
        places=places,
    )


def _leavings(places: Places) -> _Happenings:
    """Who was in no place any more on the day after a placement, with the site that it was at."""
    after, on = place.alias("after"), _DayAfter(place.c.until_on)
    followed = sa.exists().where(_same_animal(after, place), after.c.ended_on.is_(None), after.c.from_on == on)
    begins = sa.and_(place.c.until_on.between(_DayBefore(_from_on), _DayBefore(_until_on)), ~followed)
    return _moves(
        place.join(_enclosure, _at(place, _enclosure)),
        (_enclosure.c.site_id, _nowhere),
        sorted_by=place.c.until_on,
        on=on,
        begins=begins,
        places=places,
    )


def _moves(
    placed: sa.FromClause, sites: tuple[_Column, _Column], *, sorted_by: _Column, on: _Column, begins: _Column, places: Places
) -> _Happenings:
    before, since = sites
    then = _same_animal(state, place) & _holds(state, on)
    # What has been in one state since before the day was here on its eve as well, or is gone.
    number = _number(place, here=state.c.status.not_in(_GONE), until=event.c.happened_on < on, known=state.c.from_on < on)
    return _Happenings(
        record=place,
        source=placed.join(animal, _animal_of(place)).join(state, then),
        conditions=(
            _kept(place),
            before.is_distinct_from(since),
            *((sa.or_(before == _site_id, since == _site_id),) if places is Places.AT_ONE else ()),
        ),
        sorted_by=sorted_by,
        on=on,
        begins=begins,
        lines=(before.label("site_before"), since.label("site_since"), animal.c.taxon_id, state.c.sex, state.c.life_stage),
        number=number,
    )


_FOUND = {Happening.TURNED: _turns, Happening.CAME: _arrivals, Happening.LEFT: _leavings, Happening.EVENT: _events}


def _lines(places: Places) -> tuple[_Column, _Column, _Column, _Column]:
    site = _nowhere if places is Places.TOGETHER else _enclosure.c.site_id
    return (site.label("site_id"), animal.c.taxon_id, state.c.sex, state.c.life_stage)


def _placed(source: sa.FromClause, of: _Table, *, on: _Column, places: Places) -> sa.FromClause:
    """Return a source joined with the place of its animals at the end of a day; as it is where places are not told apart."""
    if places is Places.TOGETHER:
        return source
    there = _same_animal(place, of) & _holds(place, on)
    if places is Places.AT_ONE:
        return source.join(place, there).join(_enclosure, _at(place, _enclosure) & (_enclosure.c.site_id == _site_id))
    return source.outerjoin(place, there).outerjoin(_enclosure, _at(place, _enclosure))


def _number(table: _Table, *, here: _Column, until: _Column, known: _Column | None = None) -> _Column:
    """Return how many animals a record held: one or none where it is one animal and ``here`` is ``known`` to say so, else by its events."""
    total = sa.select(sa.func.sum(event.c.change)).where(_same_animal(event, table), event.c.ended_on.is_(None), until)
    by_events = sa.func.coalesce(total.correlate(table).scalar_subquery(), 0)
    single = animal.c.grouping != _GROUP
    whether = sa.case((here, sa.literal_column("1")), else_=sa.literal_column("0"))
    return sa.cast(sa.case((single if known is None else sa.and_(single, known), whether), else_=by_events), sa.Integer())


def _same_animal(table: _Table, of: _Table) -> sa.ColumnElement[bool]:
    return sa.and_(table.c.organisation_id == of.c.organisation_id, table.c.animal_id == of.c.animal_id)


def _animal_of(table: _Table) -> sa.ColumnElement[bool]:
    return sa.and_(animal.c.organisation_id == table.c.organisation_id, animal.c.id == table.c.animal_id)


def _at(place_: _Table, enclosure: _Table) -> sa.ColumnElement[bool]:
    return sa.and_(enclosure.c.organisation_id == place_.c.organisation_id, enclosure.c.id == place_.c.enclosure_id)


def _kept(table: _Table) -> sa.ColumnElement[bool]:
    return sa.and_(table.c.organisation_id == _organisation_id, table.c.ended_on.is_(None))


def _holds(table: _Table, day: _Column) -> sa.ColumnElement[bool]:
    open_or_later = sa.or_(table.c.until_on.is_(None), table.c.until_on >= day)
    return sa.and_(table.c.ended_on.is_(None), table.c.from_on <= day, open_or_later)
