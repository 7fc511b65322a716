"""Roles are granted, seen and withdrawn; each counts from the next request."""

from __future__ import annotations

import pytest

from api.passwords import Passwords
from domain.rules.permissions import Role
from tests import makers
from tests.people import CHEAP, person, signed_in

DONE = {"reason": "done"}


@pytest.fixture
def app(app):
    app.state.house.passwords = Passwords(CHEAP)
    return app


@pytest.fixture
def admin(store, organisation, caller):
    return signed_in(caller, person(store, "chief", role=Role.ADMINISTRATOR))


def test_a_role_at_a_site_is_granted_listed_and_withdrawn(store, admin, caller, site_id):
    mila = person(store)
    path = f"/v1/staff/{mila.staff_id}/grants"

    made = admin.post(path, {"role": "curator", "site_id": site_id})

    assert made.status_code == 201
    assert (made.json()["role"], made.json()["site_id"]) == ("curator", site_id)
    assert [one["id"] for one in admin.get(path).json()["items"]] == [made.json()["id"]]
    roles = signed_in(caller, mila).get("/v1/me").json()["roles"]
    assert {"role": "curator", "site_id": site_id} in roles
    assert admin.post(f"{path}/{made.json()['id']}/end", DONE).json()["end_reason"] == "done"
    assert admin.get(path).json()["items"] == []
    assert admin.get(f"{path}?ended=true").json()["items"][0]["id"] == made.json()["id"]


def test_what_cannot_be_granted_is_refused(store, admin, site_id):
    mila, jon = person(store), person(store, "jon")
    path = f"/v1/staff/{mila.staff_id}/grants"
    made = admin.post(path, {"role": "curator"}).json()["id"]

    refusals = [
        admin.post(path, {"role": "curator"}),
        admin.post(path, {"role": "emperor"}),
        admin.post(path, {"role": "curator", "site_id": str(mila.staff_id)}),
        admin.post(f"/v1/staff/{site_id}/grants", {"role": "curator"}),
        admin.get(f"/v1/staff/{site_id}/grants"),
        admin.post(f"/v1/staff/{jon.staff_id}/grants/{made}/end", DONE),
        admin.post(f"{path}/{site_id}/end", DONE),
    ]
    admin.post(f"/v1/staff/{jon.staff_id}/end", {"reason": "left"})
    refusals.append(admin.post(f"/v1/staff/{jon.staff_id}/grants", {"role": "curator"}))

    assert [(one.status_code, one.json()["code"]) for one in refusals] == [
        (409, "granted"),
        (422, "invalid"),
        (422, "reference-unknown"),
        (404, "not-found"),
        (404, "not-found"),
        (404, "not-found"),
        (404, "not-found"),
        (409, "ended"),
    ]


def test_an_administrator_of_one_site_grants_roles_there_alone(store, organisation, caller, site_id):
    with store.transaction(makers.origin()) as unit:
        other = str(makers.site(unit, name="Second House").id)
    bound = signed_in(caller, person(store, "host", role=Role.ADMINISTRATOR, site_id=site_id))
    mila = person(store, site_id=site_id, grants=((Role.KEEPER, other),))
    path = f"/v1/staff/{mila.staff_id}/grants"

    assert bound.post(path, {"role": "curator", "site_id": site_id}).status_code == 201
    for where in (other, None):
        assert bound.post(path, {"role": "curator", "site_id": where}).json()["code"] == "other-site"
    assert {one["site_id"] for one in bound.get(path).json()["items"]} == {site_id}


def test_a_second_administrator_may_step_back_and_the_last_may_not(store, admin, caller):
    mila = person(store)
    path = f"/v1/staff/{mila.staff_id}/grants"
    grant = admin.post(path, {"role": "administrator"}).json()["id"]
    chief = admin.get("/v1/me").json()["who"]["id"]
    client = signed_in(caller, mila)
    account = next(one["id"] for one in client.get("/v1/accounts").json()["items"] if one["staff_id"] == chief)
    assert client.post(f"/v1/accounts/{account}/end", {"reason": "left"}).status_code == 200

    assert client.post(f"{path}/{grant}/end", DONE).json()["code"] == "last-administrator"
