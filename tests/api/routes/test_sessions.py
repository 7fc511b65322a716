"""People sign in with a password and out again; what they hold is good until it is ended, and no more is said than has to be."""

from __future__ import annotations

import logging
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from hashlib import sha256

import pytest
import sqlalchemy as sa

from api.codes import new_code
from api.limits import Limits
from api.passwords import Costs, Passwords
from api.settings import Settings
from domain.actions.accounts import end_account, reset_account, set_password
from domain.actions.recording import Ending
from domain.actions.sessions import MOST_SESSIONS, START, start_session
from domain.actions.staff import end_staff
from domain.records.accounts import AccountSecret, SignInSession
from domain.records.base import table_of
from domain.records.statements import Statement
from domain.rules.permissions import Role
from tests import makers
from tests.people import CHEAP, PASSWORD, Clock, CountingHasher, key, person, sign_in, signed_in

PROOFS = Statement(
    sa.select(table_of(AccountSecret).c.password_hash).where(table_of(AccountSecret).c.organisation_id == sa.bindparam("organisation_id"))
)
SESSIONS = Statement(sa.select(table_of(SignInSession)).where(table_of(SignInSession).c.organisation_id == sa.bindparam("organisation_id")))


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
def mila(store, organisation):
    return person(store)


def do(store, act, **origin):
    with store.transaction(makers.origin(**origin)) as unit:
        return act(unit)


def own_sessions(client):
    return client.get("/v1/sessions").json()["items"]


def test_a_password_starts_a_session_that_is_good_for_a_week(mila, caller):
    answer = sign_in(caller(None), mila)

    assert answer.status_code == 201
    started = answer.json()
    assert started["token"].startswith(f"rbs_{mila.organisation_id}_")
    assert (started["staff_id"], started["name"]) == (str(mila.staff_id), "Mila Reed")
    assert started["expires_at"] == "2026-03-08T12:00:00.000000Z"
    assert caller(started["token"]).get("/v1/me").json()["who"]["id"] == str(mila.staff_id)


def test_only_the_hash_of_a_token_is_kept(store, mila, caller):
    token = sign_in(caller(None), mila).json()["token"]

    [kept] = do(store, lambda unit: unit.named(SESSIONS))

    assert kept["token_sha256"] == sha256(token.encode()).hexdigest()
    assert len(token.split("_", 2)[2]) >= 43


def test_whatever_is_wrong_the_refusal_is_the_same_and_so_is_the_work(store, mila, caller, hasher):
    person(store, "chief", role=Role.ADMINISTRATOR)
    ended, reset, left = (person(store, name) for name in ("anna", "bert", "carla"))
    new = person(store, "dora", password=None)
    do(store, lambda unit: end_account(unit, ended.account_id, Ending(reason="left")))
    do(store, lambda unit: reset_account(unit, reset.account_id, code=code()))
    do(store, lambda unit: end_staff(unit, left.staff_id, Ending(reason="left")))
    wrongs = {
        "a wrong password": {**mila.who, "password": "another word entirely"},
        "an unknown name": {**mila.who, "sign_in_name": "nobody"},
        "another organisation": {**mila.who, "organisation_id": makers.OTHER_ORGANISATION},
        "the last organisation of all": {**mila.who, "organisation_id": 2**53 - 1},
        "an account that ended": ended.who,
        "an account that was reset": reset.who,
        "an account of somebody who left": left.who,
        "an account without a password": new.who,
    }

    answers = {wrong: caller(None).post("/v1/sessions", {"password": PASSWORD, **said}) for wrong, said in wrongs.items()}

    assert {wrong: answer.status_code for wrong, answer in answers.items()} == dict.fromkeys(wrongs, 401)
    assert len({answer.content for answer in answers.values()}) == 1
    assert all(answer.headers["www-authenticate"].startswith("Bearer") for answer in answers.values())
    assert answers["an unknown name"].json()["code"] == "sign-in-refused"
    assert (hasher.comparisons, hasher.hashes) == (len(wrongs), 0)


def code():
    return new_code(makers.NOON)[1]


def test_a_wrong_password_costs_one_comparison_like_a_right_one(mila, caller, hasher):
    sign_in(caller(None), mila)

    assert (hasher.comparisons, hasher.hashes) == (1, 0)


