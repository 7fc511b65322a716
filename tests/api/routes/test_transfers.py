"""Transfers over the API: from the plan to the arrival, by two people, and what is said where something is open."""

from __future__ import annotations

from uuid import UUID

import pytest

from api.bodies.records import with_disclaimer
from api.bodies.transfers import Transfer, TransferCheck
from domain.actions.transfers.approve import approve_transfer
from domain.actions.transfers.check import check_transfer
from domain.records import transfers as records
from domain.rules.law.requirements import Entry, Selector
from domain.rules.permissions import Role
from domain.rules.taxonomy import TaxonRank
from tests import makers, people

JOURNEY = {
    "carrier": "Fen Carriers",
    "carrier_authorisation": "C-3",
    "container": "Ventilated crate, marked LIVE ANIMALS",
    "least_c": 18.0,
    "most_c": 28.0,
    "quarantine_days": 30,
}


@pytest.fixture
def places(store, organisation):
    """Return two sites, an animal at the first, and an enclosure at the second."""
    with store.transaction(makers.origin(organisation_id=organisation)) as unit:
        makers.requirement(unit, selector=Selector(any_of=(Entry(name="Boa ficta", rank=TaxonRank.SPECIES),)))
        here, there = (makers.site(unit, name=name, jurisdiction="XR") for name in ("Reedmere House", "Tern Point"))
        home = makers.enclosure(unit, here)
        animal = makers.animal(unit, makers.taxon(unit, hazard="harmless"), enclosure_id=str(home.id), acquired_on="2025-01-10")
        apart = makers.enclosure(unit, there, name="Q1", quarantine=True)
        return {"from": str(here.id), "to": str(there.id), "animal": str(animal.id), "apart": str(apart.id)}


def planned(client, places, **said):
    ends = {"basis": "move", "reference": "T-1", "from_site_id": places["from"], "to_site_id": places["to"]}
    days = {"dispatch_on": "2026-03-01", "arrive_on": "2026-03-01", "quarantine_enclosure_id": places["apart"]}
    answer = client.post("/v1/transfers", {**ends, **days, **JOURNEY, **said})
    assert answer.status_code == 201, answer.text
    path = answer.headers["Location"]
    line = client.post(f"{path}/animals", {"animal_id": places["animal"]})
    assert line.status_code == 201, line.text
    return path, line.json()["id"]


def done(answer):
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_an_animal_goes_from_site_to_site_when_two_people_have_looked_at_it(app, client, store, caller, places):
    path, line = planned(client, places)
    one, other = (people.signed_in(caller, people.person(store, name, role=Role.REGISTRAR)) for name in ("ada", "bo"))

    check = TransferCheck.model_validate_json(client.post(f"{path}/check", {}).content)
    assert (check.stage, check.items, check.disclaimer[:16]) == ("complete", [], "Not legal advice")
    assert one.post(f"{path}/approve", {}).json()["code"] == "second-person-needed"
    asked = one.post("/v1/approvals", {"action": "approve_transfer", "subject_id": path.rpartition("/")[2], "why": "ready"})
    done(other.post(f"/v1/approvals/{asked.json()['id']}/give", {}))
    done(one.post(f"{path}/approve", {}))
    left = done(client.post(f"{path}/dispatch", {"temperature_c": 22.5}))
    assert (left["stage"], left["site_id"], left["dispatched_at"]) == ("dispatched", places["to"], "2026-03-01T12:00:00.000000Z")
    app.state.house.clock = lambda: makers.NOON.replace(hour=15)
    receipt = {"arrivals": [{"transfer_animal_id": line, "condition": "lively"}], "temperature_c": 21}
    again = {"Idempotency_Key": "arrived"}
    shown = with_disclaimer(Transfer).model_validate_json(client.post(f"{path}/receive", receipt, **again).content)

    assert shown.stage == "received"
    assert client.post(f"{path}/receive", receipt, **again).json()["version"] == shown.version
    assert client.get(f"/v1/animals/{places['animal']}").json()["enclosure_id"] == places["apart"]
    assert client.get(f"{path}/animals").json()["items"][0]["quarantine_until"] == "2026-03-31"


def test_an_approval_is_for_the_plan_as_it_was_and_ends_with_a_change(app, client, store, caller, places):
    path, _ = planned(client, places)
    one, other = (people.signed_in(caller, people.person(store, name, role=Role.REGISTRAR)) for name in ("ada", "bo"))
    done(client.post(f"{path}/check", {}))
    asked = one.post("/v1/approvals", {"action": "approve_transfer", "subject_id": path.rpartition("/")[2], "why": "ready"})
    done(other.post(f"/v1/approvals/{asked.json()['id']}/give", {}))
    tag = client.get(path).headers["ETag"]
    done(client.request("PATCH", path, json={"carrier": "A man with a van"}, headers={"If-Match": tag}))
    done(client.post(f"{path}/check", {}))

    assert one.post(f"{path}/approve", {}).json()["code"] == "second-person-needed"


