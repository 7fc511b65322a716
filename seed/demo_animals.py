"""The animals of the invented demo organisation: what they are, where they live, and what happened to them."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib.resources import files
from random import Random
from typing import Any

from domain.actions.animals import register_animal
from domain.actions.containments import register_containment
from domain.actions.lives import record_event
from domain.actions.marks import record_mark
from domain.actions.measurements import record_measurement
from domain.actions.placements import MoveStated, place_animal
from domain.actions.taxa import record_concept_member, record_husbandry_target, record_separation, register_taxon
from domain.records.animals import Animal, AnimalEventStated, AnimalStated
from domain.records.base import Stated
from domain.records.enclosures import Enclosure
from domain.records.marks import MarkEntered
from domain.records.measurements import MeasurementEntered
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.taxa import ConceptMemberStated, ContainmentStated, HusbandryTargetStated, SeparationStated, Taxon, TaxonStated
from domain.records.unit import Unit
from domain.rules.lives import Grouping

GROUP_FROM = 6
"""Where a taxon has this many animals at a site they are kept as one counted group."""
FIRST_CHIP = 999_000_000_000_000
"""Codes of the demo's transponders are of the range that ISO 11784 sets apart for tests."""
WEIGHED_EVERY_DAYS = 61
FOUNDED = "2020-01-01"


@dataclass(frozen=True, slots=True)
class DemoKind:
    """A taxon of the demo and how its animals are kept."""

    taxon: Taxon
    grams: float | None
    chipped: bool


def kinds(unit: Unit, names: Mapping[str, str]) -> dict[str, DemoKind]:
    """Register the taxa of the demo, given by name with a note each, and what they need; return them by name."""
    told = tomllib.loads(files("seed").joinpath("demo_taxa.toml").read_text(encoding="utf-8"))
    source, species = told["source"], {one["name"]: one for one in told["species"]}
    orders = {one["name"]: register_taxon(unit, _stated(TaxonStated, scientific_name=one["name"], rank="order")) for one in told["order"]}
    families = {one["name"]: register_taxon(unit, _family(one, orders)) for one in told["family"]}
    found = {name: _kind(unit, name, note, species.get(name, {}), families=families, source=source) for name, note in names.items()}
    for rule in told["apart"]:
        stated = _stated(
            SeparationStated, other_taxon_id=found[rule["other"]].taxon.id, from_on=FOUNDED, reason=rule["reason"], source=source
        )
        record_separation(unit, found[rule["one"]].taxon.id, stated)
    for rule in told["containment"]:
        register_containment(unit, _stated(ContainmentStated, from_on=FOUNDED, source=source, **rule))
    return found


def _family(told: Mapping[str, Any], orders: Mapping[str, Taxon]) -> TaxonStated:
    facts = {"scientific_name": told["name"], "rank": "family", "hazard": told["hazard"], "parent_id": orders[told["order"]].id}
    stated: TaxonStated = _stated(TaxonStated, **facts)
    return stated


def _kind(unit: Unit, name: str, note: str, facts: Mapping[str, Any], *, families: Mapping[str, Taxon], source: str) -> DemoKind:
    above = families.get(facts.get("family", ""))
    stated = _stated(TaxonStated, scientific_name=name, rank="species", parent_id=above.id if above else None, note=note)
    taxon = register_taxon(unit, stated)
    if "needs" in facts:
        record_husbandry_target(unit, taxon.id, _stated(HusbandryTargetStated, from_on=FOUNDED, source=source, **facts["needs"]))
    for member in facts.get("members", ()):
        other = register_taxon(unit, _stated(TaxonStated, scientific_name=member, rank="species", parent_id=above.id if above else None))
        record_concept_member(unit, taxon.id, _stated(ConceptMemberStated, member_id=other.id, source=source))
    return DemoKind(taxon, facts.get("grams"), facts.get("chipped", False))


