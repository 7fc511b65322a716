"""Every noun keeps the same promises: its bytes fit its description, and another organisation's records are not there."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest
from pydantic import BaseModel

from api.bodies.equipment import EquipmentCheck, HourReading, OutputReading
from api.routes import (
    animals,
    enclosures,
    equipment,
    equipment_models,
    life_support_systems,
    sites,
    spares,
    staff,
    taxa,
)
from domain.actions.taxa import register_taxon
from domain.records import lists
from domain.records.statements import Statement
from domain.records.taxa import TaxonRank, TaxonStated
from tests import makers

UNKNOWN = "019ca945-0a00-7303-9a41-d18b21ab2c01"
BOX = {"kind": "box", "length_m": 2.0, "width_m": 1, "water_depth_m": 0.5}
SEASONS = [{"from_month": 3, "from_day": 1, "hours_per_day": 12}, {"from_month": 10, "from_day": 1, "hours_per_day": 8.5}]


@dataclass(frozen=True)
class Case:
    """A kind of record: where it is, its description, and a full statement with {names} of what it refers to."""

    path: str
    kept: type[BaseModel]
    stated: dict[str, Any]
    patch: dict[str, Any] | None


CASES = [
    Case(
        sites.NOUN.path,
        sites.NOUN.kept,
        {"name": "Ż", "zone": "Asia/Kathmandu", "address": "a\nb", "jurisdiction": "XR-LOW"},
        {"note": "n"},
    ),
    Case(
        enclosures.NOUN.path,
        enclosures.NOUN.kept,
        {
            "site_id": "{site}",
            "name": "Pool",
            "kind": "pond",
            "shape": BOX,
            "displacement_fraction": 0.1,
            "walking_order": 3,
            "life_support_system_id": "{system}",
        },
        {"shape": {"length_m": 3.0}},
    ),
    Case(
        life_support_systems.NOUN.path, life_support_systems.NOUN.kept, {"site_id": "{site}", "name": "Second loop"}, {"least_gap_days": 21}
    ),
    Case(staff.NOUN.path, staff.NOUN.kept, {"name": "A. Keeper", "role": "keeper", "site_id": "{site}"}, {"role": "technician"}),
    Case(taxa.NOUN.path, taxa.NOUN.kept, {"scientific_name": "Rana", "rank": "genus", "parent_id": "{taxon}"}, {"common_name": "frogs"}),
    Case(animals.NOUN.path, animals.NOUN.kept, {"taxon_id": "{taxon}", "tag": "G-2", "grouping": "group", "count": 12}, {"count": 11}),
    Case(
        equipment_models.NOUN.path,
        equipment_models.NOUN.kept,
        {
            "name": "Probe",
            "kind": "ph-probe",
            "life_hours": 5000,
            "checks": [{"kind": "calibration", "interval_days": 30}],
            "cautions": ["wet-hands"],
            "unit_cost_minor": 2**53 - 1,
            "output_minimum_share": 0.7,
        },
        {"checks": [], "lead_days": 3},
    ),
    Case(
        equipment.NOUN.path,
        equipment.NOUN.kept,
        {
            "tag": "RE-2",
            "model_id": "{model}",
            "site_id": "{site}",
            "enclosure_id": "{enclosure}",
            "installed_on": "2025-03-01",
            "run_schedule": [{"hours_per_day": 12}, {"starts_on": "2025-06-01", "seasons": SEASONS}],
            "override_life_hours": 400.5,
            "override_reason": "cold hall",
        },
        {"position": "left", "run_schedule": [{"hours_per_day": 10}]},
    ),
    Case(spares.NOUN.path, spares.NOUN.kept, {"site_id": "{site}", "model_id": "{model}", "shelf": "C1", "on_hand": 4}, {"on_hand": 3}),
    Case("/v1/equipment/{item}/hour-readings", HourReading, {"read_on": "2025-04-01", "counter_h": 100}, None),
    Case("/v1/equipment/{item}/output-readings", OutputReading, {"measured_on": "2025-04-01", "value": 5.25, "method": "30 cm"}, None),
    Case("/v1/equipment/{item}/checks", EquipmentCheck, {"kind": "calibration", "done_on": "2025-04-01", "result": "passed"}, None),
]
each = pytest.mark.parametrize("case", CASES, ids=lambda case: case.path.split("/")[-1])


@pytest.fixture
def names(store, organisation):
    """Return the ids of one record of each kind, by name."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        return records(unit)


def records(unit):
    site = makers.site(unit)
    model = makers.model(unit, output_unit="UVI")
    made = {
        "site": site,
        "model": model,
        "system": makers.system(unit, site),
        "enclosure": makers.enclosure(unit, site),
        "item": makers.equipment(unit, model, site),
        "spare": makers.spare(unit, model, site),
        "taxon": register_taxon(unit, TaxonStated(scientific_name="Anura", rank=TaxonRank.ORDER)),
    }
    return {name: str(record.id) for name, record in made.items()}


