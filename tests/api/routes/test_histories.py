"""An animal's whole life in one answer."""

from __future__ import annotations

from api.bodies.histories import AnimalHistory
from tests import people
from tests.api.routes.of_animals import two_animals


def told(client, path) -> AnimalHistory:
    answer = client.get(f"{path}/history")
    assert answer.status_code == 200, answer.text
    return AnimalHistory.model_validate_json(answer.content)


def test_what_is_on_record_of_an_animal_stands_in_one_answer_in_the_order_of_its_days(client, store, organisation):
    (child, dam), _ = two_animals(store, organisation)
    client.post(f"{child}/measurements", {"kind": "mass", "mass_g": 120.0, "measured_on": "2025-09-01"})
    client.post(f"{child}/measurements", {"kind": "mass", "mass_g": 100.0, "measured_on": "2025-06-01"})
    client.post(f"{child}/names", {"name": "Odette", "from_on": "2025-05-01"})
    client.post(f"{child}/parents", {"role": "dam", "parent_id": dam.removeprefix("/v1/animals/")})
    client.post(f"{child}/events", {"kind": "sexed", "happened_on": "2025-10-01", "sex": "female"})

    life = told(client, child)

    assert [one.mass_g for one in life.measurements] == [100.0, 120.0]
    assert [(one.kind.value, one.happened_on.isoformat()) for one in life.events] == [("acquired", "2025-05-01"), ("sexed", "2025-10-01")]
    assert [(one.from_on.isoformat(), one.sex.value) for one in life.states] == [("2025-05-01", "unknown"), ("2025-10-01", "female")]
    assert ([one.name for one in life.names], life.animal.name, len(life.placements)) == (["Odette"], "Odette", 1)
    assert [one.tag for one in told(client, dam).offspring] == ["T-1"]
    assert life.taxon.scientific_name == "Testudo fictiva"


def test_what_was_withdrawn_is_counted_and_not_shown(client, store, organisation):
    (animal, _), _ = two_animals(store, organisation)
    made = client.post(f"{animal}/measurements", {"kind": "mass", "mass_g": 120.0, "measured_on": "2025-09-01"})
    client.post(f"{made.headers['Location']}/end", {"reason": "another animal's"})

    life = told(client, animal)

    assert (life.measurements, life.withdrawn) == ([], 1)


def test_a_life_is_told_to_who_reaches_its_site_and_offspring_elsewhere_are_left_out(client, store, organisation, caller, stranger):
    (child, dam), (_, own_site) = two_animals(store, organisation)
    client.post(f"{child}/parents", {"role": "dam", "parent_id": dam.removeprefix("/v1/animals/")})
    bound = caller(people.key(store, scopes=["records.read"], site_ids=[own_site]))

    assert told(bound, dam).offspring == []
    assert [one.tag for one in told(client, dam).offspring] == ["T-1"]
    assert bound.get(f"{child}/history").json()["code"] == "other-site"
    assert stranger.get(f"{dam}/history").status_code == 404