def populate(
    unit: Unit, *, code: str, today: date, enclosures: Sequence[Enclosure], kept: Sequence[DemoKind], share: int, random: Random
) -> None:
    """Register the animals of one site, ``share`` of each kind, with some years of their lives."""
    for number, (kind, count) in enumerate(_records(kept, share), start=1):
        tag = f"{code}-A{number:03d}"
        came_on = today - timedelta(days=random.randrange(200, 2000))
        home = random.choice(enclosures)
        animal = register_animal(unit, _arrival(kind, tag, count, came_on=came_on, home=home, random=random))
        if count == 1:
            _life(unit, animal, kind, today=today, enclosures=enclosures, random=random)
        elif random.random() < 0.5:  # noqa: PLR2004 - about half of the groups are counted again
            counted = max(1, count - random.randrange(0, 4))
            _tell(unit, animal, "counted", today - timedelta(days=random.randrange(5, 150)), number=counted)


def _records(kept: Sequence[DemoKind], share: int) -> Iterator[tuple[DemoKind, int]]:
    for kind in kept:
        if kind.taxon.scientific_name == "Danio rerio":
            yield kind, share
            continue
        yield from ((kind, 1) for _ in range(min(share, GROUP_FROM)))
        if share > GROUP_FROM:
            yield kind, share - GROUP_FROM


def _arrival(kind: DemoKind, tag: str, count: int, *, came_on: date, home: Enclosure, random: Random) -> AnimalStated:
    single = count == 1
    stated: AnimalStated = _stated(
        AnimalStated,
        taxon_id=kind.taxon.id,
        tag=tag,
        grouping=(Grouping.INDIVIDUAL if single else Grouping.GROUP).value,
        count=count,
        sex=random.choice(("female", "male", "unknown")) if single else "unknown",
        life_stage="adult" if single else "unknown",
        origin=random.choice(("captive_bred", "unknown")),
        acquired_on=came_on.isoformat(),
        basis=random.choice(("gift", "rescue", "exchange")),
        acquired_from="an invented keeper",
        enclosure_id=home.id,
        override_reason="As the demo has it: nobody has measured this enclosure for its animals.",
    )
    return stated


def _life(unit: Unit, animal: Animal, kind: DemoKind, *, today: date, enclosures: Sequence[Enclosure], random: Random) -> None:
    came_on = animal.came_on or today
    if kind.chipped:
        code = f"{FIRST_CHIP + random.randrange(1, 10**11):015d}"
        record_mark(
            unit,
            animal.id,
            _stated(MarkEntered, kind="transponder", code=code, reading="scanner", from_on=came_on.isoformat(), is_primary=True),
        )
    if kind.grams is not None:
        _weigh(unit, animal, kind.grams, came_on=came_on, today=today, random=random)
    if random.random() < 0.4:  # noqa: PLR2004 - some have moved within their site
        _move(unit, animal, random.choice(enclosures), came_on + timedelta(days=random.randrange(30, 190)))
    if random.random() < 0.06:  # noqa: PLR2004 - and a few have died
        _tell(unit, animal, "died", today - timedelta(days=random.randrange(1, 8)), cause="not established")


def _weigh(unit: Unit, animal: Animal, grams: float, *, came_on: date, today: date, random: Random) -> None:
    mass = grams * random.uniform(0.7, 1.0)
    for day in range(0, min((today - came_on).days, 400), WEIGHED_EVERY_DAYS):
        mass *= random.uniform(0.98, 1.05)
        stated = _stated(
            MeasurementEntered, kind="mass", mass_g=round(mass, 1), measured_on=(came_on + timedelta(days=day)).isoformat(), method="scale"
        )
        record_measurement(unit, animal.id, stated)


def _move(unit: Unit, animal: Animal, to: Enclosure, on: date) -> None:
    if to.id == animal.enclosure_id:
        return
    reason = "As the demo has it: nobody has measured this enclosure for its animals."
    place_animal(unit, animal.id, _stated(MoveStated, enclosure_id=to.id, from_on=on.isoformat(), override_reason=reason))


def _tell(unit: Unit, animal: Animal, kind: str, on: date, **stated: Any) -> None:  # noqa: ANN401 - an event's fields
    record_event(unit, animal.id, _stated(AnimalEventStated, kind=kind, happened_on=on.isoformat(), **stated))


def _stated(of: type[Stated], /, **facts: Any) -> Any:  # noqa: ANN401 - one of the stated classes
    return read_stated(of, json_text({name: value for name, value in facts.items() if value is not None}))