def filled(stated, names):
    return {key: value.format(**names) if isinstance(value, str) else value for key, value in stated.items()}


def assert_fits(kept, raw):
    kept.model_validate_json(raw)
    assert set(json.loads(raw)) == set(kept.model_fields)


@each
def test_what_is_answered_fits_its_description_however_it_is_asked_for(client, names, case):
    path = case.path.format(**names)

    made = client.post(path, filled(case.stated, names))
    one = client.get(made.headers["Location"])
    listed = client.get(path).json()["items"]

    assert made.status_code == 201, made.text
    assert_fits(case.kept, made.content)
    parts = {"enclosure_ids": [], "media_lot_ids": []} if "life-support" in path else {}
    assert one.json() == {**made.json(), **parts}
    assert parts or one.content == made.content
    assert made.json() in listed
    assert made.headers["ETag"] == one.headers["ETag"] == '"1"'


@each
def test_a_correction_and_an_end_are_answered_as_they_are_read(client, names, case):
    made = client.post(case.path.format(**names), filled(case.stated, names))
    where = made.headers["Location"]

    answers = [client.post(f"{where}/end", {"reason": "no longer here", "on": "2026-03-01"})]
    if case.patch is not None:
        again = client.post(case.path.format(**names), filled(case.stated, names))
        where = again.headers["Location"]
        answers = [client.patch(where, case.patch, If_Match='"1"')]
        for name, value in case.patch.items():
            if not isinstance(value, dict | list):
                assert answers[0].json()[name] == value

    for answer in answers:
        assert answer.status_code == 200, answer.text
        assert_fits(case.kept, answer.content)
        assert answer.json()["version"] == 2
        assert client.get(where).json().items() >= answer.json().items()


@each
def test_an_ended_record_is_neither_changed_nor_ended_again(client, names, case):
    where = client.post(case.path.format(**names), filled(case.stated, names)).headers["Location"]
    client.post(f"{where}/end", {"reason": "gone"})

    assert client.post(f"{where}/end", {"reason": "gone"}).status_code == 409
    if case.patch is not None:
        assert client.patch(where, case.patch, If_Match='"2"').status_code == 409


@each
def test_another_organisations_record_is_answered_like_an_unknown_one(client, stranger, names, case):
    where = client.post(case.path.format(**names), filled(case.stated, names)).headers["Location"]
    unknown = f"{where.rpartition('/')[0]}/{UNKNOWN}"
    asks = [("GET", "", {}, None), ("POST", "/end", {}, {"reason": "x"})]
    if case.patch is not None:
        asks.append(("PATCH", "", {"If-Match": '"1"'}, case.patch))
    before = client.get(where).content

    for method, suffix, headers, body in asks:
        theirs = stranger.request(method, where + suffix, headers=headers, json=body)
        nobodys = stranger.request(method, unknown + suffix, headers=headers, json=body)
        assert theirs.status_code == nobodys.status_code == 404
        assert theirs.content.replace(where.encode(), b"") == nobodys.content.replace(unknown.encode(), b"")
        assert without_id(theirs) == without_id(nobodys)
    assert client.get(where).content == before


def without_id(answer):
    return {name: value for name, value in answer.headers.items() if name not in {"x-request-id", "content-length"}}


@each
def test_another_organisations_list_holds_nothing_of_ours(client, stranger, names, case):
    client.post(case.path.format(**names), filled(case.stated, names))

    answer = stranger.get(case.path.format(**names), params={"ended": "any"})

    assert answer.json().get("items", []) == []
    assert answer.status_code == (404 if "{" in case.path else 200)


def references(case):
    return {key for key, value in case.stated.items() if isinstance(value, str) and value.startswith("{")}


@pytest.mark.parametrize(
    "case", [case for case in CASES if references(case) or "{" in case.path], ids=lambda case: case.path.split("/")[-1]
)
def test_no_record_may_refer_to_another_organisations(stranger, names, case):
    theirs = stranger.post(case.path.format(**names), filled(case.stated, names))
    nobodys = stranger.post(case.path.format(item=UNKNOWN), filled(case.stated, dict.fromkeys(names, UNKNOWN)))

    assert theirs.status_code in {404, 422}
    assert theirs.json()["errors"] == nobodys.json()["errors"]
    assert {error["pointer"][1:] for error in theirs.json()["errors"]} <= references(case)


@each
def test_an_id_that_is_none_is_not_found(client, names, case):
    path = case.path.format(**names)

    assert client.get(f"{path}/5").status_code == 404
    assert client.get(f"{path}/{UNKNOWN}").status_code == 404


def test_every_statement_of_a_list_needs_the_organisation():
    statements = [value for value in vars(lists).values() if isinstance(value, Statement)]

    assert len(statements) >= 3
    for statement in statements:
        assert "organisation_id" in {name for name, _ in statement.on("sqlite").parameters}, statement.statement
