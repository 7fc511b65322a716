"""The invented demo organisation, built through the same actions that people's programs use.

Everything in it is fictional: people are roles, makers and laws are invented, time zones are borrowed for the arithmetic.
The same ``today`` gives the same organisation.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from importlib.resources import files
from random import Random
from typing import Any

from domain.actions.enclosures import register_enclosure, register_life_support_system
from domain.actions.equipment import register_equipment, register_equipment_model
from domain.actions.law import load_pack
from domain.actions.readings import record_check, record_hours, record_output
from domain.actions.sites import register_site, today_at
from domain.actions.spares import register_spare
from domain.actions.staff import register_staff
from domain.records.base import Stated
from domain.records.enclosures import Enclosure, EnclosureStated, LifeSupportSystem, SystemStated
from domain.records.equipment import (
    Equipment,
    EquipmentCheckStated,
    EquipmentModel,
    EquipmentModelStated,
    EquipmentStated,
    HourReadingStated,
    OutputReadingStated,
    SpareStated,
)
from domain.records.sites import Site, SiteStated
from domain.records.staff import StaffStated
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit
from domain.rules.law.packs import RulePack
from seed.demo_animals import DemoKind, kinds, populate
from seed.demo_permits import permitted
from seed.demo_transfers import planned
from seed.demo_visits import visited

SEED = 20260301
YEAR_DAYS = 365
READING_EVERY_DAYS = 31
ENCLOSURES_PER_SYSTEM = 12
FAILING_SHARE = 0.01
LOTS_PER_SYSTEM = 4

ROLES = {
    "collection manager (registrar)": "registrar",
    "head keeper": "curator",
    "keeper": "keeper",
    "life-support technician": "technician",
    "veterinary surgeon (contract)": "veterinarian",
    "veterinary nurse": "veterinarian",
    "site licence holder": "administrator",
    "health & safety lead": "auditor",
    "education presenter": "viewer",
    "volunteer": "viewer",
}


@dataclass(slots=True)
class DemoModel:
    """A model of the demo with how its items are used."""

    record: EquipmentModel
    position: str
    hours_per_day: float | None
    counted: bool
    output_at_start: float | None
    yearly_decline: float


@dataclass(slots=True)
class DemoSite:
    """A site of the demo and what stands in it."""

    record: Site
    code: str
    today: date
    systems: list[LifeSupportSystem] = field(default_factory=list)
    enclosures: list[Enclosure] = field(default_factory=list)
    tags: int = 0

    def next_tag(self) -> str:
        """Return the next item's tag."""
        self.tags += 1
        return f"{self.code}-{self.tags:04d}"


