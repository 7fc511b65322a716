"""What is due at a site on a day: every item judged, the filter media lots kept apart, and what has to be ordered."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

import numpy as np
import sqlalchemy as sa

from domain.errors import Conflict
from domain.records.base import table_of
from domain.records.enclosures import Enclosure, LifeSupportSystem
from domain.records.equipment import MEDIA_KINDS, Equipment, EquipmentModel, Spare
from domain.records.outlooks import ALL_MODELS, ServiceBatch, item_batches, site_batches, system_media_batches
from domain.records.sites import Site
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.calendar import as_date_or_none
from domain.rules.forecast import Forecast, ItemWords, Need, Outlook, forecast, outlook
from domain.rules.media_lots import LotVisit, MediaLot, spaced_visits
from domain.rules.service_life import RULE_KINDS, RuleKind, Standing

SOON_DAYS = 14
"""How far the list looks ahead when nobody asks for more [days]."""

_item, _place, _system, _spare = table_of(Equipment), table_of(Enclosure), table_of(LifeSupportSystem), table_of(Spare)
_own_item = _item.c.organisation_id == sa.bindparam("organisation_id")
_in_place = sa.and_(_place.c.organisation_id == _item.c.organisation_id, _place.c.id == _item.c.enclosure_id)
_in_system = sa.and_(_system.c.organisation_id == _item.c.organisation_id, _system.c.id == _item.c.life_support_system_id)
_where_it_is = (
    sa.select(
        _item.c.id,
        _item.c.tag,
        _item.c.position,
        _place.c.name.label("enclosure"),
        _place.c.walking_order,
        _system.c.name.label("system"),
        _item.c.life_support_system_id,
    )
    .outerjoin(_place, _in_place)
    .outerjoin(_system, _in_system)
)
PLACES_AT_SITE = Statement(_where_it_is.where(_own_item, _item.c.site_id == sa.bindparam("site_id")))
PLACE_OF_ITEM = Statement(_where_it_is.where(_own_item, _item.c.id == sa.bindparam("equipment_id")))
SYSTEMS_AT_SITE = Statement(
    sa.select(_system).where(_system.c.organisation_id == sa.bindparam("organisation_id"), _system.c.site_id == sa.bindparam("site_id"))
)
SPARES_AT_SITE = Statement(
    sa.select(_spare)
    .where(
        _spare.c.organisation_id == sa.bindparam("organisation_id"),
        _spare.c.site_id == sa.bindparam("site_id"),
        _spare.c.ended_on.is_(None),
    )
    .order_by(_spare.c.shelf_key)
)
MEDIA_AT_SITE = Statement(
    sa.select(_item.c.id, _item.c.tag, _item.c.life_support_system_id).where(
        _own_item,
        _item.c.site_id == sa.bindparam("site_id"),
        _item.c.life_support_system_id.is_not(None),
    )
)


@dataclass(frozen=True, slots=True)
class DueItem:
    """An item on the list: where and what it is, its forecast, the day proposed for it, and what is on the shelf for it.

    ``because`` is the forecast's sentence and, where the day proposed is before the due date, why.
    """

    equipment_id: UUID
    tag: str
    place: str
    walking_order: int | None
    position: str | None
    model: EquipmentModel
    forecast: Forecast
    do_on: date | None
    conflict: str | None
    because: str
    spares: Sequence[Spare]

    @property
    def order_key(self) -> tuple[bool, int, str, str]:
        """The order in which a person walks: places with a walking order first, then by place and tag."""
        return (self.walking_order is None, self.walking_order or 0, self.place, self.tag)


@dataclass(frozen=True, slots=True)
class Order:
    """Parts of one model to be ordered; ``tags`` are the items they are for, ``order_by`` the earliest day that any of them asks for."""

    model: EquipmentModel
    quantity: int
    order_by: date | None
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JudgedItem:
    """An item's result of a night, as it is stored."""

    equipment_id: UUID
    standing: Standing
    binding: RuleKind | None
    due_on: date | None
    no_later_than: date | None
    do_on: date | None
    order_by: date | None
    conflict: str | None


