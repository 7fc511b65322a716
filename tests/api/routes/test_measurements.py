"""Measurements through the door: what is asked back, and how it is confirmed."""

from __future__ import annotations

import pytest

from api.bodies.measurements import Measurement
from tests.api.routes.of_animals import pointers, two_animals


@pytest.fixture
def measurements(store, organisation):
    """Return the paths of the measurements of two animals at two sites."""
    return [f"{path}/measurements" for path in two_animals(store, organisation)[0]]


def mass(mass_g, measured_on="2025-06-01", **rest):
    return {"kind": "mass", "mass_g": mass_g, "measured_on": measured_on, **rest}


def test_a_measurement_is_recorded_read_corrected_and_ended(client, measurements):
    made = client.post(measurements[0], mass(1200, method="kitchen scale"))
    at = made.headers["Location"]

    assert (made.status_code, Measurement.model_validate_json(made.content).mass_g) == (201, 1200.0)
    assert client.get(at).content == made.content
    assert client.patch(at, {"mass_g": 1210.5}, If_Match='"1"').json()["mass_g"] == 1210.5
    assert client.post(f"{at}/end", {"reason": "another animal"}).json()["end_reason"] == "another animal"
    assert client.get(measurements[0]).json()["items"] == []


def test_a_slip_of_the_unit_is_asked_back_on_its_field_and_taken_when_confirmed(client, measurements):
    client.post(measurements[0], mass(1200))
    answer = client.post(measurements[0], mass(1.2, "2025-07-01"))

    assert (answer.status_code, answer.json()["code"], pointers(answer)) == (422, "unit-slip", [("/mass_g", "unit-slip")])
    assert "1.2 kilograms would be 1200 g" in answer.json()["errors"][0]["detail"]
    assert [one["mass_g"] for one in client.get(measurements[0]).json()["items"]] == [1200]
    taken = client.post(measurements[0], mass(1.2, "2025-07-01", confirmed=True))
    assert (taken.status_code, taken.json()["surprising"], "confirmed" in taken.json()) == (201, True, False)
    assert pointers(client.post(measurements[0], mass(1.2, confirmed="yes"))) == [("/confirmed", "not-true-false")]


def test_a_correction_is_asked_back_as_well(client, measurements):
    client.post(measurements[0], mass(1200))
    at = client.post(measurements[0], mass(1210, "2025-07-01")).headers["Location"]

    assert pointers(client.patch(at, {"mass_g": 121}, If_Match='"1"')) == [("/mass_g", "unit-slip")]
    assert client.patch(at, {"mass_g": 121, "confirmed": True}, If_Match='"1"').json()["surprising"] is True
    assert client.patch(at, {"confirmed": None, "note": "thin"}, If_Match='"2"').json()["surprising"] is True


def test_a_list_holds_the_animals_own_measurements_by_kind(client, measurements):
    client.post(measurements[0], mass(1200))
    length = {"kind": "total_length", "length_mm": 305, "measured_on": "2025-06-01"}
    own = client.post(measurements[0], length).json()["id"]
    client.post(measurements[1], mass(80))

    assert {one["kind"] for one in client.get(measurements[0]).json()["items"]} == {"mass", "total_length"}
    assert [one["id"] for one in client.get(f"{measurements[0]}?kind=total_length").json()["items"]] == [own]
    assert client.get(f"{measurements[1]}/{own}").status_code == 404


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [
        (mass(0), "/mass_g"),
        (mass("120"), "/mass_g"),
        (mass(None), "/mass_g"),
        (mass(120, "2026-03-02"), "/measured_on"),
        (mass(120, of_number=0), "/of_number"),
        (mass(120, of_number=2), "/of_number"),
        (mass(120, length_mm=3), "/length_mm"),
        (mass(120, surprising=True), "/surprising"),
        (mass(120, staff_id="019ca945-0a00-7303-9a41-d18b21ab2c01"), "/staff_id"),
    ],
)
def test_a_fact_that_cannot_be_is_named(client, measurements, stated, pointer):
    answer = client.post(measurements[0], stated)

    assert (answer.status_code, [one for one, _ in pointers(answer)]) == (422, [pointer])
