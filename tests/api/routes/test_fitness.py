"""Whether an enclosure would suit an animal, asked without putting it there."""

from __future__ import annotations

from uuid import UUID, uuid4

import pytest

from api.passwords import Passwords
from domain.records.animals import Animal
from domain.records.enclosures import Enclosure
from domain.records.taxa import Taxon
from tests import makers
from tests.people import CHEAP, person, signed_in

BOX = {"kind": "box", "length_m": 2.0, "width_m": 0.5, "water_depth_m": 0.0}


@pytest.fixture
def house(store, organisation):
    """Register an adder and what it needs, a hot room with another one in it, and a tub; return their ids by name."""
    with store.transaction(makers.origin()) as unit:
        at = makers.site(unit)
        adder = makers.taxon(unit, "Vipera ficta", hazard="venomous")
        makers.target(unit, adder)
        makers.containment(unit, from_on="2025-01-01")
        hot = makers.enclosure(unit, at, name="Hot room 1", shape=BOX, closure="locked")
        born = {"came_by": "born", "acquired_on": "2025-06-01", "life_stage": "adult"}
        made = {
            "hot": hot,
            "tub": makers.enclosure(unit, at, name="Tub 3", kind="tub", shape={**BOX, "length_m": 0.5}, closure="covered"),
            "first": makers.animal(unit, adder, tag="V-1", enclosure_id=hot.id, **born),
            "adder": makers.animal(unit, adder, tag="V-2", **born),
        }
        makers.event(unit, made["adder"], "died", "2026-02-20")
        made["second"] = makers.animal(unit, adder, tag="V-3", **born)
    return {name: str(one.id) for name, one in made.items()}


def asked(client, animal: str, **query: str):
    return client.get(f"/v1/animals/{animal}/fitness", params=query)


def test_the_decision_is_shown_with_its_reasons_and_places_nothing(client, house):
    answer = asked(client, house["second"], enclosure_id=house["tub"])

    assert answer.status_code == 200
    shown = answer.json()
    assert (shown["animal_id"], shown["enclosure_id"], shown["on"], shown["number"]) == (house["second"], house["tub"], "2026-03-01", 1)
    assert shown["outcome"] == "does_not_fit"
    assert [(one["code"], one["bearing"], one["source"]) for one in shown["reasons"]] == [
        ("floor-too-small", "against", "House guide"),
        ("closure-too-weak", "against", "Safety code 2"),
    ]
    assert shown["caution"].startswith("Site rules, local codes and licensed practice come first")
    assert client.get(f"/v1/animals/{house['second']}").json()["enclosure_id"] is None


def test_animals_that_join_a_group_where_it_does_not_suit_them_need_a_reason(client, store, house):
    with store.transaction(makers.origin()) as unit:
        tub, of = unit.fetch(Enclosure, UUID(house["tub"])), unit.fetch(Animal, UUID(house["first"])).taxon_id
        said = {"came_by": "born", "acquired_on": "2025-06-01", "enclosure_id": tub.id, "override_reason": "for a night"}
        group = makers.animal(unit, unit.fetch(Taxon, of), tag="V-G", grouping="group", count=2, **said)
    path, joining = f"/v1/animals/{house['first']}/merge", {"into_id": str(group.id), "happened_on": "2026-02-20"}

    refused = client.post(path, joining)
    joined = client.post(path, {**joining, "override_reason": "no other was free"})

    assert (refused.status_code, refused.json()["code"]) == (422, "unfit")
    assert {(one["pointer"], one["code"]) for one in refused.json()["errors"]} == {
        ("/into_id", "floor-too-small"),
        ("/into_id", "closure-too-weak"),
    }
    assert (joined.status_code, joined.json()["count"]) == (200, 3)
    [came] = client.get(f"/v1/animals/{group.id}/events", params={"kind": "joined_by"}).json()["items"]
    assert (came["override_reason"], came["fitness"]["outcome"]) == ("no other was free", "does_not_fit")


def test_what_fits_is_said_to(client, house):
    shown = asked(client, house["second"], enclosure_id=house["hot"]).json()

    assert (shown["outcome"], shown["reasons"]) == ("fits", [])


def test_it_can_be_asked_for_another_day(client, house):
    shown = asked(client, house["second"], enclosure_id=house["hot"], on="2025-12-24").json()
    assert (shown["on"], shown["outcome"]) == ("2025-12-24", "fits")

    # On the last day of its life it was still there to be placed the day before.
    assert asked(client, house["adder"], enclosure_id=house["hot"], on="2026-02-19").json()["number"] == 1


@pytest.mark.parametrize(
    ("animal", "query", "pointer", "code"),
    [
        ("second", {}, "/query/enclosure_id", "required"),
        ("second", {"enclosure_id": "tub"}, "/query/enclosure_id", "invalid-parameter"),
        ("second", {"enclosure_id": "{tub}", "on": "1.3.2026"}, "/query/on", "invalid-parameter"),
        ("second", {"enclosure_id": "{tub}", "on": "2025-05-31"}, "/query/on", "none-there"),
        ("adder", {"enclosure_id": "{tub}"}, "/query/on", "none-there"),
        ("second", {"enclosure_id": "{tub}", "number": "2"}, "/query/number", "unknown-parameter"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_the_parameter(client, house, animal, query, pointer, code):
    answer = asked(client, house[animal], **{name: value.format(**house) for name, value in query.items()})

    assert answer.status_code == 422
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [(pointer, code)]


def test_an_enclosure_that_has_ended_is_asked_about_for_its_own_days_only(client, house):
    client.post(f"/v1/enclosures/{house['tub']}/end", {"reason": "cracked"})

    answer = asked(client, house["second"], enclosure_id=house["tub"])
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [("/query/enclosure_id", "reference-ended")]
    assert asked(client, house["second"], enclosure_id=house["tub"], on="2026-02-28").status_code == 200


def test_nothing_is_said_of_what_is_not_there_or_is_anothers(client, stranger, house):
    unknown = str(uuid4())

    assert asked(client, unknown, enclosure_id=house["tub"]).status_code == 404
    assert asked(client, house["second"], enclosure_id=unknown).status_code == 404
    assert asked(stranger, house["second"], enclosure_id=house["tub"]).status_code == 404


def test_a_keeper_asks_about_the_own_site_only(app, caller, store, house):
    app.state.house.passwords = Passwords(CHEAP)
    with store.transaction(makers.origin()) as unit:
        elsewhere = makers.site(unit, name="Saltings Hall")
        there = makers.enclosure(unit, elsewhere)
        one = makers.animal(unit, makers.taxon(unit, "Bombina ficta"), enclosure_id=there.id)
        own = unit.fetch(Enclosure, UUID(house["hot"])).site_id
    keeper = signed_in(caller, person(store, site_id=own))

    assert asked(keeper, house["first"], enclosure_id=house["hot"]).status_code == 200
    assert asked(keeper, house["first"], enclosure_id=str(there.id)).status_code == 403
    assert asked(keeper, str(one.id), enclosure_id=house["hot"]).status_code == 403
