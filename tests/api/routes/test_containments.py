"""Containment rules through the doors."""

from __future__ import annotations

RULE = {"hazard": "venomous", "from_on": "2025-01-01", "least_closure": "locked", "source": "Safety code 2"}


def test_rules_of_a_class_follow_one_another(client):
    first = client.post("/v1/containments", RULE)
    second = client.post("/v1/containments", {**RULE, "from_on": "2026-01-01", "least_closure": "locked_twice", "competence_needed": True})
    client.post("/v1/containments", {**RULE, "hazard": "dangerous"})

    assert (first.status_code, second.status_code, first.json()["competence_needed"]) == (201, 201, False)
    found = client.get("/v1/containments", params={"hazard": "venomous"}).json()["items"]
    assert sorted((one["from_on"], one["until_on"], one["least_closure"]) for one in found) == [
        ("2025-01-01", "2025-12-31", "locked"),
        ("2026-01-01", None, "locked_twice"),
    ]
    on_day = client.get("/v1/containments", params={"as_of": "2025-12-31"}).json()["items"]
    assert sorted((one["hazard"], one["least_closure"]) for one in on_day) == [("dangerous", "locked"), ("venomous", "locked")]


def test_a_rule_beside_another_is_a_conflict_and_a_wrong_one_is_mended(client):
    made = client.post("/v1/containments", RULE).json()
    here = f"/v1/containments/{made['id']}"

    answer = client.post("/v1/containments", RULE)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (409, "/from_on")
    changed = client.patch(here, {"least_closure": "latched"}, If_Match='"1"')
    assert (changed.status_code, changed.json()["least_closure"]) == (200, "latched")
    assert client.post(f"{here}/end", {"reason": "entered by mistake"}).status_code == 200
    assert client.get(here).json()["end_reason"] == "entered by mistake"
    assert client.post("/v1/containments", RULE).status_code == 201


def test_another_organisations_rule_is_not_there(client, stranger):
    made = client.post("/v1/containments", RULE).json()

    assert stranger.get(f"/v1/containments/{made['id']}").status_code == 404
    assert stranger.get("/v1/containments").json()["items"] == []
