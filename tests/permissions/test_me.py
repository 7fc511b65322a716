"""What a front end learns about the caller: who it is, and what may be done where."""

from __future__ import annotations

from uuid import UUID

import pytest

from api.bodies.me import Me
from api.permissions import permissions
from domain.rules.permissions import Grant, Role, Scope
from tests.permissions.doors import REQUESTS

MATRIX = permissions().matrix


def test_a_person_is_told_their_roles_and_what_they_may_do(world):
    keeper = world.person(Grant(Role.KEEPER, UUID(world.here["site"])), Grant(Role.VIEWER), name="B. Keeper")

    me = keeper.get("/v1/me")

    assert me.status_code == 200
    Me.model_validate_json(me.content)
    said = me.json()
    assert said["organisation"]["name"] == "Marshlight Trust"
    assert said["who"] == {"kind": "staff", "id": keeper.staff_id, "name": "B. Keeper", "on_behalf_of": None}
    assert said["roles"] == [{"role": "keeper", "site_id": world.here["site"]}, {"role": "viewer", "site_id": None}]
    assert (said["scopes"], said["site_ids"]) == (None, None)
    assert said["may"]["list_animals"] == {"everywhere": True}
    assert said["may"]["change_animal"] == {"site_ids": [world.here["site"]]}
    assert "end_animal" not in said["may"]
    assert {"field": "model_id", "values": []} in said["fields_closed"]["change_equipment"]
    assert not {"note", "position", "id"} & {one["field"] for one in said["fields_closed"]["change_equipment"]}


def test_values_that_are_closed_are_named(world):
    said = world.person(Grant(Role.CURATOR)).get("/v1/me").json()

    closed = {"field": "role", "values": ["administrator", "auditor", "curator", "registrar"]}
    assert said["fields_closed"] == {"change_staff_member": [closed], "register_staff_member": [closed]}


def test_a_key_is_told_its_scopes_and_sites(world):
    program = world.key({Scope.RECORDS_READ, Scope.REPORTS_READ}, sites=[world.here["site"]])

    me = program.get("/v1/me")

    Me.model_validate_json(me.content)
    said = me.json()
    assert (said["who"]["kind"], said["who"]["name"]) == ("key", "program")
    assert (said["roles"], said["scopes"], said["site_ids"]) == ([], ["records.read", "reports.read"], [world.here["site"]])
    assert said["may"]["get_report"] == {"site_ids": [world.here["site"]]}
    assert said["may"]["list_taxa"] == said["may"]["get_me"] == {"everywhere": True}
    assert said["fields_closed"] == {}


def test_a_program_that_acts_for_somebody_is_told_what_both_may(world):
    viewer = world.person(Grant(Role.VIEWER, UUID(world.here["site"])))

    said = world.key().request("GET", "/v1/me", headers={"Reedbed-On-Behalf-Of": viewer.staff_id}).json()

    assert said["who"]["on_behalf_of"] == viewer.staff_id
    assert said["may"]["list_animals"] == {"site_ids": [world.here["site"]]}
    assert "register_animal" not in said["may"]


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TECHNICIAN, Role.ADMINISTRATOR])
def test_what_one_may_is_what_the_doors_let_in(world, role):
    person = world.person(Grant(role))
    may = person.get("/v1/me").json()["may"]

    for name, request in REQUESTS.items():
        answer = request.sent_by(person, world.here)
        refused = answer.status_code == 403 and answer.json()["code"] == "not-allowed"
        assert (name, name in may) == (name, not refused)
    assert set(may) == {name for name, row in MATRIX.actions.items() if row.signed_in or role in row.cells}
