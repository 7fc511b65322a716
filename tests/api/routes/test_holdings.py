"""Holdings and names through the door."""

from __future__ import annotations

import pytest

from api.bodies.holdings import CallName, Holding
from tests.api.routes.of_animals import pointers, two_animals


@pytest.fixture
def animals(store, organisation):
    """Return the paths of two animals at two sites."""
    return two_animals(store, organisation)[0]


def loan(from_on, **rest):
    return {"kind": "loan_in", "party": "Saltings Aquarium", "from_on": from_on, **rest}


def test_a_holding_is_recorded_read_corrected_and_ended(client, animals):
    path = f"{animals[0]}/holdings"
    made = client.post(path, loan("2025-06-01", due_back_on="2027-06-01", terms="half of the offspring"))
    at = made.headers["Location"]

    assert (made.status_code, str(Holding.model_validate_json(made.content).due_back_on)) == (201, "2027-06-01")
    assert client.get(at).content == made.content
    assert client.patch(at, {"due_back_on": "2028-06-01"}, If_Match='"1"').json()["due_back_on"] == "2028-06-01"
    assert client.get(f"{animals[1]}/holdings/{made.json()['id']}").status_code == 404
    assert client.post(f"{at}/end", {"reason": "never signed"}).status_code == 200
    assert client.get(path).json()["items"] == []


def test_a_new_holding_takes_over_and_each_day_has_one(client, animals):
    path = f"{animals[0]}/holdings"
    client.post(path, loan("2025-06-01"))
    assert client.post(path, {"kind": "owned", "from_on": "2025-09-15"}).status_code == 201

    def kinds(query):
        return sorted(one["kind"] for one in client.get(f"{path}{query}").json()["items"])

    assert kinds("") == ["loan_in", "owned"]
    assert kinds("?as_of=2025-09-14") == ["loan_in"]
    assert kinds("?as_of=2025-09-15") == ["owned"]
    assert kinds("?as_of=2025-05-31") == []
    assert kinds("?kind=owned") == ["owned"]
    answer = client.post(path, loan("2025-07-01", until_on="2025-07-31"))
    assert (answer.status_code, pointers(answer)) == (409, [("/from_on", "overlap")])


def test_the_animal_shows_its_name_without_end(client, animals):
    path = f"{animals[0]}/names"
    made = client.post(path, {"name": "Reed", "from_on": "2025-06-01"})
    at = made.headers["Location"]

    def shown():
        return client.get(animals[0]).json()["name"]

    assert (made.status_code, CallName.model_validate_json(made.content).name, shown()) == (201, "Reed", "Reed")
    client.post(path, {"name": "Sedge", "from_on": "2025-09-01"})
    assert (client.get(at).json()["until_on"], shown()) == ("2025-08-31", "Sedge")
    assert [one["name"] for one in client.get(f"{path}?as_of=2025-07-01").json()["items"]] == ["Reed"]
    answer = client.post(path, {"name": "Dot", "from_on": "2025-09-01"})
    assert (answer.status_code, pointers(answer)) == (409, [("/from_on", "overlap")])
    assert client.patch(at, {"name": "Reeda"}, If_Match='"2"').json()["name"] == "Reeda"
    assert shown() == "Sedge"


@pytest.mark.parametrize(
    ("stated", "pointer"),
    [
        ({"kind": "loan_in", "from_on": "2025-06-01"}, "/party"),
        (loan("2025-06-01", until_on="2025-05-31"), "/until_on"),
        (loan("2026-03-02"), "/from_on"),
        (loan("2025-04-30"), "/from_on"),
        ({"kind": "rented", "from_on": "2025-06-01"}, "/kind"),
        ({"kind": "owned", "from_on": "2025-06-01", "owner": "x"}, "/owner"),
    ],
)
def test_a_holding_that_cannot_be_is_named(client, animals, stated, pointer):
    answer = client.post(f"{animals[0]}/holdings", stated)

    assert (answer.status_code, [one for one, _ in pointers(answer)]) == (422, [pointer])
