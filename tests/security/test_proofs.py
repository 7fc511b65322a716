"""Passwords that are not asked to be changed, and sessions that do not pile up where somebody signs in again."""

from __future__ import annotations

import pytest

from api.passwords import Passwords
from api.settings import Settings
from tests.people import CHEAP, PASSWORD, Clock, person, sign_in, signed_in


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def settings():
    return Settings(sign_ins_per_minute=0, address_sign_ins_per_minute=0)


@pytest.fixture
def app(app, clock):
    app.state.house.clock = clock
    app.state.house.passwords = Passwords(CHEAP)
    return app


@pytest.fixture
def mila(store, organisation):
    return person(store)


def test_a_password_is_good_for_as_long_as_nobody_changes_it(mila, caller, clock):
    clock.forward(days=3650)

    assert sign_in(caller(None), mila).status_code == 201


def test_whoever_signs_in_again_ends_the_session_that_was_brought_along(mila, caller):
    former, elsewhere = signed_in(caller, mila), signed_in(caller, mila)

    answer = sign_in(former, mila)

    assert answer.status_code == 201
    assert former.get("/v1/me").status_code == 401
    assert [caller(answer.json()["token"]).get("/v1/me").status_code, elsewhere.get("/v1/me").status_code] == [200, 200]


def test_whoever_fails_to_sign_in_again_keeps_the_session(mila, caller):
    former = signed_in(caller, mila)

    assert sign_in(former, mila, f"{PASSWORD} or not").status_code == 401
    assert former.get("/v1/me").status_code == 200


def test_whoever_signs_in_ends_no_session_of_another(store, mila, caller):
    other = signed_in(caller, person(store, "jon"))

    assert sign_in(other, mila).status_code == 201
    assert other.get("/v1/me").status_code == 200
