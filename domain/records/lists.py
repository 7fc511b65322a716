"""What the doors read: one record, and a list of records page by page.

Every statement is built once for each combination of filters and kept. A page goes on after the last record of the page before it (its
key), never by counting, so that what is registered or ended in between neither repeats nor hides a record.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from functools import cache
from typing import Any

import sqlalchemy as sa

from domain.records.animals import Animal
from domain.records.base import Record, table_of
from domain.records.belonging import at_reached_sites
from domain.records.columns import UuidColumn
from domain.records.documents import Attachment, Document
from domain.records.enclosures import Enclosure
from domain.records.equipment import MEDIA_KINDS, Equipment, EquipmentModel
from domain.records.intervals import has_days, holds_on
from domain.records.organisations import ApiKey, KeyUse, Organisation
from domain.records.reminders import Reminder
from domain.records.statements import Statement
from domain.records.stock import animals_on, shown_on
from domain.records.taxa import Separation

_HIDDEN = frozenset({"organisation_id", "hours_per_day", "secret_sha256"})
_DAY = sa.bindparam("as_of", type_=sa.Date())
_OF_ATTACHMENT = frozenset({"subject", "subject_id"})
"""What documents are found by that stands with their attachments."""
_NO_PLACE_IN_THE_WALK = 2**31 - 1
"""Where an enclosure without a place in the walking order stands: after all that have one."""


class Period(StrEnum):
    """Which records a list holds: those kept, those ended, all, or those that existed on a day."""

    KEPT = "false"
    ENDED = "true"
    ANY = "any"
    ON_A_DAY = "as_of"


class Order(StrEnum):
    """What a list is sorted by: the order of registration, the way a keeper walks, or the day that something is due."""

    ID = "id"
    WALKING = "walking_order"
    DUE = "due_on"


def shown_columns(record: type[Record]) -> list[sa.Column[Any]]:
    """Return the columns that an answer shows: neither the organisation, nor forms for comparison, nor secrets."""
    return [column for column in table_of(record).columns if column.name not in _HIDDEN and not column.name.endswith("_key")]


def filter_column(record: type[Record], name: str) -> sa.Column[Any]:
    """Return the column that a filter compares: the form for comparison where there is one.

    Of equipment the kind is its model's, of animals the site is that of their enclosure. What is due by a day is due on it or before.

    Raises:
        KeyError: The record has no such column.
    """
    columns = table_of(record).columns
    if record is Document and name in _OF_ATTACHMENT:
        return table_of(Attachment).columns[name]
    if (record, name) == (Equipment, "kind"):
        return table_of(EquipmentModel).columns["kind"]
    if (record, name) == (Animal, "site_id"):
        return table_of(Enclosure).columns["site_id"]
    if name == "scientific_name":
        return columns["name_key"]
    if (record, name) == (Reminder, "due_by"):
        return columns["due_on"]
    return columns[f"{name}_key"] if f"{name}_key" in columns else columns[name]


@cache
def one(record: type[Record], *, within: str | None = None) -> Statement:
    """Return the statement for one record by ``id``, and by the id of what it belongs to where ``within`` names that column."""
    belongs = [] if within is None else [_equals(record, within, {})]
    chosen = sa.select(*shown_columns(record), *_beside(record))
    return Statement(chosen.where(_own(record), table_of(record).c.id == sa.bindparam("id"), *belongs))


@cache
def page(
    record: type[Record],
    *,
    filters: frozenset[str],
    period: Period,
    order: Order = Order.ID,
    goes_on: bool = False,
    at_sites: bool = False,
) -> Statement:
    """Return the statement for one page of a list, at most ``limit`` records.

    Where it goes on it needs ``after_id``, and ``after_rank`` where it is sorted by more; on a day ``as_of`` and ``as_of_end``, the instant
    at which that day ended. Animals are shown as they stood on that day; what is dated itself is what held on it. With ``at_sites`` it
    holds only what is at the sites of ``reach_site_ids``, a list of ids as text.
    """
    table = table_of(record)
    rank = _rank(record, order)
    of_day = shown_on(_DAY) if record is Animal and period is Period.ON_A_DAY else {}
    attached = filters & _OF_ATTACHMENT if record is Document else frozenset()
    conditions = [_own(record), *(_equals(record, name, of_day) for name in sorted(filters - attached)), *_existing(record, period)]
    conditions += [_is_attached(attached)] if attached else []
    conditions += [at_reached_sites(record)] if at_sites else []
    if goes_on:
        conditions.append(sa.tuple_(*rank, table.c.id) > sa.tuple_(*_last(order)) if rank else table.c.id > sa.bindparam("after_id"))
    columns = [of_day[column.name].label(column.name) if column.name in of_day else column for column in shown_columns(record)]
    chosen = sa.select(*columns, *_beside(record)).where(*conditions)
    chosen = chosen.select_from(animals_on(_DAY)) if of_day else chosen
    return Statement(chosen.order_by(*rank, table.c.id).limit(sa.bindparam("limit")))


def _beside(record: type[Record]) -> list[sa.ColumnElement[Any]]:
    """Return what an answer shows that stands in another table: of a key, when it was last used."""
    if record is not ApiKey:
        return []
    used, key = table_of(KeyUse), table_of(ApiKey)
    same = (used.c.organisation_id == key.c.organisation_id, used.c.key_id == key.c.id)
    return [sa.select(used.c.last_used_at).where(*same).correlate(key).scalar_subquery().label("last_used_at")]


def rank_of(row: Mapping[str, Any], order: Order) -> int:
    """Return the number that a row, as an answer shows it, is sorted by before its id; of a day its place in the calendar."""
    if order is Order.DUE:
        return date.fromisoformat(str(row["due_on"])).toordinal()
    walking_order: int | None = row.get("walking_order")
    return _NO_PLACE_IN_THE_WALK if walking_order is None else walking_order


def ranked(rank: int, order: Order) -> int | date:
    """Return what ``after_rank`` is given for a number of ``rank_of``.

    Raises:
        ValueError: There is no such day.
        OverflowError: There is no such day.
    """
    return date.fromordinal(rank) if order is Order.DUE else rank


def _own(record: type[Record]) -> sa.ColumnElement[bool]:
    return table_of(record).c.organisation_id == sa.bindparam("organisation_id")


def _rank(record: type[Record], order: Order) -> list[sa.ColumnElement[Any]]:
    if order is Order.WALKING:
        return [sa.func.coalesce(table_of(Enclosure).c.walking_order, _NO_PLACE_IN_THE_WALK)]
    return [table_of(record).c.due_on] if order is Order.DUE else []


_RANK_TYPES: Mapping[Order, sa.types.TypeEngine[Any]] = {Order.WALKING: sa.Integer(), Order.DUE: sa.Date()}


def _last(order: Order) -> list[sa.BindParameter[Any]]:
    own_type = table_of(Enclosure).c.id.type
    ranks = [sa.bindparam("after_rank", type_=_RANK_TYPES[order])] if order in _RANK_TYPES else []
    return [*ranks, sa.bindparam("after_id", type_=own_type)]


def _equals(record: type[Record], name: str, of_day: Mapping[str, sa.ColumnElement[Any]]) -> sa.ColumnElement[bool]:
    if (record, name) == (Equipment, "kind"):
        return table_of(Equipment).c.model_id.in_(_models_of_kind())
    if (record, name) == (Animal, "site_id"):
        return of_day.get("enclosure_id", table_of(Animal).c.enclosure_id).in_(_enclosures_of_site())
    if (record, name) == (Separation, "taxon_id"):
        # It keeps either taxon from the other, whichever of them it was stated for.
        either, of = table_of(Separation).c, sa.bindparam(name, type_=UuidColumn())
        return sa.or_(either.taxon_id == of, either.other_taxon_id == of)
    column = filter_column(record, name)
    if (record, name) == (Reminder, "due_by"):
        return column <= sa.bindparam(name, type_=column.type)
    return of_day.get(column.name, column) == sa.bindparam(name, type_=column.type)


def _is_attached(names: frozenset[str]) -> sa.ColumnElement[bool]:
    """Return the condition that a document has an attachment, not ended, in which these columns are as the parameters of their names."""
    attachment = table_of(Attachment)
    same = [attachment.c[name] == sa.bindparam(name, type_=attachment.c[name].type) for name in sorted(names)]
    found = sa.select(attachment.c.document_id).where(_own(Attachment), attachment.c.ended_on.is_(None), *same)
    return table_of(Document).c.id.in_(found)


def _models_of_kind() -> sa.Select[Any]:
    model = table_of(EquipmentModel)
    return sa.select(model.c.id).where(_own(EquipmentModel), model.c.kind == sa.bindparam("kind"))


def _existing(record: type[Record], period: Period) -> list[sa.ColumnElement[bool]]:
    table = table_of(record)
    if period is Period.ON_A_DAY and record is Animal:
        return []
    if period is Period.ON_A_DAY and has_days(record):
        return [holds_on(record, _DAY)]
    conditions: Mapping[Period, list[sa.ColumnElement[bool]]] = {
        Period.KEPT: [table.c.ended_on.is_(None)],
        Period.ENDED: [table.c.ended_on.is_not(None)],
        Period.ANY: [],
        Period.ON_A_DAY: [
            table.c.created_at < sa.bindparam("as_of_end"),
            sa.or_(table.c.ended_on.is_(None), table.c.ended_on > sa.bindparam("as_of")),
        ],
    }
    return conditions[period]


def _enclosures_of_site() -> sa.Select[Any]:
    enclosure = table_of(Enclosure)
    at_site = enclosure.c.site_id == sa.bindparam("site_id", type_=UuidColumn())
    return sa.select(enclosure.c.id).where(_own(Enclosure), at_site)


_organisation, _item, _model = (
    table_of(Organisation),
    table_of(Equipment),
    table_of(EquipmentModel),
)

OWN_ORGANISATION = Statement(sa.select(_organisation).where(_organisation.c.id == sa.bindparam("organisation_id")))

ENCLOSURES_OF_SYSTEM = Statement(
    sa.select(table_of(Enclosure).c.id)
    .where(
        _own(Enclosure),
        table_of(Enclosure).c.life_support_system_id == sa.bindparam("life_support_system_id"),
        table_of(Enclosure).c.ended_on.is_(None),
    )
    .order_by(table_of(Enclosure).c.id)
)

MEDIA_LOTS_OF_SYSTEM = Statement(
    sa.select(_item.c.id)
    .join(_model, sa.and_(_model.c.organisation_id == _item.c.organisation_id, _model.c.id == _item.c.model_id))
    .where(
        _own(Equipment),
        _item.c.life_support_system_id == sa.bindparam("life_support_system_id"),
        _item.c.ended_on.is_(None),
        _model.c.kind.in_([sa.literal(kind.value, type_=sa.String()) for kind in MEDIA_KINDS]),
    )
    .order_by(_item.c.id)
)
