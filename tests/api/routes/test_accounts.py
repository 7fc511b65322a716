"""Accounts are made with a code that is told once; nobody opens a door for themselves, or one that leads further than they reach."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from api.codes import code_sha256
from api.passwords import Passwords
from domain.records import journal
from domain.rules.permissions import Role
from tests import makers
from tests.people import CHEAP, Clock, key, person, sign_in, signed_in

NEW = "heron gravel tin whistle"
LEFT = {"reason": "left"}


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def app(app, clock):
    app.state.house.clock = clock
    app.state.house.passwords = Passwords(CHEAP)
    return app


@pytest.fixture
def chief(store, organisation):
    return person(store, "chief", role=Role.ADMINISTRATOR)


@pytest.fixture
def admin(caller, chief):
    """Return a caller who is signed in as an administrator of the whole organisation."""
    return signed_in(caller, chief)


def staff(client, **stated):
    return client.post("/v1/staff", {"name": "Mila Reed", "role": "keeper", **stated}).json()["id"]


def account(client, **stated):
    return client.post("/v1/accounts", {"staff_id": staff(client), "sign_in_name": "mila", **stated})


def test_an_account_is_made_with_a_code_that_is_told_once(admin, caller, organisation):
    made = account(admin)

    assert made.status_code == 201
    code = made.json()["code"]
    assert made.json()["code_expires_at"] == "2026-03-04T12:00:00.000000Z"
    assert made.headers["Location"] == f"/v1/accounts/{made.json()['id']}"
    said = {"organisation_id": organisation, "sign_in_name": "Mila", "code": code, "password": NEW}
    assert caller(None).post("/v1/passwords", said).status_code == 200
    assert caller(None).post("/v1/sessions", {"organisation_id": organisation, "sign_in_name": "mila", "password": NEW}).status_code == 201


def test_no_code_and_no_hash_is_in_any_list_or_journal(admin, store):
    made = account(admin).json()

    one, listed = admin.get(f"/v1/accounts/{made['id']}"), admin.get("/v1/accounts?sign_in_name=MILA")

    facts = {"id", "version", "created_at", "ended_on", "end_reason", "staff_id", "sign_in_name", "password_set_at"}
    assert set(one.json()) == facts
    assert [set(item) for item in listed.json()["items"]] == [facts]
    with store.transaction(makers.origin()) as unit:
        entries = unit.named(journal.ENTRIES_AFTER, after=0, limit=100)
    everything = one.text + listed.text + "".join(entry["content"] for entry in entries)
    assert made["code"] not in everything
    assert "argon2" not in everything
    assert code_sha256(made["code"]) not in everything


def test_an_answer_that_is_given_again_tells_no_code(admin, store):
    stated = {"staff_id": staff(admin), "sign_in_name": "mila"}

    first, again = (admin.post("/v1/accounts", stated, Idempotency_Key="k-1") for _ in range(2))

    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.json() == {**first.json(), "code": None}
    assert again.headers["Location"] == first.headers["Location"]
    assert first.json()["code"] is not None


def test_a_name_is_taken_once_however_it_is_spelt(admin):
    account(admin)

    again = account(admin, sign_in_name=" MILA")

    assert (again.status_code, again.json()["errors"][0]["pointer"]) == (409, "/sign_in_name")


def test_a_reset_voids_the_password_and_tells_another_code(admin, caller, store):
    who = person(store)

    answer = admin.post(f"/v1/accounts/{who.account_id}/reset", {})

    assert answer.status_code == 200
    assert answer.json()["password_set_at"] is None
    assert sign_in(caller(None), who).status_code == 401
    set_anew = {**who.who, "code": answer.json()["code"], "password": NEW}
    assert caller(None).post("/v1/passwords", set_anew).status_code == 200
    assert sign_in(caller(None), who, NEW).status_code == 201


def test_an_account_that_ended_leaves_its_name_to_others_and_is_not_opened_again(admin, store):
    who = person(store)
    ended = admin.post(f"/v1/accounts/{who.account_id}/end", LEFT)

    assert (ended.status_code, ended.json()["ended_on"]) == (200, "2026-03-01")
    assert admin.post(f"/v1/accounts/{who.account_id}/reset", {}).json()["code"] == "ended"
    assert admin.post(f"/v1/accounts/{who.account_id}/end", LEFT).json()["code"] == "ended"
    assert account(admin).status_code == 201


def test_nobody_opens_a_door_for_themselves(admin, chief, store, caller):
    own = f"/v1/accounts/{chief.account_id}"
    tries = [
        ("/v1/accounts", {"staff_id": str(chief.staff_id), "sign_in_name": "second"}),
        (f"{own}/reset", {}),
        (f"{own}/end", LEFT),
        (f"{own}/identities", {"issuer": "https://id.example", "subject": "7"}),
        (f"/v1/staff/{chief.staff_id}/grants", {"role": "auditor"}),
    ]
    program = caller(key(store, scopes=["administration"]))

    for path, body in tries:
        answer = admin.post(path, body)
        for_oneself = program.post(path, body, Reedbed_On_Behalf_Of=str(chief.staff_id))
        assert (answer.status_code, answer.json()["code"]) == (403, "not-for-oneself"), path
        assert (for_oneself.status_code, for_oneself.json()["code"]) == (403, "not-for-oneself"), path


def test_the_last_administrator_is_not_removed(admin, chief, store, caller):
    program = caller(key(store, scopes=["administration", "records.write", "records.read"]))
    for path in (f"/v1/accounts/{chief.account_id}/end", f"/v1/staff/{chief.staff_id}/end"):
        assert program.post(path, LEFT).json()["code"] == "last-administrator"

    person(store, "deputy", role=Role.ADMINISTRATOR)
    assert program.post(f"/v1/accounts/{chief.account_id}/end", LEFT).status_code == 200


def test_two_administrators_who_end_each_other_leave_one(chief, store, caller):
    deputy = person(store, "deputy", role=Role.ADMINISTRATOR)
    clients = {deputy: signed_in(caller, chief), chief: signed_in(caller, deputy)}

    with ThreadPoolExecutor(2) as threads:
        answers = [*threads.map(lambda pair: pair[1].post(f"/v1/accounts/{pair[0].account_id}/end", LEFT).status_code, clients.items())]

    assert answers.count(200) == 1


def test_an_identity_is_listed_ended_and_one_account_s_alone(admin, store):
    mila, jon = person(store), person(store, "jon")
    path, said = f"/v1/accounts/{mila.account_id}/identities", {"issuer": "https://id.example", "subject": "keeper-7"}

    made = admin.post(path, said)
    assert made.status_code == 201
    assert [one["subject"] for one in admin.get(path).json()["items"]] == ["keeper-7"]
    assert admin.post(f"/v1/accounts/{jon.account_id}/identities", said).status_code == 409
    assert admin.post(f"/v1/accounts/{jon.account_id}/identities/{made.json()['id']}/end", LEFT).status_code == 404
    assert admin.post(f"{path}/{made.json()['id']}/end", LEFT).status_code == 200
    assert admin.get(path).json()["items"] == []
    assert admin.post(f"/v1/accounts/{jon.account_id}/identities", said).status_code == 201
    assert admin.get(f"/v1/accounts/{makers.ORGANISATION}/identities").status_code == 404


def test_an_administrator_of_one_site_opens_no_door_that_leads_further(store, chief, caller, site_id):
    bound = signed_in(caller, person(store, "host", role=Role.ADMINISTRATOR, site_id=site_id))
    here = person(store, "here", site_id=site_id)
    mighty = person(store, "mighty", site_id=site_id, grants=((Role.ADMINISTRATOR, None),))
    away = person(store, "away")

    assert bound.post(f"/v1/accounts/{here.account_id}/reset", {}).status_code == 200
    for who in (mighty, away, chief):
        for path, body in (("reset", {}), ("end", LEFT), ("identities", {"issuer": "https://id.example", "subject": "7"})):
            answer = bound.post(f"/v1/accounts/{who.account_id}/{path}", body)
            assert (who.sign_in_name, path, answer.status_code, answer.json()["code"]) == (who.sign_in_name, path, 403, "other-site")
    second = bound.post("/v1/accounts", {"staff_id": str(mighty.staff_id), "sign_in_name": "second"})
    assert (second.status_code, second.json()["code"]) == (403, "other-site")
    assert {one["sign_in_name"] for one in bound.get("/v1/accounts").json()["items"]} == {"host", "here", "mighty"}


def test_another_organisations_account_is_none(admin, store):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    there = person(store, "mila", organisation_id=makers.OTHER_ORGANISATION)

    for path, body in (("reset", {}), ("end", LEFT), ("identities", {"issuer": "https://id.example", "subject": "7"})):
        theirs = admin.post(f"/v1/accounts/{there.account_id}/{path}", body)
        nobodys = admin.post(f"/v1/accounts/{there.staff_id}/{path}", body)
        assert theirs.status_code == nobodys.status_code == 404
        assert {**theirs.json(), "instance": ""} == {**nobodys.json(), "instance": ""}
    assert account(admin, staff_id=str(there.staff_id)).status_code == 422


def test_the_journal_says_on_whose_behalf_a_program_acted(store, chief, caller):
    jon = person(store, "jon", role=Role.ADMINISTRATOR)
    program = caller(key(store, scopes=["administration"]))

    made = program.post(f"/v1/staff/{chief.staff_id}/grants", {"role": "auditor"}, Reedbed_On_Behalf_Of=str(jon.staff_id))

    assert made.status_code == 201
    with store.transaction(makers.origin()) as unit:
        said = unit.named(journal.ENTRIES_AFTER, after=0, limit=100)[-1]["content"]
    assert '"action":"register_role_grant"' in said
    assert '"actor":"key:' in said
    assert f'"on_behalf_of":"{jon.staff_id}"' in said


def test_where_nobody_administers_yet_staff_are_corrected_all_the_same(store, client):
    person(store, "keeper", role=Role.KEEPER)
    keeper = client.post("/v1/staff", {"name": "Ira Fenn", "role": "keeper"}).json()

    answer = client.patch(f"/v1/staff/{keeper['id']}", {"note": "mornings"}, If_Match='"1"')

    assert answer.status_code == 200
