"""Overrides through the door."""

from __future__ import annotations

import pytest

from api.bodies.overrides import Override
from api.bodies.records import with_disclaimer
from tests import makers
from tests.api.routes.of_animals import pointers, two_animals


@pytest.fixture
def stated(store, organisation):
    """Return what is said of an override for an animal."""
    (path, _), _ = two_animals(store, organisation)
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        makers.requirement(unit)
        chief = makers.staff(unit)
    return {
        "requirement_code": "XR-1",
        "animal_id": path.rpartition("/")[2],
        "staff_id": str(chief.id),
        "reason": "In custody until the court decides.",
        "evidence": "Letter of 3 February.\nCase 17.",
        "from_on": "2026-02-03",
        "expires_on": "2026-08-31",
    }


def test_an_override_is_registered_read_corrected_and_ended(client, stated):
    made = client.post("/v1/overrides", stated)
    at = made.headers["Location"]

    kept = with_disclaimer(Override).model_validate_json(made.content).model_dump(mode="json")
    assert (made.status_code, {**kept, **stated}, kept["site_id"]) == (201, kept, None)
    assert client.get(at).content == made.content
    assert client.patch(at, {"expires_on": "2026-05-31"}, If_Match='"1"').json()["expires_on"] == "2026-05-31"
    assert client.post(f"{at}/end", {"reason": "entered twice"}).status_code == 200
    assert client.get("/v1/overrides").json()["items"] == []


def test_overrides_are_found_by_what_they_are_for(client, stated):
    site_id = client.post("/v1/sites", {"name": "Tern Point", "zone": "UTC"}).json()["id"]
    client.post("/v1/overrides", stated)
    client.post("/v1/overrides", {**stated, "animal_id": None, "site_id": site_id})

    def found(**query):
        return sorted(str(one["animal_id"]) for one in client.get("/v1/overrides", params=query).json()["items"])

    assert found(requirement_code="XR-1") == found(staff_id=stated["staff_id"]) == [stated["animal_id"], "None"]
    assert (found(animal_id=stated["animal_id"]), found(site_id=site_id)) == ([stated["animal_id"]], ["None"])
    assert found(requirement_code="XR-2") == []


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({"requirement_code": "XR-9"}, ("/requirement_code", "requirement-unknown")),
        ({"animal_id": None}, ("/animal_id", "required")),
        ({"reason": "\n"}, ("/reason", "required")),
        ({"expires_on": "2026-02-02"}, ("/expires_on", "not-together")),
        ({"staff_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, ("/staff_id", "reference-unknown")),
    ],
)
def test_an_override_that_cannot_be_is_refused_by_the_field(client, stated, said, expected):
    answer = client.post("/v1/overrides", {**stated, **said})

    assert (answer.status_code, pointers(answer)) == (422, [expected])


@pytest.mark.parametrize("missing", ["requirement_code", "staff_id", "reason", "evidence", "from_on", "expires_on"])
def test_who_answers_why_and_until_when_is_always_said(client, stated, missing):
    answer = client.post("/v1/overrides", {name: value for name, value in stated.items() if name != missing})

    assert (answer.status_code, pointers(answer)) == (422, [(f"/{missing}", "required")])


def test_another_organisation_has_none_to_show(client, stranger, stated):
    at = client.post("/v1/overrides", stated).headers["Location"]

    assert stranger.get(at).status_code == 404
    assert stranger.get("/v1/overrides").json()["items"] == []
