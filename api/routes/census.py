"""The counted stock: as of a day, the statement of a period, every movement behind that, and the records as Darwin Core has them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import islice
from typing import Any
from uuid import UUID

from api.animal_papers import organisation_name
from api.answers import encode
from api.bodies import census as bodies
from api.bodies.forecasts import ListFormat
from api.context import Call, computed, origin_of
from api.doors import Door
from api.errors import Answer
from api.pages import cursor_in, cursor_text, link_to_next, list_of, refuse_foreign
from api.query import CURSOR, LARGEST_PAGE, USUAL_PAGE, Reader, fault_in, one_of, read_day, read_id, read_limit, refusal_of
from api.stock import (
    Asked,
    census_csv,
    census_json,
    census_lines,
    movement_json,
    specimen_json,
    specimens_csv,
    statement_csv,
    statement_json,
    statement_lines,
)
from domain.actions.census import Place, Scope, census, movements, names, specimens, statement, taxa_within, today_of
from domain.records.columns import DAY_SCHEMA
from domain.records.sites import Site
from domain.records.stock import Happening
from domain.records.taxa import Taxon
from domain.records.unit import Unit
from domain.rules.stock import LONGEST_YEARS, is_too_long

CSV = b"text/csv; charset=utf-8"


@dataclass(frozen=True, slots=True)
class _MovementCursor:
    """The movement that a page goes on after. ``of`` binds it to the list that it came from."""

    of: str
    on: date
    happening: Happening
    id: UUID


@dataclass(frozen=True, slots=True)
class _SpecimenCursor:
    """The record that a page goes on after, on the day that the first page was of."""

    of: str
    as_of: date
    id: UUID


async def get_census(call: Call) -> Answer:
    """Answer with the stock at the end of a day."""
    return await computed(call, _census)


async def get_stock_statement(call: Call) -> Answer:
    """Answer with what was there before a period, what came and went, and what was there at its end."""
    return await computed(call, _statement)


async def list_stock_movements(call: Call) -> Answer:
    """Answer with the movements behind a statement, page by page."""
    return await computed(call, _movements)


async def list_specimens(call: Call) -> Answer:
    """Answer with the records in the stock of a day as Darwin Core has them, page by page."""
    return await computed(call, _specimens)


def _census(call: Call) -> Answer:
    with call.house.store.snapshot(origin_of(call)) as unit:
        scope = _scope(unit, call.query)
        on = _day(unit, call.query, scope)
        found, known = census(unit, on=on, scope=scope), names(unit)
    if _is_csv(call):
        return Answer(census_csv(census_lines(found, on=on, names=known), on=on), media=CSV)
    return Answer(encode(census_json(found, on=on, asked=_asked(call), names=known)))


def _statement(call: Call) -> Answer:
    with call.house.store.snapshot(origin_of(call)) as unit:
        scope = _scope(unit, call.query)
        days = _period(unit, call.query, scope)
        found, known = statement(unit, **days, scope=scope), names(unit)
    if _is_csv(call):
        return Answer(statement_csv(statement_lines(found, **days, names=known), **days), media=CSV)
    return Answer(encode(statement_json(found, **days, asked=_asked(call), names=known)))


def _movements(call: Call) -> Answer:
    limit, after = call.query.get("limit", USUAL_PAGE), _after(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        scope = _scope(unit, call.query)
        gone_by = after and Place(after.on, after.happening, after.id)
        found = movements(unit, **_period(unit, call.query, scope), scope=scope, after=gone_by)
        rows, known = [*islice(found, limit + 1)], names(unit)
    items = [movement_json(one, names=known) for one in rows[:limit]]
    if len(rows) <= limit:
        return Answer(encode({"items": items, "next": None}))
    last = rows[limit - 1].place
    cursor = cursor_text(_MovementCursor(list_of(call), last.on, last.happening, last.id))
    return Answer(encode({"items": items, "next": cursor}), headers=[link_to_next(call, cursor)])


def _specimens(call: Call) -> Answer:
    limit, after = call.query.get("limit", USUAL_PAGE), _after(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        scope = _scope(unit, call.query)
        on = after.as_of if after else _day(unit, call.query, scope)
        rows = specimens(unit, on=on, scope=scope, after_id=after and after.id, limit=limit + 1)
        institution = organisation_name(unit)
    items = [specimen_json(one, on=on, institution=institution) for one in rows[:limit]]
    cursor = cursor_text(_SpecimenCursor(list_of(call), on, rows[limit - 1].animal_id)) if len(rows) > limit else None
    headers = [link_to_next(call, cursor)] if cursor else []
    if _is_csv(call):
        return Answer(specimens_csv(items), media=CSV, headers=headers)
    return Answer(encode({"as_of": on, "items": items, "next": cursor}), headers=headers)


def _scope(unit: Unit, asked: Mapping[str, Any]) -> Scope:
    """Return which stock is asked for.

    Raises:
        NotFound: There is no such site.
        NotAllowed: The caller does not reach the site.
        RuleBroken: There is no such taxon.
    """
    site_id: UUID | None = asked.get("site_id")
    taxon_id: UUID | None = asked.get("taxon_id")
    if site_id is not None:
        unit.fetch_reached(Site, site_id)
    if taxon_id is not None and unit.find(Taxon, taxon_id) is None:
        raise refusal_of(fault_in("taxon_id", "reference-unknown", "There is no such taxon."))
    taxon_ids = None if taxon_id is None else taxa_within(unit, taxon_id)
    return Scope(reached=unit.origin.reach.site_ids, site_id=site_id, taxon_ids=taxon_ids)


def _day(unit: Unit, asked: Mapping[str, Any], scope: Scope) -> date:
    """Return the day that is asked about, today where none is.

    Raises:
        RuleBroken: It has not come yet.
    """
    today = today_of(unit, scope)
    on: date = asked.get("as_of") or today
    _refuse_later_than(today, name="as_of", on=on)
    return on


def _period(unit: Unit, asked: Mapping[str, Any], scope: Scope) -> dict[str, date]:
    """Return the first and the last day of the period that is asked about, by their names.

    Raises:
        RuleBroken: A day is missing, the last comes before the first or has not come yet, or it is too long.
    """
    missing = [fault_in(name, "required", "Say which day.") for name in ("from_on", "until_on") if name not in asked]
    if missing:
        raise refusal_of(*missing)
    from_on, until_on = asked["from_on"], asked["until_on"]
    if until_on < from_on:
        raise refusal_of(fault_in("until_on", "not-together", "This should not be before from_on."))
    _refuse_later_than(today_of(unit, scope), name="until_on", on=until_on)
    if is_too_long(from_on, until_on):
        raise refusal_of(fault_in("from_on", "period-too-long", f"A period may be {LONGEST_YEARS} years long."))
    return {"from_on": from_on, "until_on": until_on}


def _refuse_later_than(today: date, *, name: str, on: date) -> None:
    if on > today:
        raise refusal_of(fault_in(name, "in-future", f"It is {today.isoformat()} there; this day has not come yet."))


def _asked(call: Call) -> Asked:
    return Asked(call.query.get("site_id"), call.query.get("taxon_id"))


def _is_csv(call: Call) -> bool:
    return call.query.get("form") is ListFormat.CSV


def _after(call: Call) -> Any:  # noqa: ANN401 - the cursor of either list
    """Return the cursor that the call goes on after, ``None`` on the first page.

    Raises:
        Malformed: It is another list's.
    """
    found = call.query.get("cursor")
    if found is not None:
        refuse_foreign(call, of=found.of)
    return found


_ID_SCHEMA = {"type": "string", "format": "uuid"}
_PARAMETERS: Mapping[str, tuple[Mapping[str, Any], str]] = {
    "as_of": (DAY_SCHEMA, "The day at whose end is counted, with what is known of it now; today where it is left out."),
    "from_on": (DAY_SCHEMA, "The first day of the period."),
    "until_on": (DAY_SCHEMA, f"The last day of the period: not before the first, not later than today, at most {LONGEST_YEARS} years."),
    "site_id": (_ID_SCHEMA, "Only this site."),
    "taxon_id": (_ID_SCHEMA, "Only this taxon, its synonyms, and those that lie in it."),
    "form": ({"type": "string", "enum": [one.value for one in ListFormat], "default": "json"}, "As JSON, or the lines as CSV."),
    "limit": ({"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": USUAL_PAGE}, "Items on a page."),
    "cursor": (CURSOR, "The next of the page before, with the same other parameters."),
}
_READERS: Mapping[str, Reader] = {
    **dict.fromkeys(("as_of", "from_on", "until_on"), read_day),
    **dict.fromkeys(("site_id", "taxon_id"), read_id),
    "form": one_of(ListFormat),
    "limit": read_limit,
}
_PERIOD = ("from_on", "until_on")


def _taking(*taken: str, **readers: Reader) -> dict[str, Any]:
    """Return what a door has of the parameters that it takes; ``readers`` are those of its own."""
    parameters = [
        {"name": name, "in": "query", "required": name in _PERIOD, "schema": _PARAMETERS[name][0], "description": _PARAMETERS[name][1]}
        for name in (*taken, *readers)
    ]
    return {"query": {**{name: _READERS[name] for name in taken}, **readers}, "parameters": parameters}


def _door(path: str, operation: str, summary: str, **rest: Any) -> Door:  # noqa: ANN401 - what a door is made of
    return Door(method="GET", path=path, action=operation, operation_id=operation, summary=summary, tag="census", subject="site", **rest)


DOORS = (
    _door(
        "/v1/census",
        "get_census",
        "Get the stock at the end of a day",
        answers=bodies.Census,
        reads=get_census,
        **_taking("as_of", "site_id", "taxon_id", "form"),
    ),
    _door(
        "/v1/census/statement",
        "get_stock_statement",
        "Get the stock statement of a period",
        answers=bodies.StockStatement,
        reads=get_stock_statement,
        **_taking(*_PERIOD, "site_id", "taxon_id", "form"),
    ),
    _door(
        "/v1/census/movements",
        "list_stock_movements",
        "List the movements behind a stock statement",
        answers=bodies.MovementPage,
        reads=list_stock_movements,
        headers=["Link"],
        **_taking(*_PERIOD, "site_id", "taxon_id", "limit", cursor=partial(cursor_in, kind=_MovementCursor)),
    ),
    _door(
        "/v1/census/specimens",
        "list_specimens",
        "List the records in the stock of a day as Darwin Core has them",
        answers=bodies.SpecimenPage,
        reads=list_specimens,
        headers=["Link"],
        **_taking("as_of", "site_id", "form", "limit", cursor=partial(cursor_in, kind=_SpecimenCursor)),
    ),
)