def test_what_is_open_is_told_with_its_field_and_its_rule(client, places):
    path, _ = planned(client, places, container=None, carrier_until="2026-02-20")

    check = client.post(f"{path}/check", {}).json()

    assert [(one["code"], one["field"]) for one in check["items"]] == [
        ("carrier_lapses", "carrier_until"),
        ("container_missing", "container"),
    ]
    assert (check["stage"], check["earliest"], check["good_through"]) == ("draft", None, "2026-03-03")
    assert client.post(f"{path}/dispatch", {}).json()["code"] == "not-its-turn"


@pytest.mark.parametrize(
    ("said", "code", "pointer"),
    [
        ({"to_site_id": None}, "not-together", "/basis"),
        ({"arrive_on": "2026-02-01"}, "not-together", "/arrive_on"),
        ({"basis": "loan"}, "not-together", "/basis"),
        ({"least_c": 30.0}, "not-together", "/most_c"),
        ({"report_after_days": [7, 7]}, "repeated", "/report_after_days"),
        ({"basis": "barter"}, "not-one-of", "/basis"),
    ],
)
def test_a_plan_that_does_not_hang_together_is_refused_by_its_field(client, places, said, code, pointer):
    ends = {"basis": "move", "reference": "T-1", "from_site_id": places["from"], "to_site_id": places["to"]}

    answer = client.post("/v1/transfers", {**ends, "dispatch_on": "2026-03-01", "arrive_on": "2026-03-01", **JOURNEY, **said})

    assert answer.status_code == 422
    assert (answer.json()["errors"][0]["pointer"], answer.json()["errors"][0]["code"]) == (pointer, code)


def test_who_is_at_the_receiving_site_sees_it_once_it_is_dispatched(client, store, caller, places):
    path, _ = planned(client, places)
    keeper = people.signed_in(caller, people.person(store, "nils", role=Role.KEEPER, site_id=places["to"]))
    assert keeper.get(path).json()["code"] == "other-site"

    with store.transaction(makers.origin()) as unit:
        found = unit.fetch(records.Transfer, UUID(path.rpartition("/")[2]))
        unit.change(found, {"site_id": UUID(places["to"])}, action="dispatch_transfer")
    assert keeper.get(path).status_code == 200


def test_whoever_is_bound_to_one_site_sends_from_it_and_receives_or_refuses_at_it(app, client, store, caller, places):
    """The hand-over is between two sites; each end is acted on by its own people."""
    path, line = planned(client, places)
    sender, receiver = (
        people.signed_in(caller, people.person(store, name, role=role, site_id=places[end]))
        for name, role, end in (("ada", Role.CURATOR, "from"), ("bo", Role.KEEPER, "to"))
    )
    with store.transaction(makers.origin()) as unit:
        check_transfer(unit, UUID(path.rpartition("/")[2]))
        approve_transfer(unit, UUID(path.rpartition("/")[2]))

    assert receiver.post(f"{path}/dispatch", {}).status_code == 403
    assert done(sender.post(f"{path}/dispatch", {"temperature_c": 22.5}))["site_id"] == places["to"]
    assert sender.post(f"{path}/refuse", {"reason": "mine"}).status_code == 403
    app.state.house.clock = lambda: makers.NOON.replace(hour=15)
    done(receiver.post(f"{path}/receive", {"arrivals": [{"transfer_animal_id": line, "condition": "lively"}]}))

    assert client.get(f"/v1/animals/{places['animal']}").json()["enclosure_id"] == places["apart"]


def test_a_keeper_of_the_receiving_site_refuses_what_arrives(client, store, caller, places):
    path, _ = planned(client, places)
    keeper = people.signed_in(caller, people.person(store, "bo", role=Role.KEEPER, site_id=places["to"]))
    with store.transaction(makers.origin()) as unit:
        check_transfer(unit, UUID(path.rpartition("/")[2]))
        approve_transfer(unit, UUID(path.rpartition("/")[2]))
    done(client.post(f"{path}/dispatch", {"temperature_c": 22.5}))

    assert done(keeper.post(f"{path}/refuse", {"reason": "It coughs."}))["site_id"] == places["from"]
