"""Every door that changes something leaves its entries: who did it, by what, for whom, in which request, and why, as that was sent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import msgspec
import pytest

from api.app import DOORS
from api.permissions import permissions
from domain.actions.taxa import register_taxon
from domain.actions.verify import prove
from domain.records.journal import ENTRIES_AFTER
from domain.records.taxa import TaxonRank, TaxonStated
from domain.rules.permissions import Grant, Role
from tests import makers, people
from tests.permissions.doors import REQUESTS, Request

MATRIX = permissions().matrix
OF_TWO = {"legal_hold": "hold", "transfer": "complete_transfer"}
"""The names of the records that acts of two people are done to, where they are not those of their kind."""
REASON = "as agreed by telephone"
CHANGES = {door.action for door in DOORS if door.writes or door.attends} | {"import_file", "register_document"}
WITHOUT_ENTRY = {"end_session": "a session ends by itself as well, and is no record"}
ENDED_UNUSED = {"end_site": "site", "end_enclosure": "enclosure", "end_life_support_system": "system", "end_taxon": "taxon"}


@dataclass
class Callers:
    """A program that acts for an administrator, that administrator, and another."""

    program: Any
    person: Any
    second: Any

    def of(self, action: str) -> Any:
        """Return who asks: the person herself where no key may do it, or what the approval asked for is for."""
        return self.person if MATRIX.actions[action].people_only or action == "ask_for_approval" else self.program


@pytest.fixture
def callers(world):
    person, second = (world.person(Grant(Role.ADMINISTRATOR), name=name) for name in ("A. Chief", "B. Chief"))
    return Callers(world.key(), person, second)


def entries(world, request_id):
    with world.store.snapshot(makers.origin()) as unit:
        found = [msgspec.json.decode(row["content"]) for row in unit.named(ENTRIES_AFTER, after=0, limit=5000)]
    return [entry for entry in found if entry["request_id"] == request_id]


def unused(world):
    """Return the names of records that nothing refers to, and of an item that was not replaced."""
    with world.store.transaction(makers.origin()) as unit:
        site = makers.site(unit, name="Empty Hall")
        made = {
            "site": makers.site(unit, name="Emptier Hall"),
            "enclosure": makers.enclosure(unit, site),
            "system": makers.system(unit, site),
            "taxon": register_taxon(unit, TaxonStated(scientific_name="Fictiva", rank=TaxonRank.GENUS)),
        }
    return {noun: str(record.id) for noun, record in made.items()}


def end_accounts(callers, staff_id):
    for one in callers.person.get(f"/v1/accounts?staff_id={staff_id}").json()["items"]:
        assert callers.person.post(f"/v1/accounts/{one['id']}/end", {"reason": "left"}).status_code == 200


def approved(callers, action, subject_id):
    """Have the administrator ask for an approval and the other one give it."""
    asked = callers.person.post("/v1/approvals", {"action": action, "subject_id": subject_id, "why": "due"})
    assert callers.second.post(f"/v1/approvals/{asked.json()['id']}/give", {}).status_code == 200


def sent(world, callers, action, names):
    """Return the answer to a successful request of an action, with everything said that the journal should say again."""
    request = REQUESTS[action]
    headers = {"X-Request-Id": f"door-{action.replace('_', '-')}", "Reedbed-Reason": REASON}
    if callers.of(action) is callers.program:
        headers["Reedbed-On-Behalf-Of"] = callers.person.staff_id
    kind = MATRIX.actions[action].two_person
    if kind is not None:
        approved(callers, action, names[OF_TWO.get(kind, kind)])
    return request.sent_by(callers.of(action), names, **headers)


def expected(callers, action):
    program = callers.of(action) is callers.program
    return callers.person.staff_id if program else None, "key" if program else "session"


def test_every_door_that_changes_something_says_so_in_the_journal(world, callers):
    instead = unused(world)
    tried = {}
    for action in (one for one in REQUESTS if one in CHANGES - set(WITHOUT_ENTRY) - {"set_password"}):
        names = dict(world.here)
        if action in ENDED_UNUSED:
            names[ENDED_UNUSED[action]] = instead[ENDED_UNUSED[action]]
        if action == "end_equipment":
            names = dict(world.there)
        if action == "end_calendar_feed":
            names["calendar_feed"] = callers.person.get("/v1/calendar-feeds").json()["items"][0]["id"]
        if action == "erase_staff":
            end_accounts(callers, names["staff"])
        answer = sent(world, callers, action, names)
        assert answer.status_code < 300, (action, answer.text)
        left = entries(world, f"door-{action.replace('_', '-')}")
        for_whom, by = expected(callers, action)
        said = {(one["on_behalf_of"], one["credential"].partition(":")[0], one["actor"].partition(":")[0]) for one in left}
        assert (action, said) == (action, {(for_whom, by, "key" if by == "key" else "staff")})
        body = REQUESTS[action].body or {}
        assert {one["reason"] for one in left} <= {body.get("reason", REASON), REASON}, action
        tried[action] = len(left)

    assert set(tried) == CHANGES - set(WITHOUT_ENTRY) - {"set_password"}
    assert min(tried.values()) >= 1
    assert tried["erase_staff"] >= 4  # the approval used, the identity, the account, the person
    with world.store.transaction(makers.origin()) as unit:
        assert prove(unit).flaws == []


def test_passwords_are_in_the_journal_as_set_and_by_what(world):
    mila = people.person(world.store, "mila")
    code = {**mila.who, "code": mila.code, "password": "quiet lantern otter reed"}
    new, stranger = people.person(world.store, "nils", password=None), world.caller(None)
    own = people.signed_in(world.caller, mila)
    changed = Request("POST", "/v1/accounts/{account}/password", {"current_password": people.PASSWORD, "password": code["password"]})

    answer = changed.sent_by(own, {"account": str(mila.account_id)}, **{"X-Request-Id": "door-own-password", "Reedbed-Reason": REASON})
    by_code = stranger.post("/v1/passwords", {**code, **new.who, "code": new.code}, X_Request_Id="door-by-code")

    assert (answer.status_code, by_code.status_code) == (200, 200), (answer.text, by_code.text)
    [own_entry], [code_entry] = (entries(world, request_id) for request_id in ("door-own-password", "door-by-code"))
    assert (own_entry["action"], own_entry["actor"], own_entry["reason"]) == ("set_password", f"staff:{mila.staff_id}", REASON)
    assert own_entry["credential"].startswith("session:")
    assert (code_entry["action"], code_entry["actor"], code_entry["credential"]) == (
        "set_password",
        f"staff:{new.staff_id}",
        f"code:{new.account_id}",
    )


def test_a_session_begins_and_ends_without_an_entry(world):
    mila = people.person(world.store, "mila")
    before = world.position()
    own = people.signed_in(world.caller, mila)
    [session] = own.get("/v1/sessions").json()["items"]

    assert own.post(f"/v1/sessions/{session['id']}/end", {}).status_code == 200
    assert world.position() == before


def test_a_repeated_request_leaves_its_entries_once(world, callers):
    names, once = world.here, {"Idempotency-Key": "only-once", "X-Request-Id": "door-first-time"}
    assert REQUESTS["register_spare"].sent_by(callers.program, names, **once).status_code == 201
    again = REQUESTS["register_spare"].sent_by(callers.program, names, **{**once, "X-Request-Id": "door-next-time"})

    assert again.headers["Idempotency-Replayed"] == "true"
    assert (len(entries(world, "door-first-time")), len(entries(world, "door-next-time"))) == (1, 0)
