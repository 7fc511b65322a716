"""What needs two people, and the reason that a change is given."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from uuid import UUID

import msgspec
import pytest

from api.app import build_app
from api.permissions import permissions
from domain.actions.approvals import GOOD_FOR, ActOfTwo, give_approval, use_approval
from domain.actions.verify import prove
from domain.errors import Conflict, NotAllowed
from domain.records.animals import Animal
from domain.records.journal import ENTRIES_AFTER
from domain.rules.permissions import EVERYWHERE, Grant, Matrix, Role, Scope
from tests import makers
from tests.permissions.doors import REQUESTS

MATRIX = permissions().matrix
BY_TWO = "end_animal"


def refused(answer):
    return (answer.status_code, answer.json()["code"])


def journal(world, *, after):
    with world.store.snapshot(makers.origin()) as unit:
        return [msgspec.json.decode(row["content"]) for row in unit.named(ENTRIES_AFTER, after=after, limit=100)]


@pytest.fixture
def app(store, settings):
    """Return the service with one act more for which the matrix wants two people."""
    row = replace(MATRIX.actions[BY_TWO], two_person="animal")
    known = replace(permissions(), matrix=Matrix({**MATRIX.actions, BY_TWO: row}, MATRIX.fields))
    return build_app(store, settings=settings, clock=lambda: makers.NOON, known=known)


@pytest.fixture
def registrar(world):
    return world.person(Grant(Role.REGISTRAR), name="A. Registrar")


@pytest.fixture
def second(world):
    return world.person(Grant(Role.REGISTRAR), name="B. Registrar")


def ask(world, who, *, action=BY_TWO, subject="animal"):
    return who.post("/v1/approvals", {"action": action, "subject_id": world.here[subject], "why": "sold abroad"})


def give(who, asked):
    return who.post(f"/v1/approvals/{asked.json()['id']}/give", {})


def test_without_a_second_person_it_is_refused_and_nothing_is_changed(world, registrar):
    before = world.position()

    answer = REQUESTS[BY_TWO].sent_by(registrar, world.here)

    assert refused(answer) == (403, "second-person-needed")
    assert "have somebody else give it" in answer.json()["detail"]
    assert world.position() == before


def test_one_asks_another_gives_and_the_first_does_it_once(world, registrar, second):
    asked = ask(world, registrar)
    assert (asked.status_code, asked.json()["given_by"]) == (201, None)
    assert refused(REQUESTS[BY_TWO].sent_by(registrar, world.here)) == (403, "second-person-needed")

    given = give(second, asked)
    done = REQUESTS[BY_TWO].sent_by(registrar, world.here)

    assert (given.status_code, given.json()["given_by"]) == (200, f"staff:{second.staff_id}")
    assert done.status_code == 200
    kept = registrar.get("/v1/approvals").json()["items"]
    assert [one["used_at"] is not None for one in kept if one["id"] == asked.json()["id"]] == [True]
    assert refused(REQUESTS[BY_TWO].sent_by(registrar, world.here)) == (403, "second-person-needed")


def test_an_approval_is_used_up_with_the_act_and_not_without_it(world, registrar, second):
    give(second, ask(world, registrar))

    failed = registrar.post(f"/v1/animals/{world.here['animal']}/end", {"reason": "sold", "on": "2027-01-01"})

    assert failed.status_code == 422
    assert REQUESTS[BY_TWO].sent_by(registrar, world.here).status_code == 200


def test_a_repeated_request_is_answered_again_without_a_second_approval(world, registrar, second):
    give(second, ask(world, registrar))

    first, again = (REQUESTS[BY_TWO].sent_by(registrar, world.here, **{"Idempotency-Key": "sold"}) for _ in range(2))

    assert (first.status_code, again.status_code) == (200, 200)
    assert again.headers["Idempotency-Replayed"] == "true"


def test_nobody_approves_what_they_asked_for(world, registrar):
    asked = ask(world, registrar)

    assert refused(give(registrar, asked)) == (403, "own-approval")


def test_nobody_approves_what_a_program_asked_for_on_their_behalf(world, registrar, second):
    program = world.key()
    stated = {"action": BY_TWO, "subject_id": world.here["animal"], "why": "sold"}
    asked = program.request("POST", "/v1/approvals", json=stated, headers={"Reedbed-On-Behalf-Of": registrar.staff_id})
    assert (asked.status_code, asked.json()["asked_by"]) == (201, f"staff:{registrar.staff_id}")

    assert refused(give(registrar, asked)) == (403, "own-approval")
    assert give(second, asked).status_code == 200
    assert REQUESTS[BY_TWO].sent_by(registrar, world.here).status_code == 200


def test_no_key_gives_an_approval(world, registrar):
    assert refused(give(world.key(), ask(world, registrar))) == (403, "people-only")


def test_no_key_does_what_needs_two_people_since_its_holder_could_be_the_other_one(world, registrar):
    program = world.key()

    for headers in ({}, {"Reedbed-On-Behalf-Of": registrar.staff_id}):
        assert refused(REQUESTS["end_hold"].sent_by(program, world.here, **headers)) == (403, "people-only")
        stated = {"action": "end_hold", "subject_id": world.here["hold"], "why": "closed"}
        assert refused(program.request("POST", "/v1/approvals", json=stated, headers=headers)) == (403, "not-allowed")


def test_only_whoever_asked_does_it(world, registrar, second):
    give(second, ask(world, registrar))

    assert refused(REQUESTS[BY_TWO].sent_by(second, world.here)) == (403, "second-person-needed")
    assert refused(REQUESTS[BY_TWO].sent_by(registrar, world.there)) == (403, "second-person-needed")


def test_whoever_may_not_do_the_act_neither_asks_for_it_nor_approves_it(world, registrar):
    administrator = world.person(Grant(Role.ADMINISTRATOR))
    asked = ask(world, administrator, action="erase_staff", subject="staff")

    assert refused(ask(world, registrar, action="erase_staff", subject="staff")) == (403, "not-allowed")
    assert refused(give(registrar, asked)) == (403, "not-allowed")


def test_whoever_reaches_only_another_site_neither_asks_for_it_nor_approves_it(world, registrar):
    elsewhere = world.person(Grant(Role.REGISTRAR, UUID(world.there["site"])))

    assert refused(ask(world, elsewhere)) == (403, "other-site")
    assert refused(give(elsewhere, ask(world, registrar))) == (403, "other-site")


def test_an_approval_is_given_once(world, registrar, second):
    asked = ask(world, registrar)
    give(second, asked)

    assert refused(give(second, asked)) == (409, "given")


def test_an_approval_is_over_at_its_end(world, store, registrar, second):
    asked, end = UUID(ask(world, registrar).json()["id"]), makers.NOON + GOOD_FOR
    giver = replace(makers.origin(), actor=f"staff:{second.staff_id}")
    act = ActOfTwo(Animal, EVERYWHERE)

    for late in (timedelta(0), timedelta(seconds=1)):
        with store.transaction(replace(giver, at=end + late)) as unit, pytest.raises(Conflict, match="over"):
            give_approval(unit, asked, act_named=lambda _: act)
    with store.transaction(replace(giver, at=end - timedelta(seconds=1))) as unit:
        assert give_approval(unit, asked, act_named=lambda _: act).given_by == giver.actor
    with store.transaction(replace(makers.origin(), actor=f"staff:{registrar.staff_id}", at=end)) as unit, pytest.raises(NotAllowed):
        use_approval(unit, BY_TWO, UUID(world.here["animal"]))


@pytest.mark.parametrize(
    ("action", "subject", "pointer"),
    [("end_site", "site", "/action"), ("fly", "site", "/action"), (BY_TWO, "site", "/subject_id")],
)
def test_what_needs_no_second_person_is_not_asked_for(world, registrar, action, subject, pointer):
    answer = ask(world, registrar, action=action, subject=subject)

    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_the_journal_says_why_by_what_and_for_whom(world):
    keeper = world.person(Grant(Role.KEEPER))
    program, before = world.key({Scope.RECORDS_WRITE}), world.position()

    answer = REQUESTS["change_animal"].sent_by(
        program, world.here, **{"Reedbed-Reason": "seen at the round", "Reedbed-On-Behalf-Of": keeper.staff_id}
    )

    assert answer.status_code == 200
    [entry] = journal(world, after=before)
    assert (entry["reason"], entry["on_behalf_of"]) == ("seen at the round", keeper.staff_id)
    assert entry["credential"] == entry["actor"]
    assert entry["actor"].startswith("key:")
    with world.store.snapshot(makers.origin()) as unit:
        assert prove(unit).flaws == []


def test_a_reason_that_cannot_be_kept_is_refused(world):
    program, before = world.key(), world.position()

    for reason in (b"", b"   ", b"a\xff", b"x" * 121, "a\u202eb".encode()):
        answer = REQUESTS["change_animal"].sent_by(program, world.here, **{"Reedbed-Reason": reason})
        assert (reason, *refused(answer)) == (reason, 400, "reason-malformed")
    assert world.position() == before


def test_a_reason_of_120_characters_is_kept(world):
    program, before = world.key(), world.position()

    for one, reason in ((world.here, "\N{LATIN SMALL LETTER E WITH ACUTE}" * 120), (world.there, "  trimmed ")):
        assert REQUESTS["change_animal"].sent_by(program, one, **{"Reedbed-Reason": reason.encode()}).status_code == 200
    assert [entry["reason"] for entry in journal(world, after=before)] == ["\N{LATIN SMALL LETTER E WITH ACUTE}" * 120, "trimmed"]
