"""Erasing a person by the door: asked by one, approved by another, then done; and every answer is without the name from then on."""

from __future__ import annotations

import pytest

from domain.actions.erasure import FORMER
from domain.rules.permissions import Grant, Role
from tests.permissions.doors import REQUESTS

NAME = "Keeper of Reedmere House"


@pytest.fixture
def chiefs(world):
    return [world.person(Grant(Role.ADMINISTRATOR), name=name) for name in ("A. Chief", "B. Chief")]


def refused(answer):
    return (answer.status_code, answer.json()["code"])


def erase(who, world):
    return REQUESTS["erase_staff"].sent_by(who, world.here)


def ask(who, world):
    stated = {"action": "erase_staff", "subject_id": world.here["staff"], "why": "asked to be forgotten"}
    return who.post("/v1/approvals", stated).json()["id"]


def end_with_accounts(who, world):
    for action in ("end_identity", "end_account", "end_staff_member"):
        assert REQUESTS[action].sent_by(who, world.here).status_code == 200


def lift_holds(world, first, second):
    asked = first.post("/v1/approvals", {"action": "end_hold", "subject_id": world.here["hold"], "why": "closed"}).json()["id"]
    assert second.post(f"/v1/approvals/{asked}/give", {}).status_code == 200
    assert REQUESTS["end_hold"].sent_by(first, world.here).status_code == 200


def test_it_takes_two_people_an_end_and_no_hold(world, chiefs):
    first, second = chiefs
    assert refused(erase(first, world)) == (403, "second-person-needed")
    asked = ask(first, world)
    assert refused(first.post(f"/v1/approvals/{asked}/give", {})) == (403, "own-approval")
    assert second.post(f"/v1/approvals/{asked}/give", {}).status_code == 200
    assert refused(erase(second, world)) == (403, "second-person-needed")

    # Refused for another reason, the approval is still good.
    assert refused(erase(first, world)) == (409, "not-ended")
    end_with_accounts(first, world)
    assert refused(erase(first, world)) == (409, "held")
    lift_holds(world, first, second)
    done = erase(first, world)

    assert (done.status_code, done.json()["name"], done.json()["contact"]) == (200, FORMER, "")
    assert refused(erase(first, world)) == (403, "second-person-needed")


def test_afterwards_no_answer_has_the_name(world, chiefs):
    first, second = chiefs
    assert NAME in first.get("/v1/staff").text
    assert "keeper of Reedmere" in first.get(f"/v1/accounts/{world.here['account']}").text
    again = {"Idempotency_Key": "only-once"}
    stated = {"staff_id": world.here["staff"], "sign_in_name": "Reedmere Keeper"}
    made = first.post("/v1/accounts", stated, **again)
    assert first.post(f"/v1/accounts/{made.json()['id']}/end", {"reason": "left"}).status_code == 200
    lift_holds(world, first, second)
    end_with_accounts(first, world)
    assert second.post(f"/v1/approvals/{ask(first, world)}/give", {}).status_code == 200

    assert erase(first, world).status_code == 200

    seen = [first.get(path).text for path in ("/v1/staff?ended=any", "/v1/accounts?ended=any", f"/v1/staff/{world.here['staff']}")]
    assert [NAME.lower() in text.lower() or "reedmere keeper" in text.lower() for text in seen] == [False] * 3
    # The answer that was kept is gone with the name in it, so this is a new request, and the person has left.
    assert refused(first.post("/v1/accounts", stated, **again)) == (422, "reference-ended")
