"""Animals that are to be moved, at the invented demo organisation."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date, timedelta
from importlib.resources import files
from itertools import islice
from typing import Any

from domain.actions.inspection_file import animals_at, enclosures_at
from domain.actions.transfers.plan import record_transfer_animal, record_transfer_paper, register_transfer
from domain.records.animals import Animal
from domain.records.sites import Site
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.transfers import Transfer, TransferAnimalStated, TransferPaperStated, TransferStated
from domain.records.unit import Unit
from domain.rules.lives import Grouping, Status

MOST_ANIMALS = 1_000
_PLAN = (
    *("reference", "basis", "party", "party_address", "party_contact", "party_licence", "party_jurisdiction", "buffer_days"),
    *("carrier", "carrier_contact", "carrier_authorisation", "container", "least_c", "most_c", "care", "quarantine_days"),
    *("quarantine_reason", "report_after_days"),
)


def planned(unit: Unit, *, today: date, sites: Mapping[str, Site]) -> None:
    """Put the transfers of the demo on record; sites by their code."""
    told = tomllib.loads(files("seed").joinpath("demo_transfers.toml").read_text(encoding="utf-8"))
    for one in told["transfer"]:
        transfer = _transfer(unit, one, today=today, sites=sites)
        for animal in islice(_kept(unit, sites[one["from"]], one["taxon"], on=today), one["number"]):
            record_transfer_animal(unit, transfer.id, TransferAnimalStated(animal_id=animal.id))
        for paper in one.get("paper", ()):
            days = {f"{name}_on": _day(today, paper[name]) for name in ("issued", "inspected")}
            facts = {name: paper[name] for name in ("title", "kind", "number", "authority")}
            record_transfer_paper(unit, transfer.id, read_stated(TransferPaperStated, json_text({**facts, **days})))


def _transfer(unit: Unit, one: Mapping[str, Any], *, today: date, sites: Mapping[str, Site]) -> Transfer:
    days = {name: _day(today, one[name]) for name in ("party_licence_until", "carrier_until") if name in one}
    said = {
        **{name: one[name] for name in _PLAN if name in one},
        **days,
        "from_site_id": sites[one["from"]].id,
        "dispatch_on": _day(today, one["dispatch"]),
        "arrive_on": _day(today, one["arrive"]),
    }
    if "to" in one:
        receiver = sites[one["to"]]
        said |= {"to_site_id": receiver.id, "quarantine_enclosure_id": enclosures_at(unit, receiver, until_on=today)[-1].id}
    return register_transfer(unit, read_stated(TransferStated, json_text(said)))


def _kept(unit: Unit, site: Site, name: str, *, on: date) -> list[Animal]:
    """Return the single animals of a species that are kept at a site."""
    rows = animals_at(unit, site, on=on, most=MOST_ANIMALS).records
    found = [unit.fetch(Animal, row["id"]) for row in rows if row["scientific_name"] == name]
    return [one for one in found if one.grouping is Grouping.INDIVIDUAL and one.status is Status.PRESENT]


def _day(today: date, after: int) -> date:
    return today + timedelta(days=after)
