"""Parents and offspring through the door."""

from __future__ import annotations

import pytest

from api.bodies.kinship import Parent, ParentPage
from tests import people
from tests.api.routes.of_animals import pointers, two_animals


@pytest.fixture
def animals(store, organisation):
    """Return the paths of two animals at two sites."""
    return two_animals(store, organisation)[0]


def parent(path, role="dam", **rest):
    return {"role": role, "parent_id": path.removeprefix("/v1/animals/"), **rest}


def test_a_parent_is_recorded_read_corrected_and_ended(client, animals):
    child, dam = animals
    made = client.post(f"{child}/parents", parent(dam, certainty="probable", known_by="kept together"))
    at = made.headers["Location"]

    assert (made.status_code, Parent.model_validate_json(made.content).certainty) == (201, "probable")
    assert client.get(at).content == made.content
    assert client.patch(at, {"certainty": "certain"}, If_Match='"1"').json()["certainty"] == "certain"
    assert client.get(f"{dam}/parents/{made.json()['id']}").status_code == 404
    assert client.post(f"{at}/end", {"reason": "a test says otherwise"}).status_code == 200
    assert client.get(f"{child}/parents").json()["items"] == []
    assert client.get(f"{dam}/offspring").json()["items"] == []


def test_offspring_are_whoever_has_the_animal_as_a_parent(client, animals, stranger):
    child, dam = animals
    client.post(f"{child}/parents", parent(dam))
    client.post(f"{child}/parents", {"role": "sire", "elsewhere": "a wild one"})

    found = ParentPage.model_validate_json(client.get(f"{dam}/offspring").content)
    assert [(f"/v1/animals/{one.animal_id}", one.role) for one in found.items] == [(child, "dam")]
    assert client.get(f"{dam}/offspring?role=sire").json()["items"] == []
    assert client.get(f"{child}/offspring").json()["items"] == []
    assert {one["role"] for one in client.get(f"{child}/parents").json()["items"]} == {"dam", "sire"}
    assert stranger.get(f"{dam}/offspring").status_code == 404


def test_offspring_at_a_site_that_is_not_reached_are_not_listed(store, organisation, client, caller):
    (child, dam), (_, own_site) = two_animals(store, organisation)
    client.post(f"{child}/parents", parent(dam))
    bound = caller(people.key(store, scopes=["records.read"], site_ids=[own_site]))

    assert bound.get(f"{dam}/offspring").json()["items"] == []
    assert bound.get(f"{child}/offspring").json()["code"] == "other-site"


def test_who_cannot_be_a_parent_is_named(client, animals):
    child, dam = animals
    client.post(f"{child}/parents", parent(dam))

    assert pointers(client.post(f"{child}/parents", parent(child))) == [("/parent_id", "own-parent")]
    assert pointers(client.post(f"{dam}/parents", parent(child))) == [("/parent_id", "circular")]
    answer = client.post(f"{child}/parents", {"role": "dam", "elsewhere": "another"})
    assert (answer.status_code, pointers(answer)) == (409, [("/certainty", "certain-already")])
    assert pointers(client.post(f"{child}/parents", {"role": "sire"})) == [("/parent_id", "not-together")]