@dataclass(frozen=True, slots=True)
class DueList:
    """A site's list on a day, in walking order, with the number of items in each standing and what is to be ordered."""

    site: Site
    today: date
    items: tuple[DueItem, ...]
    orders: tuple[Order, ...]
    counts: Mapping[Standing, int]


@dataclass(frozen=True, slots=True)
class JudgedSite:
    """Every item of a site judged on a day, batch by batch, and the visits proposed for filter media lots by item."""

    today: date
    batches: Sequence[tuple[ServiceBatch, Outlook]]
    visits: Mapping[UUID, LotVisit]


def judge_site(unit: Unit, site: Site, *, today: date) -> JudgedSite:
    """Judge every item in service at a site on ``today`` [date at the site]."""
    batches = [(batch, _seen(batch, today)) for batch in site_batches(unit, site.id, on=today)]
    return JudgedSite(today, batches, _media_visits(unit, site, batches, today=today))


def judged_items(judged: JudgedSite) -> Iterator[JudgedItem]:
    """Yield each item's result, as a night stores it."""
    for batch, view in judged.batches:
        standing_names = tuple(Standing)
        for i in range(len(batch.ids)):
            equipment_id = batch.id_of(i)
            standing = standing_names[int(view.standing[i])]
            first = as_date_or_none(view.first_due[i])
            known, visit = standing is not Standing.UNKNOWN, judged.visits.get(equipment_id)
            yield JudgedItem(
                equipment_id=equipment_id,
                standing=standing,
                binding=RULE_KINDS[int(view.binding[i])] if first else None,
                due_on=first if known else None,
                no_later_than=None if known else first,
                do_on=visit.do_on if visit else _day_for(first, judged.today),
                order_by=_order_by(as_date_or_none(view.replace_by[i]), visit, lead_days=batch.model_of(i).lead_days),
                conflict=visit.conflict if visit else None,
            )


def due_list(unit: Unit, site: Site, judged: JudgedSite, *, ahead_days: int = SOON_DAYS) -> DueList:
    """Return what is due at the site within ``ahead_days``, everything overdue, everything that cannot be dated, and what to order."""
    horizon = judged.today + timedelta(days=ahead_days)
    places = {row["id"]: row for row in unit.named(PLACES_AT_SITE, site_id=site.id)}
    shelves = _shelves(unit, site)
    items = [
        _due_item(batch, view, i, places=places, shelves=shelves, visits=judged.visits)
        for batch, view in judged.batches
        for i in _listed(batch, view, judged.visits, horizon=horizon)
    ]
    on_list = [one for one in items if _is_listed(one, horizon)]
    ordered = tuple(sorted(on_list, key=lambda one: one.order_key))
    models = {one.id: one for one in unit.all(EquipmentModel, ALL_MODELS)}
    orders = tuple(_orders(items, shelves, models=models, horizon=horizon))
    return DueList(site, judged.today, ordered, orders, _counts(judged))


def every_item(unit: Unit, site: Site, judged: JudgedSite) -> tuple[DueItem, ...]:
    """Return every item in service at the site with its forecast, in walking order."""
    places = {row["id"]: row for row in unit.named(PLACES_AT_SITE, site_id=site.id)}
    shelves = _shelves(unit, site)
    items = [
        _due_item(batch, view, i, places=places, shelves=shelves, visits=judged.visits)
        for batch, view in judged.batches
        for i in range(len(batch.ids))
    ]
    return tuple(sorted(items, key=lambda one: one.order_key))


