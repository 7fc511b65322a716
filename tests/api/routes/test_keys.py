"""Keys are told once, last a year at most, reach no further than whoever makes them, and make way for a successor."""

from __future__ import annotations

import pytest

from api.answers import told_once
from api.errors import Answer
from api.idempotency import once
from api.passwords import Passwords
from domain.rules.permissions import Role
from tests import makers
from tests.people import CHEAP, Clock, key, person, signed_in

LOST = {"reason": "lost"}


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def app(app, clock):
    app.state.house.clock = clock
    app.state.house.passwords = Passwords(CHEAP)
    return app


@pytest.fixture
def admin(store, organisation, caller):
    return signed_in(caller, person(store, "chief", role=Role.ADMINISTRATOR))


def test_a_key_is_told_once_and_signs_in(admin, caller):
    made = admin.post("/v1/keys", {"name": "front end", "scopes": ["records.read"]})

    assert made.status_code == 201
    told = made.json()
    assert told["key"].startswith(f"rbk_{told['public_id']}_")
    assert caller(told["key"]).get("/v1/sites").status_code == 200
    one, listed = admin.get(made.headers["Location"]), admin.get("/v1/keys").json()["items"]
    shown = {name: value for name, value in told.items() if name != "key"}
    assert one.json() == shown
    assert listed == [shown]
    assert admin.get(made.headers["Location"], headers={"If-None-Match": one.headers["ETag"]}).status_code == 304


def test_an_answer_that_is_given_again_tells_no_key(admin):
    stated = {"name": "front end", "scopes": ["records.read"]}

    first, again = (admin.post("/v1/keys", stated, Idempotency_Key="k-1") for _ in range(2))

    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.json() == {**first.json(), "key": None}


def test_an_answer_that_is_kept_as_it_is_sent_would_tell_the_key_again(store, organisation):
    def act(_):
        return Answer(b'{"key":"rbk_1_secret"}', status=201)

    for told in (act, lambda _: told_once({}, secret="key", text="rbk_1_secret", status=201)):
        with store.transaction(makers.origin()) as unit:
            once(unit, told, key=f"k-{told is act}", request="r")
    with store.transaction(makers.origin()) as unit:
        again = {naive: once(unit, act, key=f"k-{naive}", request="r").body for naive in (True, False)}

    assert again == {True: b'{"key":"rbk_1_secret"}', False: b'{"key":null}'}


def test_a_key_lasts_a_year_and_no_longer(admin):
    def last_day(**stated):
        answer = admin.post("/v1/keys", {"name": "front end", **stated})
        return answer.json().get("expires_on") or [fault["code"] for fault in answer.json()["errors"] if fault["pointer"] == "/expires_on"]

    assert last_day() == "2027-03-01"
    assert last_day(expires_on="2027-03-01") == "2027-03-01"
    assert last_day(expires_on="2026-03-01") == "2026-03-01"
    assert last_day(expires_on="2027-03-02") == ["too-late"]
    assert last_day(expires_on="2026-02-28") == ["past"]


def test_what_a_key_is_for_has_to_exist(admin, site_id):
    for stated, pointer in (
        ({"scopes": []}, "/scopes"),
        ({"scopes": ["everything"]}, "/scopes/0"),
        ({"site_ids": []}, "/site_ids"),
        ({"site_ids": [site_id, "0190f3a0-0000-7000-8000-000000000000"]}, "/site_ids/1"),
    ):
        answer = admin.post("/v1/keys", {"name": "front end", **stated})
        assert (answer.status_code, [fault["pointer"] for fault in answer.json()["errors"]]) == (422, [pointer])
    admin.post(f"/v1/sites/{site_id}/end", {"reason": "sold"})
    assert admin.post("/v1/keys", {"name": "front end", "site_ids": [site_id]}).json()["code"] == "reference-ended"


def test_when_a_key_was_last_used_is_seen_to_the_hour(app, admin, caller, clock, store):
    told = admin.post("/v1/keys", {"name": "front end", "scopes": ["records.read"]}).json()
    clock.forward(minutes=30)
    caller(told["key"]).get("/v1/sites")
    app.state.house.uses.write_down(store, now=clock.now)

    assert admin.get(f"/v1/keys/{told['id']}").json()["last_used_at"] == "2026-03-01T12:30:00.000000Z"
    assert admin.get("/v1/keys").json()["items"][0]["last_used_at"] == "2026-03-01T12:30:00.000000Z"
    assert admin.post(f"/v1/keys/{told['id']}/end", LOST).json()["last_used_at"] == "2026-03-01T12:30:00.000000Z"


def test_the_first_request_after_a_key_ended_is_refused(admin, caller):
    told = admin.post("/v1/keys", {"name": "front end", "scopes": ["records.read"]}).json()
    program = caller(told["key"])
    assert program.get("/v1/sites").status_code == 200

    assert admin.post(f"/v1/keys/{told['id']}/end", LOST).status_code == 200

    assert program.get("/v1/sites").status_code == 401
    assert admin.post(f"/v1/keys/{told['id']}/end", LOST).json()["code"] == "ended"


