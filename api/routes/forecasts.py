"""An item's forecast, and everything that is due."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from api.answers import encode
from api.bodies import forecasts as bodies
from api.context import Call, computed, origin_of
from api.doors import Door
from api.errors import Answer
from api.nightly import SITES
from api.nouns import id_parameter
from api.pages import cursor_in, cursor_text, link_to_next, list_of, refuse_foreign
from api.printing import due_csv, item_json, outlook_json
from api.query import CURSOR, LARGEST_PAGE, USUAL_PAGE, one_of, read_day, read_id, read_limit
from domain.actions.due_list import SOON_DAYS, DueItem, due_list, item_forecast, judge_site
from domain.actions.sites import today_at
from domain.records.columns import DAY_SCHEMA
from domain.records.equipment import Equipment, EquipmentKind
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.service_life import Standing

NO_DATE = date(9999, 12, 31)


@dataclass(frozen=True, slots=True)
class _Cursor:
    """The item that a page goes on after, by the date it stands under. ``of`` binds it to the list that it came from."""

    of: str
    on: date
    id: UUID


async def get_forecast(call: Call) -> Answer:
    """Answer with one item's forecast."""
    return await computed(call, _forecast)


async def list_replacements(call: Call) -> Answer:
    """Answer with what is due, page by page, or all of it as CSV."""
    return await computed(call, _replacements)


def _forecast(call: Call) -> Answer:
    with call.house.store.snapshot(origin_of(call)) as unit:
        item = unit.fetch_reached(Equipment, call.ids[0])
        today = call.query.get("as_of") or today_at(unit, unit.fetch(Site, item.site_id))
        return Answer(encode(_forecast_json(item_forecast(unit, item, today=today))))


def _forecast_json(item: DueItem) -> dict[str, Any]:
    rules = [_rule_json(asdict(rule)) for rule in item.forecast.rules]
    return {**outlook_json(item), "as_of": item.forecast.as_of, "rules": rules}


def _rule_json(rule: Mapping[str, Any]) -> dict[str, Any]:
    always = ("kind", "due_on", "sentence", "missing")
    used = {name: value for name, value in rule.items() if value is not None and name not in {*always, "short"}}
    return {**{name: rule[name] for name in always}, **used}


def _replacements(call: Call) -> Answer:
    asked = call.query
    after = asked.get("cursor")
    if after is not None:
        refuse_foreign(call, of=after.of)
    with call.house.store.snapshot(origin_of(call)) as unit:
        found = sorted(_due(unit, asked), key=lambda pair: _place_in_list(pair[1]))
    if asked.get("format") is bodies.ListFormat.CSV:
        return Answer(due_csv((site, item.forecast.as_of, item) for site, item in found), media=b"text/csv; charset=utf-8")
    rest = [pair for pair in found if after is None or _place_in_list(pair[1]) > (after.on, after.id.bytes)]
    limit = asked.get("limit", USUAL_PAGE)
    items = [{**item_json(item), "site_id": site.id} for site, item in rest[:limit]]
    if len(rest) <= limit:
        return Answer(encode({"items": items, "next": None}))
    last = rest[limit - 1][1]
    cursor = cursor_text(_Cursor(list_of(call), _place_in_list(last)[0], last.equipment_id))
    return Answer(encode({"items": items, "next": cursor}), headers=[link_to_next(call, cursor)])


def _due(unit: Unit, asked: Mapping[str, Any]) -> Iterator[tuple[Site, DueItem]]:
    for site in _sites(unit, asked.get("site_id")):
        today = asked.get("as_of") or today_at(unit, site)
        due_by = asked.get("due_by") or today + timedelta(days=SOON_DAYS)
        due = due_list(unit, site, judge_site(unit, site, today=today), ahead_days=(due_by - today).days)
        yield from ((site, item) for item in due.items if _is_asked_for(item, asked))


def _sites(unit: Unit, site_id: UUID | None) -> list[Site]:
    if site_id is None:
        return [site for site in unit.all(Site, SITES) if unit.origin.reach.covers(site.id)]
    return [unit.fetch_reached(Site, site_id)]


def _is_asked_for(item: DueItem, asked: Mapping[str, Any]) -> bool:
    return asked.get("kind") in (None, item.model.kind) and asked.get("standing") in (None, item.forecast.standing)


def _place_in_list(item: DueItem) -> tuple[date, bytes]:
    """Return where an item stands: by the date that it is due or planned for, those without a date last, then by id."""
    days = [day for day in (item.forecast.due_on, item.forecast.no_later_than, item.do_on) if day is not None]
    return (min(days, default=NO_DATE), item.equipment_id.bytes)


_AS_OF = {
    "name": "as_of",
    "in": "query",
    "required": False,
    "schema": DAY_SCHEMA,
    "description": "The day to judge by, with what is known now; today at the site where it is left out.",
}


def _query(name: str, schema: Mapping[str, Any], description: str) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "schema": schema, "description": description}


DOORS = (
    Door(
        method="GET",
        path="/v1/equipment/{equipment_id}/forecast",
        action="get_forecast",
        operation_id="get_forecast",
        summary="Get an item's forecast",
        tag="equipment",
        subject="equipment",
        answers=bodies.Forecast,
        reads=get_forecast,
        query={"as_of": read_day},
        parameters=[id_parameter("equipment_id"), _AS_OF],
    ),
    Door(
        method="GET",
        path="/v1/replacements",
        action="list_replacements",
        operation_id="list_replacements",
        summary="List what is due",
        tag="replacements",
        subject="replacement",
        answers=bodies.DueItemPage,
        reads=list_replacements,
        query={
            "site_id": read_id,
            "kind": one_of(EquipmentKind),
            "standing": one_of(Standing),
            "due_by": read_day,
            "as_of": read_day,
            "format": one_of(bodies.ListFormat),
            "limit": read_limit,
            "cursor": partial(cursor_in, kind=_Cursor),
        },
        parameters=[
            _query("site_id", {"type": "string", "format": "uuid"}, "Only this site."),
            _query("kind", {"type": "string", "enum": [one.value for one in EquipmentKind]}, "Only this kind of equipment."),
            _query("standing", {"type": "string", "enum": [one.value for one in Standing]}, "Only this standing."),
            _query(
                "due_by",
                DAY_SCHEMA,
                "Due by this day; 14 days ahead where it is left out. What cannot be dated is always there.",
            ),
            _AS_OF,
            _query("format", {"type": "string", "enum": ["json", "csv"], "default": "json"}, "CSV holds the whole list."),
            _query(
                "limit",
                {"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": USUAL_PAGE},
                "Items on a page.",
            ),
            _query("cursor", CURSOR, "The next of the page before, with the same other parameters."),
        ],
        headers=["Link"],
    ),
)