def test_the_count_of_comparisons_tells_a_door_that_spares_itself_the_work(mila, caller, app, hasher):
    class Sparing(Passwords):
        def matches(self, stored, password):
            return stored is not None and super().matches(stored, password)

    app.state.house.passwords = Sparing(CHEAP, hasher=hasher)

    caller(None).post("/v1/sessions", {**mila.who, "sign_in_name": "nobody", "password": PASSWORD})

    assert hasher.comparisons == 0


def test_the_same_name_in_another_organisation_does_not_sign_in_here(store, organisation, caller):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    there = person(store, "mila", organisation_id=makers.OTHER_ORGANISATION)

    here = {**there.who, "organisation_id": organisation, "password": PASSWORD}

    assert caller(None).post("/v1/sessions", here).status_code == 401
    assert sign_in(caller(None), there).status_code == 201


def test_a_token_is_good_for_its_own_organisation_only(store, mila, caller):
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    token = sign_in(caller(None), mila).json()["token"]

    moved = token.replace(str(mila.organisation_id), str(makers.OTHER_ORGANISATION))

    assert caller(moved).get("/v1/me").status_code == 401


def test_a_name_signs_in_however_it_is_spelt(mila, caller):
    assert caller(None).post("/v1/sessions", {**mila.who, "sign_in_name": " MILA", "password": PASSWORD}).status_code == 201


def test_a_token_that_is_brought_along_is_never_taken_over(mila, caller):
    given = f"rbs_{mila.organisation_id}_{'A' * 43}"

    answer = sign_in(caller(given), mila)
    again = sign_in(caller(answer.json()["token"]), mila)

    assert answer.json()["token"] != given
    assert caller(given).get("/v1/me").status_code == 401
    assert len({given, answer.json()["token"], again.json()["token"]}) == 3


def test_a_fresh_organisation_has_no_account(store, organisation, caller):
    for name in ("admin", "administrator", "root", "reedbed"):
        said = {"organisation_id": organisation, "sign_in_name": name, "password": name}
        assert caller(None).post("/v1/sessions", said).status_code == 401

    assert caller(key(store, scopes=["administration"])).get("/v1/accounts").json()["items"] == []


BOUNDS = [
    ({"organisation_id": 0}, "/organisation_id"),
    ({"organisation_id": 2**53}, "/organisation_id"),
    ({"organisation_id": "1"}, "/organisation_id"),
    ({"organisation_id": True}, "/organisation_id"),
    ({"sign_in_name": ""}, "/sign_in_name"),
    ({"sign_in_name": "a" * 121}, "/sign_in_name"),
    ({"sign_in_name": "a\u202eb"}, "/sign_in_name"),
    ({"password": ""}, "/password"),
    ({"password": "a" * 1025}, "/password"),
    ({"remember": True}, "/remember"),
]


def test_what_could_be_no_name_or_password_is_refused_by_field(mila, caller, hasher):
    for said, pointer in BOUNDS:
        answer = caller(None).post("/v1/sessions", {**mila.who, "password": PASSWORD, **said})

        assert (answer.status_code, [fault["pointer"] for fault in answer.json()["errors"]]) == (422, [pointer]), said
        assert "otter" not in answer.text
    assert hasher.comparisons == 0


def test_what_signs_in_takes_no_idempotency_key_and_no_query(mila, caller):
    keyed = sign_in(caller(None), mila, Idempotency_Key="k-1")
    asked = caller(None).post("/v1/sessions?remember=1", {**mila.who, "password": PASSWORD})

    assert (keyed.status_code, keyed.json()["code"]) == (400, "idempotency-key-not-taken")
    assert (asked.status_code, asked.json()["code"]) == (422, "invalid-query")


def test_a_session_ends_twelve_hours_after_its_last_request(mila, caller, clock):
    client = signed_in(caller, mila)

    clock.forward(hours=12, seconds=-1)
    assert client.get("/v1/me").status_code == 200
    clock.forward(seconds=2)

    assert client.get("/v1/me").status_code == 401


def test_a_session_that_is_used_ends_after_a_week_all_the_same(app, mila, caller, clock, store):
    client = signed_in(caller, mila)

    for _ in range(15):
        clock.forward(hours=11)
        assert client.get("/v1/me").status_code == 200
        app.state.house.uses.write_down(store, now=clock.now)
    clock.forward(hours=3)

    assert client.get("/v1/me").status_code == 401