def test_two_keys_live_while_one_takes_the_place_of_the_other(admin, caller, clock, site_id):
    facts = {"name": "front end", "scopes": ["records.read"], "site_ids": [site_id]}
    old = admin.post("/v1/keys", facts).json()

    answer = admin.post(f"/v1/keys/{old['id']}/rotate", {"overlap_days": 7})

    assert answer.status_code == 201
    new = answer.json()
    assert {name: new[name] for name in facts} == facts
    assert (new["successor_of"], new["expires_on"]) == (old["id"], "2027-03-01")
    assert admin.get(f"/v1/keys/{old['id']}").json()["expires_on"] == "2026-03-08"
    assert admin.post(f"/v1/keys/{old['id']}/rotate", {"overlap_days": 7}).json()["code"] == "rotated"
    clock.forward(days=7)
    assert [caller(one["key"]).get("/v1/sites").status_code for one in (old, new)] == [200, 200]
    clock.forward(days=1)
    assert [caller(one["key"]).get("/v1/sites").status_code for one in (old, new)] == [401, 200]


def test_without_an_overlap_the_old_key_ends_at_once(admin, caller):
    old = admin.post("/v1/keys", {"name": "front end"}).json()

    new = admin.post(f"/v1/keys/{old['id']}/rotate", {"overlap_days": 0}).json()

    assert [caller(one["key"]).get("/v1/sites").status_code for one in (old, new)] == [401, 200]
    assert admin.get(f"/v1/keys/{old['id']}").json()["end_reason"] == "rotated"
    assert admin.post(f"/v1/keys/{old['id']}/rotate", {"overlap_days": 0}).json()["code"] == "ended"


def test_an_overlap_does_not_make_the_old_key_last_longer(admin, clock):
    old = admin.post("/v1/keys", {"name": "front end", "expires_on": "2026-03-03"}).json()

    assert admin.post(f"/v1/keys/{old['id']}/rotate", {"overlap_days": 30}).status_code == 201

    assert admin.get(f"/v1/keys/{old['id']}").json()["expires_on"] == "2026-03-03"
    for days in (-1, 31, 1.5, True):
        assert admin.post(f"/v1/keys/{old['id']}/rotate", {"overlap_days": days}).status_code == 422
    spare = admin.post("/v1/keys", {"name": "spare", "expires_on": "2026-03-01"}).json()
    clock.forward(days=1, hours=-13)
    assert admin.post(f"/v1/keys/{spare['id']}/rotate", {"overlap_days": 1}).status_code == 201


def test_a_key_makes_none_that_may_do_more(store, organisation, caller):
    makes = caller(key(store, scopes=["administration"]))
    reads = key(store, scopes=["administration", "records.read"])
    other = caller(reads)
    [target] = [one for one in other.get("/v1/keys").json()["items"] if "records.read" in one["scopes"]]

    more = makes.post("/v1/keys", {"name": "front end", "scopes": ["administration", "records.write"]})
    by_access = makes.post("/v1/keys", {"name": "front end", "access": "read"})
    rotated = makes.post(f"/v1/keys/{target['id']}/rotate", {"overlap_days": 1})

    assert [(one.status_code, one.json()["code"]) for one in (more, by_access, rotated)] == [(403, "scope-not-yours")] * 3
    assert "records.write" in more.json()["detail"]
    assert makes.post("/v1/keys", {"name": "front end", "scopes": ["administration"]}).status_code == 201
    assert other.post("/v1/keys", {"name": "front end", "scopes": ["records.read"]}).status_code == 201


def test_a_program_that_acts_for_a_curator_makes_no_key_for_administration(store, organisation, caller):
    person(store, "chief", role=Role.ADMINISTRATOR)
    curator = person(store, "mila", role=Role.CURATOR)
    program = caller(key(store, scopes=["administration", "records.read"]))

    answer = program.post("/v1/keys", {"name": "x", "scopes": ["administration"]}, Reedbed_On_Behalf_Of=str(curator.staff_id))

    assert answer.status_code == 403


def test_an_administrator_of_one_site_makes_and_sees_keys_for_it_alone(store, organisation, caller, site_id):
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Second House").id)
    bound = signed_in(caller, person(store, "host", role=Role.ADMINISTRATOR, site_id=site_id))
    key(store, name="everywhere", scopes=["records.read"])
    key(store, name="both", scopes=["records.read"], site_ids=[site_id, other])
    everything = signed_in(caller, person(store, "chief", role=Role.ADMINISTRATOR)).get("/v1/keys").json()["items"]

    made = bound.post("/v1/keys", {"name": "here", "scopes": ["records.read"], "site_ids": [site_id]})
    assert made.status_code == 201
    for site_ids in ([other], [site_id, other], None):
        answer = bound.post("/v1/keys", {"name": "there", "scopes": ["records.read"], "site_ids": site_ids})
        assert (answer.status_code, answer.json()["code"]) == (403, "other-site")
    assert [one["name"] for one in bound.get("/v1/keys").json()["items"]] == ["here"]
    for one in everything:
        path = f"/v1/keys/{one['id']}"
        answers = [bound.get(path), bound.post(f"{path}/rotate", {"overlap_days": 0}), bound.post(f"{path}/end", LOST)]
        assert [(answer.status_code, answer.json()["code"]) for answer in answers] == [(403, "other-site")] * 3
    assert bound.post(f"/v1/keys/{made.json()['id']}/rotate", {"overlap_days": 0}).status_code == 201
