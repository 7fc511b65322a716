"""Broods that are expected, through the door."""

from __future__ import annotations

import pytest

from api.bodies.broods import ExpectedBrood
from tests.api.routes.of_animals import pointers, two_animals


@pytest.fixture
def animals(store, organisation):
    """Return the paths of two animals at two sites."""
    return two_animals(store, organisation)[0]


def test_a_brood_is_expected_read_corrected_and_ended(client, animals):
    here = f"{animals[0]}/expected-broods"
    made = client.post(here, {"seen_on": "2026-02-10", "expected_on": "2026-04-20", "number_low": 4, "number_high": 7})
    at = made.headers["Location"]

    assert (made.status_code, ExpectedBrood.model_validate_json(made.content).number_high) == (201, 7)
    assert client.get(at).content == made.content
    assert client.get(f"{animals[1]}/expected-broods/{made.json()['id']}").status_code == 404
    assert client.patch(at, {"number_high": None}, If_Match='"1"').json()["number_high"] is None
    assert client.post(f"{at}/end", {"reason": "six hatched"}).status_code == 200
    assert client.get(here).json()["items"] == []
    assert [one["end_reason"] for one in client.get(f"{here}?ended=true").json()["items"]] == ["six hatched"]


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"seen_on": "2026-03-02"}, "/seen_on"),
        ({"seen_on": "2025-04-30"}, "/seen_on"),
        ({"expected_on": "2026-02-09"}, "/expected_on"),
        ({"number_low": 3, "number_high": 2}, "/number_high"),
        ({"outcome_event_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, "/outcome_event_id"),
    ],
)
def test_what_cannot_be_is_refused_by_the_field(client, animals, said, pointer):
    answer = client.post(f"{animals[0]}/expected-broods", {"seen_on": "2026-02-10", **said})

    assert (answer.status_code, [one for one, _ in pointers(answer)]) == (422, [pointer])


def test_what_came_of_it_is_an_event_of_the_young(client, animals):
    taxon = client.get(animals[0]).json()["taxon_id"]
    young = client.post("/v1/animals", {"taxon_id": taxon, "tag": "Y-1", "came_by": "hatched", "acquired_on": "2026-02-20"}).json()["id"]
    [birth] = client.get(f"/v1/animals/{young}/events").json()["items"]
    at = client.post(f"{animals[0]}/expected-broods", {"seen_on": "2026-02-10"}).headers["Location"]

    assert client.patch(at, {"outcome_event_id": birth["id"]}, If_Match='"1"').json()["outcome_event_id"] == birth["id"]


def test_another_organisation_has_none_to_show(stranger, animals):
    assert stranger.get(f"{animals[0]}/expected-broods").status_code == 404
