"""Planning the import of sites."""

from __future__ import annotations

from functools import partial

from domain.actions.imports.lookups import kept_by_key
from domain.actions.imports.plans import Plan, plan_row, started_plan
from domain.actions.imports.sheet import Sheet
from domain.records.sites import Site, SiteStated
from domain.records.unit import Unit
from domain.rules.text import same_name


def plan_sites(unit: Unit, sheet: Sheet) -> Plan:
    """Return what is to be done with a list of sites; a site is known again by its name, whose spelling on record is kept."""
    sheet.check(SiteStated, "name", "zone", "jurisdiction", "address", "note")
    keys = sheet.keys("name")
    sheet.refuse_repeated(keys, name="name")
    found = {row["name_key"]: row for row in kept_by_key(unit, Site, "name_key", keys)}
    plan = started_plan(unit, Site, SiteStated, derived=lambda made: {"name_key": same_name(made.name)})
    for position in sheet.sound():
        old = found.get(keys[position])
        said = partial(sheet.said, position, *SiteStated.model_fields, but=("name",) if old else ())
        plan_row(unit, plan, sheet, position, old=old, facts=said)
    return plan
