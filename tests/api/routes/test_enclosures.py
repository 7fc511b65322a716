"""Enclosures through the door: shapes that change, and names that are there already."""

from __future__ import annotations

import pytest

BOX = {"kind": "box", "length_m": 2.0, "width_m": 1.0, "water_depth_m": 0.5}
CYLINDER = {"kind": "cylinder", "diameter_m": 2.0, "water_depth_m": 0.5}


@pytest.fixture
def pool(client, site_id):
    return client.post("/v1/enclosures", {"site_id": site_id, "name": "Pool", "shape": BOX}).headers["Location"]


def correct(client, pool, **shape):
    return client.patch(pool, {"shape": shape}, If_Match='"1"')


def test_a_shape_takes_another_kind_in_one_correction(client, pool):
    answer = correct(client, pool, **CYLINDER)

    assert (answer.status_code, answer.json()["shape"]) == (200, CYLINDER)
    assert answer.json()["floor_m2"] == pytest.approx(3.14159, abs=1e-5)


def test_a_dimension_of_a_shape_is_corrected_alone(client, pool):
    assert correct(client, pool, length_m=3.0).json()["shape"] == {**BOX, "length_m": 3.0}


@pytest.mark.parametrize(
    ("shape", "pointer"),
    [({"length_m": None}, "/shape/length_m"), ({"kind": "cylinder"}, "/shape/diameter_m"), ({"wall_m": 0.1}, "/shape/wall_m")],
)
def test_a_dimension_that_is_wrong_is_named_as_the_caller_wrote_it(client, pool, shape, pointer):
    answer = correct(client, pool, **shape)

    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)


def test_a_name_that_is_there_already_is_named(client, pool, site_id):
    answer = client.post("/v1/enclosures", {"site_id": site_id, "name": "POOL"})

    assert answer.status_code == 409
    assert answer.json()["errors"] == [{"pointer": "/name", "code": "already-there", "detail": "There is already a record with this name."}]


def test_an_enclosure_says_how_many_it_is_for_how_it_closes_and_whether_it_is_for_quarantine(client, site_id, pool):
    plain = client.get(pool).json()
    assert (plain["capacity"], plain["closure"], plain["quarantine"]) == (None, None, False)

    stated = {"capacity": 4, "closure": "locked_twice", "quarantine": True}
    made = client.post("/v1/enclosures", {"site_id": site_id, "name": "Hot room 1", **stated})
    assert made.status_code == 201
    assert {**made.json(), **stated} == made.json() == client.get(made.headers["Location"]).json()
    changed = client.patch(made.headers["Location"], {"capacity": None, "closure": "latched", "quarantine": False}, If_Match='"1"')
    assert changed.status_code == 200
    assert (changed.json()["capacity"], changed.json()["closure"], changed.json()["quarantine"]) == (None, "latched", False)


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        ({"capacity": 0}, "greater-than-equal"),
        ({"capacity": 10_000_001}, "less-than-equal"),
        ({"capacity": 1.5}, "not-whole-number"),
        ({"closure": "bolted"}, "not-one-of"),
        ({"quarantine": "yes"}, "not-true-false"),
    ],
)
def test_what_cannot_be_said_of_an_enclosure_is_refused_by_the_field(client, site_id, stated, code):
    answer = client.post("/v1/enclosures", {"site_id": site_id, "name": "Hot room 1", **stated})

    assert answer.status_code == 422
    assert [(one["pointer"], one["code"]) for one in answer.json()["errors"]] == [(f"/{next(iter(stated))}", code)]
