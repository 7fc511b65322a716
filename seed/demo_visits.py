"""A visit with its findings, and what went wrong, at the invented demo organisation."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from importlib.resources import files
from typing import Any

from domain.actions.incidents import register_incident
from domain.actions.inspections import (
    change_inspection_finding,
    record_corrective_action,
    record_inspection_finding,
    register_inspection,
)
from domain.records.incidents import IncidentStated
from domain.records.inspections import CorrectiveActionStated, FindingStated, Inspection, InspectionStated
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.calendar import instant_at_site


def visited(unit: Unit, *, today: date, sites: Mapping[str, Site]) -> None:
    """Put the visits and incidents of the demo on record; sites by their code."""
    told = tomllib.loads(files("seed").joinpath("demo_visits.toml").read_text(encoding="utf-8"))
    for one in told["inspection"]:
        facts = {name: one[name] for name in ("kind", "authority", "inspectors", "reference", "summary")}
        said = {**facts, "site_id": sites[one["site"]].id, "visited_on": _day(today, one["visited"])}
        visit = register_inspection(unit, read_stated(InspectionStated, json_text(said)))
        for finding in one["finding"]:
            _finding(unit, visit, finding, today=today)
    for one in told["incident"]:
        _incident(unit, sites[one["site"]], one, today=today)


def _finding(unit: Unit, visit: Inspection, one: Mapping[str, Any], *, today: date) -> None:
    said = {"text": one["text"], "weight": one["weight"], "due_on": _day(today, one["due"])}
    made = record_inspection_finding(unit, visit.id, read_stated(FindingStated, json_text(said)))
    for action in one.get("action", ()):
        done = {"done_on": _day(today, action["done"]), "proof": action["proof"]} if "done" in action else {}
        stated = {"finding_id": made.id, "text": action["text"], "due_on": _day(today, action["due"]), **done}
        record_corrective_action(unit, visit.id, read_stated(CorrectiveActionStated, json_text(stated)))
    if "closed" in one:
        closed = {"closed_on": _day(today, one["closed"]).isoformat(), "closing": one["closing"]}
        change_inspection_finding(unit, made.id, closed, owner_id=visit.id, expected_version=made.version)


def _incident(unit: Unit, site: Site, one: Mapping[str, Any], *, today: date) -> None:
    found = instant_at_site(datetime.fromisoformat(f"{_day(today, one['found'])}T{one['at']}"), site.zone)
    closed = {"closed_on": _day(today, one["closed"]), "outcome": one["outcome"]} if "closed" in one else {}
    facts = {name: one[name] for name in ("kind", "persons_hurt", "account")}
    said = {**facts, "site_id": site.id, "found_at": found, **closed}
    register_incident(unit, read_stated(IncidentStated, json_text(said)))


def _day(today: date, after: int) -> date:
    return today + timedelta(days=after)
