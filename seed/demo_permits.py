"""The premises, permits and competences of the invented demo organisation."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date, timedelta
from importlib.resources import files
from typing import Any

from domain.actions.competences import record_competence
from domain.actions.permit_parts import record_permit_condition, record_permit_taxon
from domain.actions.permits import register_permit
from domain.actions.premises import record_premises
from domain.records.base import Stated
from domain.records.competences import CompetenceStated
from domain.records.permits import Permit, PermitConditionStated, PermitStated, PermitTaxonStated
from domain.records.premises import PremisesStated
from domain.records.sites import Site
from domain.records.staff import Staff
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.taxa import Taxon
from domain.records.unit import Unit

FOUNDED_DAYS = -2200
"""From when the premises are known, before the day on which the demo is built [days]."""


def permitted(unit: Unit, *, today: date, sites: Mapping[str, Site], taxa: Mapping[str, Taxon], staff: Mapping[str, Staff]) -> None:
    """Put the premises, permits and competences of the demo on record; sites by their code, taxa by name, staff by role."""
    told = tomllib.loads(files("seed").joinpath("demo_permits.toml").read_text(encoding="utf-8"))
    for one in told["premises"]:
        facts = {name: one[name] for name in ("holder_kind", "kinds", "public_days")}
        record_premises(unit, sites[one["site"]].id, _stated(PremisesStated, from_on=_day(today, FOUNDED_DAYS), **facts))
    made: dict[str, Permit] = {}
    for one in told["permit"]:
        made[one["number"]] = _permit(unit, one, today=today, site=sites[one["site"]], taxa=taxa, before=made)
    for one in told["competence"]:
        stated = _stated(
            CompetenceStated,
            title=one["title"],
            hazard=one["hazard"],
            from_on=_day(today, one["from"]),
            expires_on=_day(today, one["expires"]),
        )
        record_competence(unit, staff[one["role"]].id, stated)


def _permit(
    unit: Unit, one: Mapping[str, Any], *, today: date, site: Site, taxa: Mapping[str, Taxon], before: Mapping[str, Permit]
) -> Permit:
    plain = {
        name: one.get(name) for name in ("kind", "jurisdiction", "authority", "number", "holder", "activities", "total_number", "note")
    }
    stated = _stated(
        PermitStated,
        **plain,
        site_id=site.id,
        issued_on=_day(today, one["issued"]),
        inspected_on=_day(today, one.get("inspected")),
        replaces_id=before[one["replaces"]].id if "replaces" in one else None,
    )
    permit = register_permit(unit, stated)
    for taxon in one["taxa"]:
        record_permit_taxon(unit, permit.id, _stated(PermitTaxonStated, taxon_id=taxa[taxon["name"]].id, number=taxon.get("number")))
    for condition in one.get("condition", ()):
        days = {"due_on": condition.get("due"), "first_due_on": condition.get("first_due"), "met_on": condition.get("met")}
        facts = {name: condition.get(name) for name in ("text", "every_months", "proof")}
        stated = _stated(PermitConditionStated, **facts, **{name: _day(today, days_on) for name, days_on in days.items()})
        record_permit_condition(unit, permit.id, stated)
    return permit


def _day(today: date, days: int | None) -> str | None:
    return None if days is None else (today + timedelta(days=days)).isoformat()


def _stated(of: type[Stated], /, **facts: Any) -> Any:  # noqa: ANN401 - one of the stated classes
    return read_stated(of, json_text({name: value for name, value in facts.items() if value is not None}))