def test_ones_own_sessions_are_listed_newest_first_without_their_tokens(store, mila, caller, clock):
    signed_in(caller, person(store, "jon"))
    older = signed_in(caller, mila)
    clock.forward(minutes=1)
    newer = signed_in(caller, mila)

    assert [one["current"] for one in own_sessions(newer)] == [True, False]
    assert [one["current"] for one in own_sessions(older)] == [False, True]
    assert set(own_sessions(newer)[0]) == {"id", "created_at", "last_seen_at", "expires_at", "current"}


def test_whoever_signs_out_is_refused_at_once_and_the_other_session_goes_on(mila, caller):
    first, second = signed_in(caller, mila), signed_in(caller, mila)
    [own] = [one["id"] for one in own_sessions(first) if one["current"]]

    ended = first.post(f"/v1/sessions/{own}/end", {})

    assert (ended.status_code, ended.json()["id"]) == (200, own)
    assert first.get("/v1/me").status_code == 401
    assert [one["current"] for one in own_sessions(second)] == [True]


def test_a_session_of_ones_own_on_another_device_is_ended_from_here(mila, caller):
    here, lost = signed_in(caller, mila), signed_in(caller, mila)
    [there] = [one["id"] for one in own_sessions(here) if not one["current"]]

    assert here.post(f"/v1/sessions/{there}/end", {}).status_code == 200

    assert lost.get("/v1/me").status_code == 401
    assert here.post(f"/v1/sessions/{there}/end", {}).status_code == 404


def test_nobody_ends_the_session_of_another(store, mila, caller):
    client, other = signed_in(caller, mila), signed_in(caller, person(store, "jon", role=Role.ADMINISTRATOR))
    [theirs] = [one["id"] for one in own_sessions(client)]

    assert other.post(f"/v1/sessions/{theirs}/end", {}).status_code == 404
    assert client.get("/v1/me").status_code == 200


def test_a_key_has_no_sessions(client):
    assert client.get("/v1/sessions").json()["code"] == "people-only"


def test_the_first_request_after_an_ending_is_refused(store, organisation, caller):
    admin = signed_in(caller, person(store, "chief", role=Role.ADMINISTRATOR))
    endings = {
        "anna": lambda who: admin.post(f"/v1/accounts/{who.account_id}/end", {"reason": "left"}),
        "bert": lambda who: admin.post(f"/v1/accounts/{who.account_id}/reset", {}),
        "carla": lambda who: admin.post(f"/v1/staff/{who.staff_id}/end", {"reason": "left"}),
    }
    for name, end in endings.items():
        who = person(store, name)
        client = signed_in(caller, who)
        assert client.get("/v1/me").status_code == 200

        assert end(who).status_code == 200

        assert client.get("/v1/me").status_code == 401, name


def test_a_change_of_role_holds_from_the_next_request(store, mila, caller):
    client = signed_in(caller, mila)
    admin = signed_in(caller, person(store, "chief", role=Role.ADMINISTRATOR))
    assert client.get("/v1/accounts").status_code == 403

    granted = admin.post(f"/v1/staff/{mila.staff_id}/grants", {"role": "auditor"}).json()["id"]
    assert client.get("/v1/accounts").status_code == 200
    admin.post(f"/v1/staff/{mila.staff_id}/grants/{granted}/end", {"reason": "done"})

    assert client.get("/v1/accounts").status_code == 403


def test_a_password_that_was_compared_is_looked_at_again_before_the_session_starts(store, mila):
    stale = Passwords(CHEAP).hashed(PASSWORD)

    given = {"better_hash": None, "token_sha256": "0" * 64, "expires_at": makers.NOON}
    started = do(store, lambda unit: start_session(unit, mila.account_id, proved_by=stale, **given))

    assert started is None
    assert do(store, lambda unit: unit.rows(SESSIONS)) == []


def test_a_session_that_started_without_looking_again_would_outlive_the_reset(store, mila, caller):
    token = f"rbs_{mila.organisation_id}_{'B' * 43}"
    do(store, lambda unit: reset_account(unit, mila.account_id, code=code()))

    kept = {"organisation_id": mila.organisation_id, "account_id": mila.account_id, "token_sha256": sha256(token.encode()).hexdigest()}
    times = {"created_at": makers.NOON, "last_seen_at": makers.NOON, "expires_at": makers.NOON + timedelta(days=1), "ended_at": None}
    do(store, lambda unit: unit.run(START, id=unit.new_id(), **kept, **times))

    assert caller(token).get("/v1/me").status_code == 200


