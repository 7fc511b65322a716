"""Whether what is done with the animals is covered, which permits are used for what, and what a requirement will change."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import islice
from re import fullmatch
from typing import Any
from uuid import UUID

from api.answers import encode
from api.bodies import compliance as bodies
from api.context import Call, computed, origin_of
from api.doors import Door
from api.errors import Answer
from api.nouns import id_parameter
from api.pages import cursor_in, cursor_text, link_to_next, list_of, refuse_foreign
from api.query import CURSOR, LARGEST_PAGE, USUAL_PAGE, Reader, fault_in, one_of, read_day, read_id, read_limit, refusal_of
from domain.actions.compliance import (
    LONGEST_PERIOD_DAYS,
    Collection,
    Destination,
    InUse,
    by_standing,
    coverage_over,
    order_of,
    permits_in_use,
    turns_with,
)
from domain.actions.law import requirement_of
from domain.actions.lives import today_of
from domain.actions.sites import today_at
from domain.errors import NotFound
from domain.records.animals import Animal
from domain.records.columns import DAY_SCHEMA
from domain.records.requirements import Requirement
from domain.records.sites import Site
from domain.records.unit import Unit
from domain.rules.compliance import Answer as Met
from domain.rules.compliance import Coverage, Heard, Standing
from domain.rules.law.decision import DISCLAIMER, Finding
from domain.rules.law.jurisdictions import CODE_LENGTH, CODE_PATTERN
from domain.rules.law.requirements import Activity

Shown = dict[str, Any]
HERE = bodies.Place.HERE


@dataclass(frozen=True, slots=True)
class _Cursor:
    """What a page goes on after in the order of the list, on the day that the first page was of; the animal there may have gone since."""

    of: str
    as_of: date
    after: tuple[date, str, UUID]


def _compliance(call: Call) -> Answer:
    after: _Cursor | None = call.query.get("cursor")
    if after is not None:
        refuse_foreign(call, of=after.of)
    limit, wanted, activity = call.query.get("limit", USUAL_PAGE), call.query.get("standing"), _activity(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        on = after.as_of if after else _day(unit, call.query)
        to, site_ids = _destination(unit, call.query), _sites(unit, call.query)
        found = Collection(unit, from_on=on, until_on=on).standings(on, activity=activity, site_ids=site_ids, to=to)
    chosen: Iterator[Coverage] = (one for one in found.coverages if wanted is None or one.standing is wanted)
    if after is not None:
        chosen = (one for one in chosen if order_of(one.subject) > after.after)
    rows = list(islice(chosen, limit + 1))
    cursor = cursor_text(_Cursor(list_of(call), on, order_of(rows[limit - 1].subject))) if len(rows) > limit else None
    shown = {
        "disclaimer": DISCLAIMER,
        "as_of": on,
        **_act(call),
        "counts": by_standing(found.coverages),
        "items": [_coverage(one) for one in rows[:limit]],
        "next": cursor,
    }
    return Answer(encode(shown), headers=[link_to_next(call, cursor)] if cursor else [])


def _of_animal(call: Call) -> Answer:
    activity = _activity(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        animal = unit.fetch_reached(Animal, call.ids[0])
        on: date = call.query.get("as_of") or today_of(unit, animal)
        found = Collection(unit, from_on=on, until_on=on).standings(on, activity=activity, to=_destination(unit, call.query))
    own = next((one for one in found.coverages if one.subject.id == animal.id), None)
    if own is None:
        raise NotFound(f"This animal was not in the collection's keeping on {on.isoformat()}.")
    return Answer(encode({"disclaimer": DISCLAIMER, "as_of": on, **_act(call), **_coverage(own)}))


def _period(call: Call) -> Answer:
    days, activity = _days(call.query), _activity(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        found = coverage_over(unit, **days, activity=activity, site_ids=_sites(unit, call.query))
    uncovered = sorted((one for one in found if one.days_uncovered), key=lambda one: (-one.days_uncovered, one.subject.tag, one.subject.id))
    items = [
        {
            "animal_id": one.subject.id,
            "tag": one.subject.tag,
            "scientific_name": one.subject.taxon.name,
            "days_uncovered": one.days_uncovered,
            "stretches": one.stretches,
        }
        for one in uncovered
    ]
    return Answer(encode({"disclaimer": DISCLAIMER, **days, "activity": activity, "animals": len(found), "items": items}))


def _permits(call: Call) -> Answer:
    activity = _activity(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        on = _day(unit, call.query)
        sites = _sites(unit, call.query)
        found = [one for one in permits_in_use(unit, on=on, activity=activity) if sites is None or one.permit.site_ids & sites]
    return Answer(encode({"disclaimer": DISCLAIMER, "as_of": on, "activity": activity, "items": [_in_use(one) for one in found]}))


def _turns(call: Call) -> Answer:
    activity = _activity(call)
    with call.house.store.snapshot(origin_of(call)) as unit:
        requirement = requirement_of(unit, unit.fetch(Requirement, call.ids[0]))
        sites = unit.origin.reach.site_ids
        found = [one for one in turns_with(unit, requirement, activity=activity) if sites is None or one.after.subject.site_id in sites]
    items = [
        {
            "animal_id": one.after.subject.id,
            "tag": one.after.subject.tag,
            "scientific_name": one.after.subject.taxon.name,
            "before": one.before.standing,
            "after": one.after.standing,
        }
        for one in found
    ]
    about = {"requirement": requirement.code, "edition": requirement.version, "applies_from": requirement.applies_from}
    return Answer(encode({"disclaimer": DISCLAIMER, **about, "items": items}))


def _coverage(one: Coverage) -> Shown:
    subject = one.subject
    places = list(zip(bodies.Place, one.places, strict=False))
    findings = [finding for place, heard in places for finding in _findings(heard, place=place)] or list(_findings(one, place=HERE))
    return {
        "animal_id": subject.id,
        "tag": subject.tag,
        "taxon_id": subject.taxon.id,
        "scientific_name": subject.taxon.name,
        "life_stage": subject.life_stage,
        "site_id": subject.site_id,
        "number": subject.number,
        "standing": one.standing,
        "outcome": one.decision.outcome,
        "missing": sorted(one.decision.missing),
        "needs_mark": one.needs_mark,
        "needs": [_met(answer) for answer in one.answers],
        "places": [_place(heard, place=place) for place, heard in places],
        "findings": findings,
    }


def _place(heard: Heard, *, place: bodies.Place) -> Shown:
    return {
        "place": place,
        "site_id": heard.premises.site_id,
        "jurisdictions": heard.premises.jurisdictions,
        "outcome": heard.decision.outcome,
        "missing": sorted(heard.decision.missing),
    }


def _findings(one: Heard | Coverage, *, place: bodies.Place) -> Iterator[Shown]:
    yield from (_finding(finding, place=place, override_id=None) for finding in one.decision.findings)
    yield from (_finding(finding, place=place, override_id=override_id) for finding, override_id in one.lifted)


def _met(answer: Met) -> Shown:
    return {"documents": answer.kinds, "permits": answer.shares, "uncovered": answer.uncovered, "lapses_on": answer.lapses_on}


def _finding(one: Finding, *, place: bodies.Place, override_id: UUID | None) -> Shown:
    rule = one.requirement
    return {
        "place": place,
        "requirement": rule.code,
        "edition": rule.version,
        "pack": rule.pack,
        "jurisdiction": rule.jurisdiction,
        "title": rule.title,
        "citation": rule.citation,
        "bearing": one.bearing,
        "documents": one.documents,
        "exemption": one.exemption,
        "conditions": one.conditions,
        "missing": sorted(one.missing),
        "used": one.used,
        "from_on": one.from_on,
        "override_id": override_id,
    }


def _in_use(one: InUse) -> Shown:
    return {
        "permit_id": one.permit.id,
        "number": one.permit.number_text,
        "kind": one.permit.kind,
        "good_until": one.good_until,
        "renew_by": one.renew_by,
        "taken": one.taken,
        "left": one.left,
        "expected": one.expected,
        "limits": [
            {"scientific_name": limit.name, "number": limit.number, "taken": limit.taken, "left": limit.left} for limit in one.limits
        ],
    }


def _activity(call: Call) -> Activity:
    found: Activity = call.query.get("activity", Activity.HOLD)
    return found


def _act(call: Call) -> Shown:
    """Return what is asked about: what is done, and where that leads."""
    return {"activity": _activity(call), **{name: call.query.get(name) for name in _DESTINATIONS}}


def _destination(unit: Unit, asked: Mapping[str, Any]) -> Destination | None:
    """Return where what is done leads, ``None`` where that is not said.

    Raises:
        RuleBroken: Both a site and a jurisdiction are said.
        NotFound: There is no such site.
        NotAllowed: The caller does not reach the site.
    """
    site_id, code = (asked.get(name) for name in _DESTINATIONS)
    if site_id is not None and code is not None:
        raise refusal_of(fault_in("jurisdiction", "not-together", "Say one of a site and a jurisdiction."))
    return code if site_id is None else unit.fetch_reached(Site, site_id).id


def _read_jurisdiction(text: str) -> str:
    """Return the code of a jurisdiction.

    Raises:
        ValueError: It is not written like one.
    """
    if len(text) > CODE_LENGTH or not fullmatch(CODE_PATTERN, text):
        raise ValueError("this should be the code of a jurisdiction")
    return text


def _sites(unit: Unit, asked: Mapping[str, Any]) -> frozenset[UUID] | None:
    """Return the sites that are asked about, ``None`` for all.

    Raises:
        NotFound: There is no such site.
        NotAllowed: The caller does not reach the site.
    """
    site_id: UUID | None = asked.get("site_id")
    if site_id is None:
        return unit.origin.reach.site_ids
    return frozenset((unit.fetch_reached(Site, site_id).id,))


def _day(unit: Unit, asked: Mapping[str, Any]) -> date:
    """Return the day that is asked about: today at the site, or in UTC where several are, where none is."""
    if "as_of" in asked:
        found: date = asked["as_of"]
        return found
    site_id: UUID | None = asked.get("site_id")
    return unit.origin.at.date() if site_id is None else today_at(unit, unit.fetch_reached(Site, site_id))


def _days(asked: Mapping[str, Any]) -> dict[str, date]:
    """Return the first and the last day of the period that is asked about, by their names.

    Raises:
        RuleBroken: A day is missing, the last comes before the first, or there are too many.
    """
    missing = [fault_in(name, "required", "Say which day.") for name in ("from_on", "until_on") if name not in asked]
    if missing:
        raise refusal_of(*missing)
    from_on, until_on = asked["from_on"], asked["until_on"]
    if until_on < from_on:
        raise refusal_of(fault_in("until_on", "not-together", "This should not be before from_on."))
    if (until_on - from_on).days >= LONGEST_PERIOD_DAYS:
        raise refusal_of(fault_in("from_on", "period-too-long", f"A period may have {LONGEST_PERIOD_DAYS} days."))
    return {"from_on": from_on, "until_on": until_on}


_DESTINATIONS = ("to_site_id", "jurisdiction")
_ID_SCHEMA = {"type": "string", "format": "uuid"}
_PARAMETERS: Mapping[str, tuple[Mapping[str, Any], str]] = {
    "as_of": (DAY_SCHEMA, "The day that is asked about, past or to come, by what is known now; today where it is left out."),
    "from_on": (DAY_SCHEMA, "The first day of the period."),
    "until_on": (DAY_SCHEMA, f"The last day of the period; it has at most {LONGEST_PERIOD_DAYS} days."),
    "site_id": (_ID_SCHEMA, "Only animals, or permits, at this site."),
    "activity": (
        {"type": "string", "enum": [one.value for one in Activity], "default": Activity.HOLD.value},
        "What is done, or planned, with the animals.",
    ),
    "to_site_id": (_ID_SCHEMA, "The site that what is done leads to: it is decided there as well as where the animals are."),
    "jurisdiction": (
        {"type": "string", "pattern": CODE_PATTERN, "maxLength": CODE_LENGTH},
        "Where what is done leads to, if not to one of the sites: it is decided there as well.",
    ),
    "standing": ({"type": "string", "enum": [one.value for one in Standing]}, "Only animals that stand so."),
    "limit": ({"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": USUAL_PAGE}, "Items on a page."),
    "cursor": (CURSOR, "The next of the page before, with the same other parameters."),
}
_READERS: Mapping[str, Reader] = {
    **dict.fromkeys(("as_of", "from_on", "until_on"), read_day),
    **dict.fromkeys(("site_id", "to_site_id"), read_id),
    "jurisdiction": _read_jurisdiction,
    "activity": one_of(Activity),
    "standing": one_of(Standing),
    "limit": read_limit,
    "cursor": partial(cursor_in, kind=_Cursor),
}
_PERIOD = ("from_on", "until_on")


def _door(path: str, operation: str, summary: str, act: Callable[[Call], Answer], *taken: str, **rest: Any) -> Door:  # noqa: ANN401 - of a door
    async def reads(call: Call) -> Answer:
        return await computed(call, act)

    parameters = [
        {"name": name, "in": "query", "required": name in _PERIOD, "schema": _PARAMETERS[name][0], "description": _PARAMETERS[name][1]}
        for name in taken
    ]
    ids = [id_parameter(part[1:-1]) for part in path.split("/") if part.startswith("{")]
    return Door(
        method="GET",
        path=path,
        action=operation,
        operation_id=operation,
        summary=summary,
        tag="compliance",
        reads=reads,
        query={name: _READERS[name] for name in taken},
        parameters=[*ids, *parameters],
        **rest,
    )


DOORS = (
    _door(
        "/v1/compliance",
        "list_compliance",
        "List how animals stand on a day, and why",
        _compliance,
        *("as_of", "site_id", "activity", *_DESTINATIONS, "standing", "limit", "cursor"),
        answers=bodies.CompliancePage,
        headers=["Link"],
        subject="site",
    ),
    _door(
        "/v1/compliance/period",
        "get_compliance_of_period",
        "Get which animals were not covered on some day of a period",
        _period,
        *(*_PERIOD, "site_id", "activity"),
        answers=bodies.ComplianceOfPeriod,
        subject="site",
    ),
    _door(
        "/v1/compliance/permits",
        "list_permits_in_use",
        "List the permits that are good on a day, and what is left of their numbers",
        _permits,
        *("as_of", "site_id", "activity"),
        answers=bodies.PermitsInUse,
        subject="site",
    ),
    _door(
        "/v1/animals/{animal_id}/compliance",
        "get_compliance_of_animal",
        "Get how an animal stands on a day, and why",
        _of_animal,
        *("as_of", "activity", *_DESTINATIONS),
        answers=bodies.CoverageOfAnimal,
        subject="animal",
    ),
    _door(
        "/v1/requirements/{requirement_id}/turns",
        "list_turns",
        "List the animals whose standing a requirement changes on the day that it begins to apply",
        _turns,
        "activity",
        answers=bodies.Turns,
        subject="requirement",
    ),
)
