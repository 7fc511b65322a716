"""Who may come in."""

from __future__ import annotations

from datetime import timedelta

import pytest

from api.commands.organisations import KEYS
from api.signin import key_text, new_key_parts
from domain.actions.recording import Ending, ended
from domain.records.organisations import Access, ApiKey
from tests import makers
from tests.api.conftest import make_key
from tests.people import person, signed_in

TODAY = makers.NOON.date()
DAY = timedelta(days=1)


def test_a_new_key_is_long_and_never_the_same():
    first, second = new_key_parts(), new_key_parts()

    assert first != second
    assert len(first[1]) >= 43


def test_a_key_signs_in(client):
    assert client.get("/v1/organisation").json()["name"] == "Marshlight Trust"


@pytest.mark.parametrize(
    "authorization",
    [
        None,
        "",
        "Bearer",
        "Bearer rbk_",
        "Bearer rbk_abc",
        "Bearer rbk_0123456789abcdef_wrong",
        "Basic cmJrOmFiYw==",
        "Bearer rbk_ABC DEF_x",
        "Bearer rbk_" + "a" * 25 + "_x",
        "Bearer rbk_a_" + "x" * 300,
    ],
)
def test_without_a_key_in_force_nobody_comes_in(caller, authorization):
    headers = {} if authorization is None else {"Authorization": authorization}

    answer = caller(None).get("/v1/sites", headers=headers)

    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["www-authenticate"].startswith("Bearer")


def test_the_right_public_part_with_a_wrong_secret_is_refused(store, organisation, caller):
    public_id = make_key(store, organisation_id=organisation).split("_")[1]

    assert caller(key_text(public_id, "x" * 43)).get("/v1/sites").status_code == 401


@pytest.mark.parametrize(("expires_on", "status"), [(TODAY - DAY, 401), (TODAY, 200), (TODAY + DAY, 200), (None, 200)])
def test_a_key_is_in_force_through_its_last_day(store, organisation, caller, expires_on, status):
    key = make_key(store, organisation_id=organisation, expires_on=expires_on)

    assert caller(key).get("/v1/sites").status_code == status


def test_a_key_that_ended_is_refused_at_once(store, organisation, caller):
    key = make_key(store, organisation_id=organisation)
    caller_with_key = caller(key)
    assert caller_with_key.get("/v1/sites").status_code == 200

    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        [kept] = unit.all(ApiKey, KEYS)
        ended(unit, kept, Ending(reason="lost"), today=TODAY)

    assert caller_with_key.get("/v1/sites").status_code == 401


def test_a_key_that_reads_may_not_write(store, organisation, caller, site_id):
    reader = caller(make_key(store, organisation_id=organisation, access=Access.READ))

    assert reader.get(f"/v1/sites/{site_id}").status_code == 200
    for answer in (
        reader.post("/v1/sites", {"name": "Second", "zone": "UTC"}),
        reader.patch(f"/v1/sites/{site_id}", {"note": "x"}, If_Match='"1"'),
        reader.post(f"/v1/sites/{site_id}/end", {"reason": "sold"}),
    ):
        assert answer.status_code == 403
        assert answer.json()["code"] == "key-reads-only"


def test_only_a_program_acts_on_behalf_of_somebody(store, caller, organisation):
    one = person(store, "keeper")
    keeper = signed_in(caller, one)

    answer = keeper.request("GET", "/v1/me", headers={"Reedbed-On-Behalf-Of": str(one.staff_id)})

    assert (answer.status_code, answer.json()["code"]) == (400, "on-behalf-of-unknown")