def test_no_session_outlives_a_reset_that_comes_at_the_same_time(store, organisation, mila, caller, app):
    with ThreadPoolExecutor(4) as threads:
        attempts = [threads.submit(sign_in, caller(None), mila) for _ in range(6)]
        threads.submit(do, store, lambda unit: reset_account(unit, mila.account_id, code=code())).result()
        tokens = [answer.json()["token"] for attempt in attempts if (answer := attempt.result()).status_code == 201]

    assert [caller(token).get("/v1/me").status_code for token in tokens] == [401] * len(tokens)


def test_a_hash_of_former_costs_is_replaced_when_its_password_is_shown(store, organisation, caller, app, hasher):
    who = person(store, "jon", password=None)
    former = Passwords(Costs(memory_kib=16, passes=1, lanes=1)).hashed(PASSWORD)
    do(store, lambda unit: set_password(unit, who.account_id, password_hash=former))

    assert [sign_in(caller(None), who).status_code for _ in range(2)] == [201, 201]

    assert (hasher.comparisons, hasher.hashes) == (2, 1)


def test_the_oldest_session_ends_where_there_are_too_many(store, mila, caller, clock):
    first = signed_in(caller, mila)
    with store.transaction(makers.origin()) as unit:
        [(proof,)] = unit.rows(PROOFS)
    for number in range(MOST_SESSIONS - 1):
        clock.forward(seconds=1)
        given = {"better_hash": None, "token_sha256": f"{number:064}", "expires_at": clock.now}
        do(store, lambda unit, given=given: start_session(unit, mila.account_id, proved_by=proof, **given), at=clock.now)
    assert first.get("/v1/me").status_code == 200

    clock.forward(seconds=1)
    signed_in(caller, mila)

    assert first.get("/v1/me").status_code == 401


def test_attempts_at_one_name_are_limited_before_anything_is_hashed(app, mila, caller, hasher, store):
    app.state.house.limits = Limits.of(Settings(sign_ins_per_minute=3, address_sign_ins_per_minute=0))
    tries = [sign_in(caller(None), mila, "wrong wrong wrong") for _ in range(4)]

    assert [one.status_code for one in tries] == [401, 401, 401, 429]
    assert int(tries[-1].headers["retry-after"]) >= 1
    assert hasher.comparisons == 3
    assert sign_in(caller(None), person(store, "jon")).status_code == 201


def test_attempts_from_one_address_are_limited_whatever_the_name(app, mila, caller, hasher):
    app.state.house.limits = Limits.of(Settings(sign_ins_per_minute=0, address_sign_ins_per_minute=3))
    names = ["anna", "bert", "carla", "mila"]
    tries = [caller(None).post("/v1/sessions", {**mila.who, "sign_in_name": name, "password": PASSWORD}) for name in names]

    assert [one.status_code for one in tries] == [401, 401, 401, 429]
    assert hasher.comparisons == 3


def test_what_happens_at_the_door_is_logged_by_ids_alone(mila, caller, caplog):
    caplog.set_level(logging.INFO, logger="reedbed")
    client = signed_in(caller, mila)
    sign_in(caller(None), mila, "wrong wrong wrong")
    client.post(f"/v1/sessions/{own_sessions(client)[0]['id']}/end", {})

    events = [(one.getMessage(), getattr(one, "actor", None), getattr(one, "code", None)) for one in caplog.records]
    assert events == [
        ("somebody signed in", f"staff:{mila.staff_id}", None),
        ("an attempt at an account was refused", None, "wrong-password"),
        ("a session was ended by its holder", f"staff:{mila.staff_id}", None),
    ]
    said = " ".join(str(vars(one)) for one in caplog.records)
    assert not any(secret in said for secret in ("mila'", "wrong wrong", PASSWORD, "rbs_"))


def test_refusals_are_counted_by_their_reason(app, mila, caller):
    sign_in(caller(None), mila, "wrong wrong wrong")

    assert app.state.house.metrics.counted("authn_failures", "wrong-password") == 1


def test_too_many_who_hash_at_once_are_told_to_come_back(app, mila, caller, hasher):
    app.state.house.passwords = Passwords(CHEAP, hasher=hasher, at_once=1, waiting=0)
    with app.state.house.passwords._turn():
        answer = sign_in(caller(None), mila)

    assert (answer.status_code, answer.json()["code"]) == (503, "busy")
