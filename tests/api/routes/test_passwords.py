"""A password is set by a code, once, or by the present one; whoever sets it says who they are."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from api.codes import code_sha256, new_code
from api.limits import Limits
from api.passwords import Passwords
from api.settings import Settings
from domain.actions.accounts import set_password_by_code
from domain.records import journal
from domain.rules.permissions import Role
from tests import makers
from tests.people import CHEAP, PASSWORD, Clock, CountingHasher, key, person, sign_in, signed_in

NEW = "heron gravel tin whistle"


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def hasher():
    return CountingHasher()


@pytest.fixture
def settings():
    return Settings(sign_ins_per_minute=0, address_sign_ins_per_minute=0)


@pytest.fixture
def app(app, clock, hasher):
    app.state.house.clock = clock
    app.state.house.passwords = Passwords(CHEAP, hasher=hasher)
    return app


@pytest.fixture
def jon(store, organisation):
    """Return a person who has a code and no password yet."""
    return person(store, "jon", password=None)


def by_code(client, who, password=NEW, **said):
    return client.post("/v1/passwords", {**who.who, "code": who.code, "password": password, **said})


def own(client, who, current=PASSWORD, password=NEW, **headers):
    return client.post(f"/v1/accounts/{who.account_id}/password", {"current_password": current, "password": password}, **headers)


def test_a_code_is_long_and_never_the_same():
    codes = {new_code(makers.NOON)[0] for _ in range(100)}

    assert len(codes) == 100
    assert {len(one.replace("-", "")) for one in codes} == {28}
    assert not set("".join(codes)) & set("01ilo")


def test_a_code_is_known_however_it_is_typed():
    assert len({code_sha256(text) for text in ("abcd-efgh", "ABCD EFGH", " abcdefgh ", "ab-cd ef-gh")}) == 1


def test_a_password_that_is_set_by_a_code_signs_in_and_the_code_is_used_up(store, jon, caller):
    answer = by_code(caller(None), jon)

    assert (answer.status_code, answer.json()) == (
        200,
        {"account_id": str(jon.account_id), "password_set_at": "2026-03-01T12:00:00.000000Z"},
    )
    assert sign_in(caller(None), jon, NEW).status_code == 201
    assert by_code(caller(None), jon, "quince ferry ladder moss").json()["code"] == "code-refused"
    with store.transaction(makers.origin()) as unit:
        said = unit.named(journal.ENTRIES_AFTER, after=0, limit=100)[-1]["content"]
    assert '"action":"set_password"' in said
    assert f'"actor":"staff:{jon.staff_id}"' in said
    assert f'"credential":"code:{jon.account_id}"' in said
    assert "argon2" not in said


def test_a_code_is_good_for_seventy_two_hours(jon, caller, clock):
    clock.forward(hours=72)
    assert by_code(caller(None), jon).json()["code"] == "code-refused"

    clock.forward(seconds=-1)
    assert by_code(caller(None), jon).status_code == 200


def test_whatever_is_wrong_with_a_code_the_refusal_is_the_same_and_nothing_is_hashed(store, jon, caller, hasher):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    there = person(store, "jon", password=None, organisation_id=makers.OTHER_ORGANISATION)
    used = person(store, "mila")
    said = [
        {"code": "abcd"},
        {"sign_in_name": "nobody"},
        {"organisation_id": 7},
        {"code": there.code},
        used.who,
        {**used.who, "code": used.code},
    ]

    answers = [by_code(caller(None), jon, **one) for one in said]

    assert [answer.status_code for answer in answers] == [401] * len(said)
    assert len({answer.content for answer in answers}) == 1
    assert (hasher.hashes, hasher.comparisons) == (0, 0)


def test_a_weak_password_is_refused_by_field_and_leaves_the_code_good(jon, caller):
    for weak, code in {
        "brisk": "password-too-short",
        "x" * 300: "password-too-long",
        "marshlight otters": "password-says-name",
        "qwertyuiopasdf": "password-common",
    }.items():
        answer = by_code(caller(None), jon, weak)
        assert (answer.status_code, answer.json()["code"], answer.json()["errors"][0]["pointer"]) == (422, code, "/password")
        assert weak not in answer.text

    assert by_code(caller(None), jon).status_code == 200


def test_a_code_that_two_use_at_once_is_used_once(store, jon, caller):
    def use(number):
        with store.transaction(makers.origin()) as unit:
            return set_password_by_code(unit, jon.account_id, code_sha256=code_sha256(jon.code), password_hash=f"hash {number}")

    with ThreadPoolExecutor(4) as threads:
        answers = [*threads.map(lambda number: by_code(caller(None), jon, f"{NEW} {number}").status_code, range(4))]

    assert sorted(answers) == [200, 401, 401, 401]
    assert use(9) is None


def test_attempts_with_codes_are_limited_by_name(app, jon, caller):
    app.state.house.limits = Limits.of(Settings(sign_ins_per_minute=2, address_sign_ins_per_minute=0))

    tries = [by_code(caller(None), jon, code="abcd").status_code for _ in range(3)]

    assert tries == [401, 401, 429]


def test_whoever_knows_the_present_password_sets_another_and_ends_the_other_sessions(store, organisation, caller):
    who = person(store)
    here, elsewhere = signed_in(caller, who), signed_in(caller, who)

    answer = own(here, who)

    assert answer.status_code == 200
    assert here.get("/v1/me").status_code == 200
    assert elsewhere.get("/v1/me").status_code == 401
    assert sign_in(caller(None), who).status_code == 401
    assert sign_in(caller(None), who, NEW).status_code == 201


def test_the_present_password_is_asked_and_no_key_may_be_given(store, organisation, caller):
    who = person(store)
    client = signed_in(caller, who)

    wrong = own(client, who, current="wrong wrong wrong")
    keyed = own(client, who, Idempotency_Key="k-1")
    weak = own(client, who, password="short")

    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (422, "/current_password")
    assert (keyed.status_code, keyed.json()["code"]) == (400, "idempotency-key-not-taken")
    assert (weak.status_code, weak.json()["errors"][0]["pointer"]) == (422, "/password")
    assert sign_in(caller(None), who).status_code == 201


def test_a_stolen_session_does_not_guess_the_password_for_ever(app, store, organisation, caller):
    who = person(store)
    client = signed_in(caller, who)
    app.state.house.limits = Limits.of(Settings(sign_ins_per_minute=2, requests_per_minute=0, organisation_requests_per_minute=0))

    assert [own(client, who, current="wrong wrong wrong").status_code for _ in range(3)] == [422, 422, 429]


def test_nobody_sets_the_password_of_another(store, organisation, caller):
    mila, chief = person(store), person(store, "chief", role=Role.ADMINISTRATOR)

    assert own(signed_in(caller, chief), mila).status_code == 404
    assert own(caller(key(store, scopes=["administration"])), mila).json()["code"] == "people-only"
