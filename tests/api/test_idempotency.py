"""One Idempotency-Key, one effect."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from domain.records import journal
from tests import makers

SITE = {"name": "Reedmere House", "zone": "Europe/Lisbon"}


def sites(client):
    return client.get("/v1/sites").json()["items"]


def test_the_first_answer_is_given_again_byte_for_byte(client):
    first = client.post("/v1/sites", SITE, Idempotency_Key="k-1")
    again = client.post("/v1/sites", SITE, Idempotency_Key="k-1")

    assert first.status_code == again.status_code == 201
    assert again.content == first.content
    for name in ("Location", "ETag", "Content-Type"):
        assert again.headers[name] == first.headers[name]
    assert again.headers["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first.headers
    assert len(sites(client)) == 1


def test_the_effect_is_journalled_once(client, store):
    for _ in range(3):
        client.post("/v1/sites", SITE, Idempotency_Key="k-1")

    with store.transaction(makers.origin()) as unit:
        entries = unit.named(journal.ENTRIES_AFTER, after=0, limit=100)
    assert sum('"action":"register_site"' in entry["content"] for entry in entries) == 1


@pytest.mark.parametrize("changed", [{"name": "Other"}, {"note": "x"}])
def test_another_body_under_the_same_key_is_refused(client, changed):
    client.post("/v1/sites", SITE, Idempotency_Key="k-1")

    answer = client.post("/v1/sites", {**SITE, **changed}, Idempotency_Key="k-1")

    assert (answer.status_code, answer.json()["code"]) == (422, "idempotency-key-reused")
    assert len(sites(client)) == 1


def test_another_path_under_the_same_key_is_refused(client, site_id):
    client.post(f"/v1/sites/{site_id}/end", {"reason": "sold"}, Idempotency_Key="k-1")

    answer = client.post("/v1/sites", {"reason": "sold"}, Idempotency_Key="k-1")

    assert answer.status_code == 422


def test_an_end_is_given_again_and_not_a_conflict(client, site_id):
    first = client.post(f"/v1/sites/{site_id}/end", {"reason": "sold"}, Idempotency_Key="k-1")
    again = client.post(f"/v1/sites/{site_id}/end", {"reason": "sold"}, Idempotency_Key="k-1")
    without = client.post(f"/v1/sites/{site_id}/end", {"reason": "sold"})

    assert again.content == first.content
    assert without.status_code == 409


def test_a_refusal_is_not_kept(client):
    refused = client.post("/v1/sites", {**SITE, "zone": "Nowhere/Land"}, Idempotency_Key="k-1")
    made = client.post("/v1/sites", SITE, Idempotency_Key="k-1")

    assert refused.status_code == 422
    assert made.status_code == 201


def test_a_refusal_by_the_database_is_not_kept(client, site_id):
    conflict = client.post("/v1/sites", SITE, Idempotency_Key="k-1")
    client.post(f"/v1/sites/{site_id}/end", {"reason": "sold"})

    assert conflict.status_code == 409
    assert client.post("/v1/sites", SITE, Idempotency_Key="k-1").status_code == 201


def test_organisations_do_not_share_keys(client, stranger):
    mine = client.post("/v1/sites", SITE, Idempotency_Key="k-1")
    theirs = stranger.post("/v1/sites", SITE, Idempotency_Key="k-1")

    assert theirs.status_code == 201
    assert theirs.json()["id"] != mine.json()["id"]


def test_requests_at_the_same_time_have_one_effect(client):
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: client.post("/v1/sites", SITE, Idempotency_Key="k-1"), range(16)))

    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert sum("Idempotency-Replayed" not in answer.headers for answer in answers) == 1
    assert len(sites(client)) == 1


@pytest.mark.parametrize("key", ["", "x" * 201, "żaba".encode().decode("latin-1"), "a\tb"])
def test_a_malformed_key_is_refused(client, key):
    answer = client.request("POST", "/v1/sites", json=SITE, headers={b"Idempotency-Key": key.encode("latin-1")})

    assert (answer.status_code, answer.json()["code"]) == (400, "idempotency-key-malformed")


@pytest.mark.parametrize("key", ["k", "x" * 200, '"8e03978e-40d5-43dd-bc93-6894a57f9324"', "a b~!"])
def test_any_printable_key_up_to_200_characters_is_taken(client, key):
    assert client.post("/v1/sites", SITE, Idempotency_Key=key).status_code == 201


def test_without_a_key_every_request_counts(client):
    client.post("/v1/staff", {"name": "A. Keeper", "role": "keeper"})
    client.post("/v1/staff", {"name": "A. Keeper", "role": "keeper"})

    assert len(client.get("/v1/staff").json()["items"]) == 2
