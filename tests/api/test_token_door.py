"""Whoever comes with another issuer's token is let in as the account that is known by it, as long as that account is in force."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from api.passwords import Passwords
from api.settings import Settings, TokenIssuer
from api.token_door import door_of
from domain.records import journal
from domain.rules.permissions import Role
from tests import makers
from tests.issuer import AUDIENCE, BAD_TOKENS, LoopbackIssuer
from tests.people import CHEAP, Clock, person, signed_in

LEFT = {"reason": "left"}


@pytest.fixture(scope="module")
def issuer():
    with LoopbackIssuer("trusted") as made:
        yield made


@pytest.fixture(scope="module")
def other():
    with LoopbackIssuer("other") as made:
        yield made


@pytest.fixture
def settings(issuer, other):
    stated = [
        {"url": issuer.url, "audience": AUDIENCE, "organisation_id": makers.ORGANISATION, "keys_url": issuer.keys_url},
        {"url": other.url, "audience": AUDIENCE, "organisation_id": makers.OTHER_ORGANISATION},
    ]
    return Settings(token_issuers=stated)


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


def known(admin, who, issuer, subject="keeper-7"):
    answer = admin.post(f"/v1/accounts/{who.account_id}/identities", {"issuer": issuer.url, "subject": subject})
    assert answer.status_code == 201
    return answer.json()["id"]


def test_a_token_is_let_in_as_the_account_that_is_known_by_it(store, admin, caller, issuer):
    mila = person(store, password=None, role=Role.REGISTRAR)
    client = caller(issuer.token(makers.NOON))
    assert (client.get("/v1/me").status_code, client.get("/v1/me").json()["code"]) == (401, "token-refused")

    identity = known(admin, mila, issuer)

    me = client.get("/v1/me").json()
    assert me["who"] == {"kind": "staff", "id": str(mila.staff_id), "name": "Mila Reed", "on_behalf_of": None}
    assert client.post("/v1/sites", {"name": "Reedmere House", "zone": "UTC"}).status_code == 201
    assert client.get("/v1/sessions").json()["items"] == []
    own = client.post(f"/v1/accounts/{mila.account_id}/password", {"current_password": "x", "password": "heron gravel tin whistle"})
    assert own.json()["code"] == "password-wrong"
    with store.transaction(makers.origin()) as unit:
        said = unit.named(journal.ENTRIES_AFTER, after=0, limit=100)[-1]["content"]
    assert f'"actor":"staff:{mila.staff_id}"' in said
    assert f'"credential":"identity:{identity}"' in said


def test_the_first_request_after_an_ending_is_refused(store, admin, caller, issuer):
    endings = {
        "anna": lambda who, _: f"/v1/accounts/{who.account_id}/end",
        "bert": lambda who, _: f"/v1/staff/{who.staff_id}/end",
        "carla": lambda who, identity: f"/v1/accounts/{who.account_id}/identities/{identity}/end",
    }
    for name, path_of in endings.items():
        who = person(store, name)
        identity = known(admin, who, issuer, subject=name)
        client = caller(issuer.token(makers.NOON, sub=name))
        assert client.get("/v1/me").status_code == 200

        assert admin.post(path_of(who, identity), LEFT).status_code == 200

        assert client.get("/v1/me").status_code == 401, name


def test_an_issuer_speaks_for_its_own_organisation_alone(store, admin, caller, issuer, other):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    known(admin, person(store), issuer)
    known(admin, person(store, "jon"), other)

    assert caller(issuer.token(makers.NOON)).get("/v1/me").json()["organisation"]["name"] == "Marshlight Trust"
    assert caller(other.token(makers.NOON)).get("/v1/me").status_code == 401


def test_a_token_that_is_over_is_refused_and_so_is_every_forgery(store, admin, caller, issuer, other, clock):
    known(admin, person(store), issuer)
    token = issuer.token(makers.NOON)
    assert caller(token).get("/v1/me").status_code == 200

    for statement, forge in BAD_TOKENS.items():
        forged = forge(issuer, other, makers.NOON)
        if forged.isprintable():
            assert caller(forged).get("/v1/me").status_code == 401, statement
    clock.forward(minutes=6)
    assert caller(token).get("/v1/me").status_code == 401


def test_without_issuers_no_token_is_looked_at():
    assert door_of(()) is None


@pytest.mark.parametrize(
    "stated",
    [
        {"url": "http://id.example"},
        {"url": "id.example"},
        {"keys_url": "http://id.example/keys"},
        {"audience": ""},
        {"organisation_id": 0},
        {"algorithms": []},
        {"algorithms": ["HS256"]},
        {"algorithms": ["none"]},
        {"types": []},
        {"secret": "x"},
    ],
)
def test_an_issuer_that_could_not_be_trusted_is_no_setting(stated):
    good = {"url": "https://id.example", "audience": AUDIENCE, "organisation_id": makers.ORGANISATION}
    assert door_of([TokenIssuer(**good)]) is not None

    with pytest.raises(ValidationError):
        Settings(token_issuers=[{**good, **stated}])


def test_two_issuers_of_one_url_or_a_local_one_beside_another_are_no_setting(monkeypatch):
    said = (
        '[{{"url": "https://id.example", "audience": "us", "organisation_id": 1}}, {{"url": "{}", "audience": "us", "organisation_id": 2}}]'
    )
    for url in ("https://id.example", "http://127.0.0.1:9"):
        monkeypatch.setenv("REEDBED_TOKEN_ISSUERS", said.format(url))
        with pytest.raises(ValidationError):
            Settings()

    monkeypatch.setenv("REEDBED_TOKEN_ISSUERS", said.format("https://two.example"))
    assert [one.organisation_id for one in Settings().token_issuers] == [1, 2]
