"""One Idempotency-Key, one effect."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest

from api.errors import Answer
from api.idempotency import fingerprint, once
from domain.records import journal
from domain.rules.permissions import Role
from tests import makers, people
from tests.api.conftest import make_key

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
    assert answer.json()["detail"] == "This Idempotency-Key was used for another request."
    assert len(sites(client)) == 1


def test_another_caller_is_given_nobody_elses_answer(client, caller, store, organisation):
    client.post("/v1/sites", SITE, Idempotency_Key="k-1")

    answer = caller(make_key(store, organisation_id=organisation)).post("/v1/sites", SITE, Idempotency_Key="k-1")

    assert (answer.status_code, answer.json()["code"]) == (422, "idempotency-key-reused")
    assert len(sites(client)) == 1


def test_a_program_is_not_given_for_one_person_what_it_did_for_another(client, store, organisation):
    first, second = (people.person(store, name, role=Role.REGISTRAR) for name in ("mila", "noor"))
    send = partial(client.post, "/v1/sites", SITE, Idempotency_Key="k-1")

    answers = [send(Reedbed_On_Behalf_Of=str(one.staff_id)) for one in (first, first, second)]

    assert [answer.status_code for answer in answers] == [201, 201, 422]


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
    assert answer.json()["detail"] == "An Idempotency-Key is 1 to 200 printable ASCII characters."


@pytest.mark.parametrize("key", ["k", "x" * 200, '"8e03978e-40d5-43dd-bc93-6894a57f9324"', "a b~!"])
def test_any_printable_key_up_to_200_characters_is_taken(client, key):
    assert client.post("/v1/sites", SITE, Idempotency_Key=key).status_code == 201


def test_without_a_key_every_request_counts(client):
    client.post("/v1/staff", {"name": "A. Keeper", "role": "keeper"})
    client.post("/v1/staff", {"name": "A. Keeper", "role": "keeper"})

    assert len(client.get("/v1/staff").json()["items"]) == 2


def test_an_answer_is_given_again_with_its_media_and_the_headers_that_belong_to_what_was_made(store, organisation):
    tag, cookie = (b"etag", b'"3"'), (b"set-cookie", b"session=1")
    first = Answer(b"tag,site", status=201, headers=[tag, cookie], media=b"text/csv")

    with store.transaction(makers.origin()) as unit:
        once(unit, lambda _: first, key="k-1", request="same")
    with store.transaction(makers.origin()) as unit:
        again = once(unit, lambda _: Answer(b"made twice"), key="k-1", request="same")

    assert (again.status_code, again.body) == (201, b"tag,site")
    assert again.raw_headers == [tag, (b"idempotency-replayed", b"true"), (b"content-length", b"8"), (b"content-type", b"text/csv")]


@pytest.mark.parametrize(
    ("request_line", "digest"),
    [
        (("POST", "/v1/sites", b"{}"), "7aa77c65c85945168fa2bd95c59515069c7c055ffaecc64e8ee86668a8550920"),
        (("POST", "/v1/\udcff", b""), "b1faeed0bd320f888bd33eb150532b9da9dc8646430b26cd5e463a3cb7aef5de"),
    ],
)
def test_a_request_is_known_again_by_a_later_version_of_the_service(request_line, digest):
    assert fingerprint(*request_line) == digest
