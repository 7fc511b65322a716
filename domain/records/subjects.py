"""What the law asks to know of animals over a period: states, places, numbers, marks and sizes, one statement for each.

The period is given by ``from_on`` and ``until_on``. What held on no day of it is left out; measurements and events before it are kept, as
the latest ones count on its first day.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from domain.records.animals import Animal, AnimalEvent, AnimalState, Placement
from domain.records.base import table_of
from domain.records.enclosures import Enclosure
from domain.records.marks import Mark, MarkKind
from domain.records.measurements import Measurement
from domain.records.statements import Statement
from domain.records.taxa import Taxon
from domain.rules.lives import GONE, EventKind, Grouping

_animal, _state, _place, _enclosure, _event, _mark, _measurement, _taxon = (
    table_of(one) for one in (Animal, AnimalState, Placement, Enclosure, AnimalEvent, Mark, Measurement, Taxon)
)
_from_on, _until_on = (sa.bindparam(name, type_=sa.Date()) for name in ("from_on", "until_on"))
_GONE = [sa.literal(one.value, type_=sa.String()) for one in sorted(GONE)]
_LEAVES_AND_RETURNS = [sa.literal(one.value, type_=sa.String()) for one in (EventKind.DEPARTED, EventKind.RETURNED)]
_GROUP = sa.literal(Grouping.GROUP.value, type_=sa.String())
_NO_LASTING_MARKS = [sa.literal(MarkKind.PHOTOGRAPH.value, type_=sa.String())]
"""A photograph identifies an animal and marks it no more than it was."""


def _own(table: sa.Table) -> sa.ColumnElement[bool]:
    return table.c.organisation_id == sa.bindparam("organisation_id")


def _in_period(table: sa.Table) -> sa.ColumnElement[bool]:
    open_or_later = sa.or_(table.c.until_on.is_(None), table.c.until_on >= _from_on)
    return sa.and_(table.c.ended_on.is_(None), table.c.from_on <= _until_on, open_or_later)


def _of(table: sa.Table, other: sa.Table, column: str) -> sa.ColumnElement[bool]:
    return sa.and_(other.c.organisation_id == table.c.organisation_id, other.c.id == table.c[column])


def _whole(table: sa.Table, *columns: str, where: tuple[sa.ColumnElement[Any], ...]) -> Statement:
    return Statement(sa.select(*(table.c[name] for name in columns)).where(_own(table), *where))


ANIMALS_KNOWN = _whole(
    _animal,
    *("id", "tag", "taxon_id", "grouping", "origin", "hatched_on", "hatched_precision", "came_on"),
    where=(_animal.c.came_on <= _until_on,),
)
STATES = _whole(
    _state,
    *("animal_id", "from_on", "until_on", "sex", "life_stage"),
    where=(_in_period(_state), _state.c.status.not_in(_GONE)),
)
PLACES = Statement(
    sa.select(_place.c.animal_id, _place.c.from_on, _place.c.until_on, _enclosure.c.site_id)
    .join(_enclosure, _of(_place, _enclosure, "enclosure_id"))
    .where(_own(_place), _in_period(_place))
)
CHANGES = Statement(
    sa.select(_event.c.animal_id, _event.c.happened_on, _event.c.kind, _event.c.change, _event.c.other_animal_id, _event.c.basis)
    .join(_animal, _of(_event, _animal, "animal_id"))
    .where(
        _own(_event),
        sa.or_(_animal.c.grouping == _GROUP, _event.c.other_animal_id.is_not(None), _event.c.kind.in_(_LEAVES_AND_RETURNS)),
        _event.c.ended_on.is_(None),
        _event.c.happened_on <= _until_on,
        _event.c.change != 0,
    )
    .order_by(_event.c.happened_on, _event.c.created_at, _event.c.id)
)
"""What changed the number of groups, and of single animals what says that they have not simply been here since they came."""
MARKS = _whole(
    _mark,
    *("animal_id", "from_on", "until_on", "kind", "code"),
    where=(_in_period(_mark), _mark.c.kind.not_in(_NO_LASTING_MARKS)),
)
SIZES = Statement(
    sa.select(
        _measurement.c.animal_id,
        _measurement.c.kind,
        sa.func.coalesce(_measurement.c.mass_g, _measurement.c.length_mm).label("value"),
        _measurement.c.measured_on,
    )
    .join(_animal, _of(_measurement, _animal, "animal_id"))
    .where(
        _own(_measurement),
        _animal.c.grouping != _GROUP,
        _measurement.c.ended_on.is_(None),
        _measurement.c.measured_on <= _until_on,
    )
    .order_by(_measurement.c.measured_on, _measurement.c.id)
)
"""Of groups no size is taken: a mean says of none of them how large it is."""
SYNONYMS = _whole(_taxon, "scientific_name", "accepted_id", where=(_taxon.c.accepted_id.is_not(None),))