def item_forecast(unit: Unit, item: Equipment, *, today: date) -> DueItem:
    """Return one item's forecast on ``today``, with the day proposed for it.

    Raises:
        Conflict: The item had ended by then; an item that is gone has no outlook.
    """
    if item.ended_on is not None and item.ended_on <= today:
        raise Conflict(f"This item ended on {item.ended_on.isoformat()}: {item.end_reason}. Ask as of a day before.", code="ended")
    batch = next(item_batches(unit, item.id))
    view = _seen(batch, today)
    system_id = item.life_support_system_id
    visits: Mapping[UUID, LotVisit] = {}
    if system_id is not None and item.ended_on is None and batch.model_of(0).kind in MEDIA_KINDS:
        media = [(one, _seen(one, today)) for one in system_media_batches(unit, system_id, on=today)]
        visits = _media_visits(unit, unit.fetch(Site, item.site_id), media, today=today)
    places = {row["id"]: row for row in unit.named(PLACE_OF_ITEM, equipment_id=item.id)}
    return _due_item(batch, view, 0, places=places, shelves=_shelves(unit, unit.fetch(Site, item.site_id)), visits=visits)


def _seen(batch: ServiceBatch, today: date) -> Outlook:
    return outlook(batch.facts, today=today, warn_days=batch.warn_days)


def _media_visits(unit: Unit, site: Site, batches: Iterable[tuple[ServiceBatch, Outlook]], *, today: date) -> dict[UUID, LotVisit]:
    hung_on = {row["id"]: row for row in unit.named(MEDIA_AT_SITE, site_id=site.id)}
    if not hung_on:
        return {}
    lots: dict[UUID, list[tuple[UUID, MediaLot]]] = defaultdict(list)
    changed: dict[UUID, date] = defaultdict(lambda: date.min)
    for batch, view in batches:
        media = np.array([one.kind in MEDIA_KINDS for one in batch.models])[batch.model]
        for i in np.flatnonzero(media):
            equipment_id = batch.id_of(int(i))
            if equipment_id not in hung_on:
                continue
            row = hung_on[equipment_id]
            system_id, due = row["life_support_system_id"], as_date_or_none(view.replace_by[i])
            changed[system_id] = max(changed[system_id], as_date_or_none(batch.facts.installed_on[i]) or date.min)
            if due is not None:
                lots[system_id].append((equipment_id, MediaLot(row["tag"], due)))
    systems = {one.id: one for one in unit.all(LifeSupportSystem, SYSTEMS_AT_SITE, site_id=site.id)}
    visits: dict[UUID, LotVisit] = {}
    for system_id, of_system in lots.items():
        by_tag = {lot.tag: equipment_id for equipment_id, lot in of_system}
        gap = systems[system_id].least_gap_days
        last = changed[system_id] if changed[system_id] > date.min else None
        for visit in spaced_visits([lot for _, lot in of_system], least_gap_days=gap, today=today, last_changed_on=last):
            visits[by_tag[visit.tag]] = visit
    return visits


def _listed(batch: ServiceBatch, view: Outlook, visits: Mapping[UUID, LotVisit], *, horizon: date) -> list[int]:
    """Return the rows worth wording: due or to be ordered by the horizon, unknown, or a lot with a visit by then."""
    limit = np.datetime64(horizon, "D")
    lead = np.array([one.lead_days or 0 for one in batch.models])[batch.model].astype("timedelta64[D]")
    unknown = view.standing == tuple(Standing).index(Standing.UNKNOWN)
    chosen = set(np.flatnonzero((view.first_due <= limit) | (view.replace_by - lead <= limit) | unknown).tolist())
    if visits:
        chosen |= {i for i in range(len(batch.ids)) if (visit := visits.get(batch.id_of(i))) and visit.do_on <= horizon}
    return sorted(chosen)


def _is_listed(item: DueItem, horizon: date) -> bool:
    days = (item.forecast.due_on, item.forecast.no_later_than, item.do_on)
    return item.forecast.standing is Standing.UNKNOWN or any(day is not None and day <= horizon for day in days)


