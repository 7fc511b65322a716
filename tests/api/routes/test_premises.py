"""What is known of premises through the door."""

from __future__ import annotations

import pytest

from api.bodies.premises import Premises
from api.bodies.records import with_disclaimer
from tests.api.routes.of_animals import pointers


@pytest.fixture
def here(site_id):
    return f"/v1/sites/{site_id}/premises"


def test_premises_are_recorded_read_corrected_and_ended(client, here, site_id):
    said = {
        "from_on": "2025-01-01",
        "holder_kind": "charity",
        "kinds": ["zoo", "rescue-centre"],
        "public_days": 120,
        "note": "register no. 7",
    }
    made = client.post(here, said)
    at = made.headers["Location"]

    kept = with_disclaimer(Premises).model_validate_json(made.content).model_dump(mode="json")
    assert (made.status_code, {**kept, **said}, kept["site_id"], kept["until_on"]) == (201, kept, site_id, None)
    assert client.get(at).content == made.content
    changed = client.patch(at, {"kinds": [], "public_days": None}, If_Match='"1"').json()
    assert (changed["kinds"], changed["public_days"], changed["holder_kind"]) == ([], None, "charity")
    assert client.patch(at, {"kinds": None}, If_Match='"2"').json()["kinds"] is None
    assert client.post(f"{at}/end", {"reason": "misread"}).status_code == 200
    assert client.get(here).json()["items"] == []


def test_each_day_has_one_record_and_is_asked_for(client, here):
    client.post(here, {"from_on": "2025-01-01", "public_days": 5})
    client.post(here, {"from_on": "2025-07-01", "public_days": 40})

    def days(query):
        return sorted(one["public_days"] for one in client.get(f"{here}{query}").json()["items"])

    assert days("") == [5, 40]
    assert (days("?as_of=2025-06-30"), days("?as_of=2025-07-01"), days("?as_of=2024-12-31")) == ([5], [40], [])
    answer = client.post(here, {"from_on": "2025-03-01", "until_on": "2025-03-31"})
    assert (answer.status_code, pointers(answer)) == (409, [("/from_on", "overlap")])


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"from_on": "2026-03-02"}, "/from_on"),
        ({"until_on": "2024-12-31"}, "/until_on"),
        ({"public_days": 367}, "/public_days"),
        ({"kinds": ["Zoo"]}, "/kinds/0"),
        ({"kinds": "zoo"}, "/kinds"),
        ({"holder_kind": "9lives"}, "/holder_kind"),
        ({"site_id": "019ca945-0a00-7303-9a41-d18b21ab2c01"}, "/site_id"),
    ],
)
def test_what_cannot_be_is_refused_by_the_field(client, here, said, pointer):
    answer = client.post(here, {"from_on": "2025-01-01", **said})

    assert (answer.status_code, [one for one, _ in pointers(answer)]) == (422, [pointer])


def test_premises_are_found_under_their_own_site_alone(client, stranger, here):
    other = client.post("/v1/sites", {"name": "Saltings Hall", "zone": "UTC"}).json()["id"]
    made = client.post(here, {"from_on": "2025-01-01"}).json()["id"]

    assert client.get(f"/v1/sites/{other}/premises/{made}").status_code == 404
    assert client.get(f"/v1/sites/{other}/premises").json()["items"] == []
    assert stranger.get(here).status_code == 404