def scenario() -> dict[str, Any]:
    """Return the demo organisation as it is written down."""
    text = files("seed").joinpath("demo_scenario.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def law_files() -> Mapping[str, str]:
    """Return the texts of the demo's rule packs, by the names of their files."""
    found = (one for one in files("seed").joinpath("law").iterdir() if one.name.endswith(".toml"))
    return {one.name: one.read_text(encoding="utf-8") for one in sorted(found, key=lambda each: each.name)}


def build(unit: Unit, law: Iterable[RulePack] = ()) -> Iterator[str]:
    """Build the demo in an organisation that is empty, under the law of some packs, yielding the name of each part once it stands."""
    random, plan = Random(SEED), scenario()  # noqa: S311 - invented data, no secret
    packs = list(law)
    for pack in packs:
        load_pack(unit, pack)
    yield "law"
    models = dict(_models(unit))
    taxa = kinds(unit, {one["name"]: f"Fictional listing in the demo: {one['pattern']}" for one in plan["taxa"]})
    yield "models and taxa"
    sites = {one["id"]: _site(unit, one, plan) for one in plan["sites"]}
    staff = {role: register_staff(unit, _stated(StaffStated, name=role.capitalize(), role=ROLES[role])) for role in plan["roles"]}
    if packs:
        permitted(
            unit,
            today=min(one.today for one in sites.values()),
            sites={code: one.record for code, one in sites.items()},
            taxa={name: kind.taxon for name, kind in taxa.items()},
            staff=staff,
        )
        visited(unit, today=min(one.today for one in sites.values()), sites={code: one.record for code, one in sites.items()})
    for code, site in sites.items():
        inventory = plan["equipment_inventory"][code]
        _equip(unit, site, inventory, models=models, random=random)
        _animals(unit, site, code=code, plan=plan, taxa=taxa, random=random)
        _shelves(unit, site, inventory, models=models, random=random)
        yield site.record.name
    if packs:
        planned(unit, today=min(one.today for one in sites.values()), sites={code: one.record for code, one in sites.items()})
        yield "transfers"


def _models(unit: Unit) -> Iterator[tuple[str, DemoModel]]:
    text = files("seed").joinpath("demo_models.toml").read_text(encoding="utf-8")
    for one in tomllib.loads(text)["model"]:
        record = register_equipment_model(unit, read_stated(EquipmentModelStated, json_text(one["stated"])))
        yield (
            one["type"],
            DemoModel(
                record,
                one["position"],
                one.get("hours_per_day"),
                one.get("counted", False),
                one.get("output_at_start"),
                one.get("yearly_decline", 0.0),
            ),
        )


def _site(unit: Unit, one: Mapping[str, Any], plan: Mapping[str, Any]) -> DemoSite:
    country = next(land for land in plan["jurisdictions"] if one["jurisdiction"].startswith(land["code"]))
    record = register_site(
        unit,
        _stated(
            SiteStated,
            name=one["name"],
            zone=country["tz"],
            jurisdiction=one["jurisdiction"],
            address=f"{country['name']} (fictional)",
            note=one["role"].capitalize(),
        ),
    )
    site = DemoSite(record, record.name[:2].upper(), today_at(unit, record))
    _enclose(unit, site, count=one["enclosures"])
    return site


def _enclose(unit: Unit, site: DemoSite, *, count: int) -> None:
    for number in range(1, count // ENCLOSURES_PER_SYSTEM + 2):
        stated = _stated(SystemStated, site_id=site.record.id, name=f"Loop {number}", least_gap_days=14)
        site.systems.append(register_life_support_system(unit, stated))
    for number in range(count):
        stated = _stated(
            EnclosureStated,
            site_id=site.record.id,
            name=f"{'ABCD'[number // 16]} {number % 16 + 1:02d}",
            kind=("aquarium", "paludarium", "terrarium")[number % 3],
            shape=_shape(number),
            walking_order=number + 1,
            life_support_system_id=None if number % 3 == 2 else site.systems[number // ENCLOSURES_PER_SYSTEM].id,  # noqa: PLR2004 - every third is dry
        )
        site.enclosures.append(register_enclosure(unit, stated))


def _shape(number: int) -> dict[str, Any]:
    shapes: tuple[dict[str, Any], ...] = (
        {"kind": "box", "length_m": 1.8, "width_m": 0.7, "water_depth_m": 0.6},
        {"kind": "sloping-floor", "length_m": 2.4, "width_m": 1.2, "depth_shallow_m": 0.1, "depth_deep_m": 0.5},
        {"kind": "box", "length_m": 1.2, "width_m": 0.6, "water_depth_m": 0},
        {"kind": "cylinder", "diameter_m": 1.6, "water_depth_m": 0.7},
        {"kind": "stadium", "length_m": 1.83, "width_m": 0.61, "water_depth_m": 0.55},
    )
    return shapes[number % len(shapes)]


def _equip(unit: Unit, site: DemoSite, inventory: Mapping[str, int], *, models: Mapping[str, DemoModel], random: Random) -> None:
    for kind, count in inventory.items():
        for number in range(count):
            place = site.enclosures[(number * 7) % len(site.enclosures)]
            item = _item(unit, site, models[kind], random=random, enclosure_id=place.id)
            _measure(unit, item, models[kind], today=site.today, random=random)
    for system in site.systems:
        for number in range(LOTS_PER_SYSTEM):
            name = f"bio tower, lot {number + 1}"
            _item(unit, site, models["sponge lot"], random=random, life_support_system_id=system.id, position=name)
    _item(unit, site, models["carbon"], random=random, enclosure_id=site.enclosures[0].id)
    _item(
        unit,
        site,
        models["reagent"],
        random=random,
        enclosure_id=site.enclosures[0].id,
        opened_on=site.today - timedelta(days=150),
    )


def _item(unit: Unit, site: DemoSite, model: DemoModel, *, random: Random, **stated: Any) -> Equipment:  # noqa: ANN401 - stated facts
    installed_on = site.today - timedelta(days=_age_days(model, random))
    if model.hours_per_day is not None:
        stated["run_schedule"] = [{"hours_per_day": model.hours_per_day}]
    facts = {
        "tag": site.next_tag(),
        "model_id": model.record.id,
        "site_id": site.record.id,
        "installed_on": installed_on,
        "manufactured_on": installed_on - timedelta(days=90),
        "position": model.position,
        **stated,
    }
    return register_equipment(unit, _stated(EquipmentStated, **facts))


def _age_days(model: DemoModel, random: Random) -> int:
    """Return an age at which most items are within life and a few are past it [days]."""
    stated = model.record
    months = stated.life_months or 24
    life = (stated.life_weeks or 0) * 7 or months * 30
    if stated.life_hours and model.hours_per_day:
        life = min(life, int(stated.life_hours / model.hours_per_day))
    return int(life * random.triangular(0.02, 1.06, 0.6))


def _measure(unit: Unit, item: Equipment, model: DemoModel, *, today: date, random: Random) -> None:
    """Record a year of what people read, measured and checked on an item."""
    since = max(item.installed_on or today, today - timedelta(days=YEAR_DAYS))
    days = [since + timedelta(days=offset) for offset in range(20, (today - since).days, READING_EVERY_DAYS)]
    for on in days:
        age = (on - (item.installed_on or on)).days
        if model.output_at_start is not None:
            value = model.output_at_start * (1 - model.yearly_decline * age / YEAR_DAYS) * random.uniform(0.97, 1.03)
            stated = _stated(
                OutputReadingStated,
                measured_on=on,
                value=round(max(value, 0.0), 2),
                method="solar meter at the basking place",
            )
            record_output(unit, item.id, stated)
        if model.counted and model.hours_per_day is not None:
            record_hours(
                unit,
                item.id,
                _stated(HourReadingStated, read_on=on, counter_h=round(age * model.hours_per_day * 0.98, 1)),
            )
    for plan in model.record.checks:
        done_on = today - timedelta(days=random.randrange(max(1, min((today - since).days, plan.interval_months * 31 or 31))))
        result = "failed" if random.random() < FAILING_SHARE else "passed"
        record_check(unit, item.id, _stated(EquipmentCheckStated, kind=plan.kind, done_on=done_on, result=result))


def _animals(unit: Unit, site: DemoSite, *, code: str, plan: Mapping[str, Any], taxa: Mapping[str, DemoKind], random: Random) -> None:
    kept = [taxa[one["name"]] for one in plan["taxa"] if code in one["sites"]]
    share = next(one["animals_approx"] for one in plan["sites"] if one["id"] == code) // len(kept)
    populate(unit, code=site.code, today=site.today, enclosures=site.enclosures, kept=kept, share=share, random=random)


def _shelves(unit: Unit, site: DemoSite, inventory: Mapping[str, int], *, models: Mapping[str, DemoModel], random: Random) -> None:
    for number, kind in enumerate([*inventory, "sponge lot", "carbon"]):
        stated = _stated(
            SpareStated,
            site_id=site.record.id,
            model_id=models[kind].record.id,
            shelf=f"store {'AB'[number % 2]}{number // 2 + 1}",
            on_hand=random.choice((0, 1, 2, 4)),
            on_order=random.choice((0, 0, 2)),
            reorder_point=1,
        )
        register_spare(unit, stated)


def _stated(kind: type[Stated], /, **facts: Any) -> Any:  # noqa: ANN401 - an instance of kind
    return read_stated(kind, json_text(facts))