def _due_item(
    batch: ServiceBatch,
    view: Outlook,
    i: int,
    *,
    places: Mapping[UUID, Mapping[str, object]],
    shelves: Mapping[UUID, Sequence[Spare]],
    visits: Mapping[UUID, LotVisit],
) -> DueItem:
    equipment_id, model = batch.id_of(i), batch.model_of(i)
    words = ItemWords(batch.schedule_of(i), model.output_unit or "")
    place, visit = places[equipment_id], visits.get(equipment_id)
    worded = _ordered_for(forecast(view, i, words=words, lead_days=model.lead_days), visit, lead_days=model.lead_days)
    walking_order = place["walking_order"]
    return DueItem(
        equipment_id=equipment_id,
        tag=str(place["tag"]),
        place=str(place["enclosure"] or place["system"] or ""),
        walking_order=walking_order if isinstance(walking_order, int) else None,
        position=str(place["position"]) if place["position"] else None,
        model=model,
        forecast=worded,
        do_on=visit.do_on if visit else _day_for(worded.due_on or worded.no_later_than, view.today),
        conflict=visit.conflict if visit else None,
        because=f"{worded.because} {visit.early}" if visit and visit.early else worded.because,
        spares=shelves.get(model.id, ()),
    )


def _ordered_for(worded: Forecast, visit: LotVisit | None, *, lead_days: int | None) -> Forecast:
    """Return the forecast with its order day moved along where the work itself is moved earlier."""
    if visit is None or worded.order_by is None or lead_days is None:
        return worded
    return replace(worded, order_by=_order_by(worded.order_by + timedelta(days=lead_days), visit, lead_days=lead_days))


def _order_by(part_by: date | None, visit: LotVisit | None, *, lead_days: int | None) -> date | None:
    """Return the day to order by: the lead time before the part is needed, which a visit may put earlier than the rules do."""
    if part_by is None or lead_days is None:
        return None
    needed = min(part_by, visit.do_on) if visit else part_by
    return needed - timedelta(days=lead_days)


def _day_for(due: date | None, today: date) -> date | None:
    return max(due, today) if due else None


def _shelves(unit: Unit, site: Site) -> dict[UUID, list[Spare]]:
    shelves: dict[UUID, list[Spare]] = defaultdict(list)
    for spare in unit.all(Spare, SPARES_AT_SITE, site_id=site.id):
        shelves[spare.model_id].append(spare)
    return shelves


def _orders(
    items: Iterable[DueItem], shelves: Mapping[UUID, Sequence[Spare]], *, models: Mapping[UUID, EquipmentModel], horizon: date
) -> Iterator[Order]:
    """Yield what is to be ordered: what the items need beyond what is on hand, on order and not kept back, or a shelf below its mark."""
    wanted: dict[UUID, list[DueItem]] = defaultdict(list)
    for one in items:
        if _wants_part(one, horizon):
            wanted[one.model.id].append(one)
    asked = {*wanted, *shelves}
    orders = [order for one in asked if (order := _order_of(models[one], wanted.get(one, ()), shelves.get(one, ())))]
    yield from sorted(orders, key=lambda one: (one.model.supplier or "\uffff", one.order_by or date.max, one.model.name))


def _wants_part(item: DueItem, horizon: date) -> bool:
    part_due = [rule.due_on for rule in item.forecast.rules if rule.due_on and not (rule.kind is RuleKind.CHECK and rule.failed_on is None)]
    days = [*part_due, item.forecast.order_by, item.do_on if item.forecast.needs is Need.REPLACEMENT else None]
    return any(day is not None and day <= horizon for day in days)


def _order_of(model: EquipmentModel, wanted: Sequence[DueItem], shelves: Sequence[Spare]) -> Order | None:
    at_hand = sum(one.on_hand + one.on_order - one.reserved for one in shelves)
    first_served = sorted(wanted, key=lambda one: (one.forecast.order_by or date.max, one.do_on or date.max, one.tag))
    short = first_served[max(0, at_hand) :]
    to_mark = sum(one.reorder_point for one in shelves) - (at_hand - len(wanted))
    quantity = max(len(short), to_mark if shelves else 0)
    if quantity < 1:
        return None
    days = [one.forecast.order_by for one in short if one.forecast.order_by]
    return Order(model, quantity, min(days, default=None), tuple(one.tag for one in short))


def _counts(judged: JudgedSite) -> dict[Standing, int]:
    totals = np.zeros(len(Standing), dtype=np.int64)
    for _, view in judged.batches:
        totals += np.bincount(view.standing, minlength=len(Standing))
    return {standing: int(total) for standing, total in zip(Standing, totals, strict=True)}
