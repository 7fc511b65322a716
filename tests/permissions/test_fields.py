"""Fields that only some may write: who is refused, what is said, and that nothing was changed."""

from __future__ import annotations

from uuid import UUID

import pytest

from domain.rules.permissions import Grant, Role, Scope


def named(answer):
    """Return the status, the code and the fields of a refusal."""
    said = answer.json()
    return (answer.status_code, said["code"], [error["pointer"] for error in said["errors"]])


def at(world, role):
    return world.person(Grant(role, UUID(world.here["site"])))


# Who writes which fields of which record, and the fields that are refused.
CASES = [
    (Role.KEEPER, "equipment/{item}", {"note": "hums", "position": "left"}, []),
    (Role.KEEPER, "equipment/{item}", {"note": "hums", "model_id": "{model}"}, ["/model_id"]),
    (Role.KEEPER, "equipment/{item}", {"installed_on": None, "serial": "7"}, ["/installed_on", "/serial"]),
    (Role.TECHNICIAN, "equipment/{item}", {"serial": "7"}, []),
    (Role.TECHNICIAN, "equipment/{item}", {"override_life_months": 24}, ["/override_life_months"]),
    (Role.CURATOR, "equipment/{item}", {"override_life_months": 24, "override_reason": "cold"}, []),
    (Role.KEEPER, "enclosures/{enclosure}", {"note": "leaks"}, []),
    (Role.KEEPER, "enclosures/{enclosure}", {"life_support_system_id": None}, ["/life_support_system_id"]),
    (Role.TECHNICIAN, "enclosures/{enclosure}", {"life_support_system_id": None}, []),
    (Role.TECHNICIAN, "enclosures/{enclosure}", {"name": "Hall C 01"}, ["/name"]),
    (Role.TECHNICIAN, "sites/{site}", {"note": "main switch by the door"}, []),
    (Role.TECHNICIAN, "sites/{site}", {"jurisdiction": "PT"}, ["/jurisdiction"]),
    (Role.CURATOR, "sites/{site}", {"jurisdiction": "PT"}, []),
    (Role.TECHNICIAN, "equipment-models/{model}", {"lead_days": 9}, []),
    (Role.TECHNICIAN, "equipment-models/{model}", {"life_months": 240, "cautions": []}, ["/life_months", "/cautions"]),
    (Role.CURATOR, "equipment-models/{model}", {"life_months": 24, "cautions": ["wet-hands"]}, []),
    (Role.KEEPER, "animals/{animal}", {"note": "shy", "locality": "Low Mire", "hatched_on": "2020-05-01"}, []),
    (Role.KEEPER, "animals/{animal}", {"taxon_id": "{taxon}", "tag": "A-9", "grouping": "group"}, ["/taxon_id", "/tag", "/grouping"]),
    (Role.VETERINARIAN, "animals/{animal}", {"tag": "A-9"}, []),
    (Role.CURATOR, "staff/{staff}", {"role": "technician"}, []),
    (Role.CURATOR, "staff/{staff}", {"role": "administrator"}, ["/role"]),
    (Role.REGISTRAR, "staff/{staff}", {"role": "curator", "note": "n"}, ["/role"]),
]  # fmt: skip


@pytest.mark.parametrize("role", sorted({case[0] for case in CASES}))
def test_a_field_is_written_by_the_roles_that_may(world, role):
    world.person(Grant(Role.ADMINISTRATOR))
    client, free = at(world, role), world.key()

    for _, path, patch, denied in (case for case in CASES if case[0] is role):
        one = f"/v1/{path.format(**world.here)}"
        stated = {name: value.format(**world.here) if isinstance(value, str) else value for name, value in patch.items()}
        version, before = free.get(one).headers["ETag"], world.position()
        answer = client.patch(one, stated, If_Match=version)
        if denied:
            assert (path, *named(answer)) == (path, 403, "field-not-allowed", denied)
            assert answer.json()["detail"] == f"You may do this, but not write {', '.join(name[1:] for name in denied)}."
            assert world.position() == before
        else:
            assert (path, answer.status_code, answer.text) == (path, 200, answer.text)


def test_a_field_is_refused_where_something_is_registered_too(world):
    technician, keeper = at(world, Role.TECHNICIAN), at(world, Role.KEEPER)
    model = {"name": "Probe", "kind": "ph-probe"}
    item = {"tag": "RE-9", "model_id": world.here["model"], "site_id": world.here["site"]}

    assert named(technician.post("/v1/equipment-models", {**model, "life_hours": 9000}))[2] == ["/life_hours"]
    assert technician.post("/v1/equipment-models", {**model, "life_hours": None}).status_code == 201
    assert named(keeper.post("/v1/equipment", {**item, "override_life_hours": 9000.0, "override_reason": "x"}))[0] == 403
    assert keeper.post("/v1/equipment", item).status_code == 201


def test_nobody_makes_themselves_more_than_they_are(world):
    world.person(Grant(Role.ADMINISTRATOR))
    curator, administrator = at(world, Role.CURATOR), world.person(Grant(Role.ADMINISTRATOR))
    own = f"/v1/staff/{curator.staff_id}"

    assert named(curator.patch(own, {"role": "administrator"}, If_Match='"1"')) == (403, "field-not-allowed", ["/role"])
    assert named(curator.patch(own, {"site_id": None}, If_Match='"1"'))[1] == "role-not-yours"
    assert named(curator.patch(f"/v1/staff/{world.here['staff']}", {"site_id": None}, If_Match='"1"'))[1] == "other-site"
    assert administrator.patch(own, {"role": "registrar"}, If_Match='"1"').status_code == 200


def test_a_role_at_another_site_opens_no_field_here(world):
    mixed = world.person(Grant(Role.KEEPER, UUID(world.here["site"])), Grant(Role.TECHNICIAN, UUID(world.there["site"])))

    here, there = (mixed.patch(f"/v1/equipment/{one['item']}", {"serial": "7"}, If_Match='"1"') for one in (world.here, world.there))

    assert (here.status_code, there.status_code) == (403, 200)


@pytest.mark.parametrize(
    ("scopes", "bound", "status"),
    [
        ({Scope.RECORDS_WRITE}, False, 201),
        ({Scope.RECORDS_WRITE}, True, 403),
        ({Scope.RECORDS_WRITE, Scope.ADMINISTRATION}, True, 201),
    ],
)
def test_a_key_writes_roles_of_staff_unless_it_is_bound_to_sites(world, scopes, bound, status):
    program = world.key(scopes, sites=[world.here["site"]] if bound else None)

    answer = program.post("/v1/staff", {"name": "B. Keeper", "role": "keeper", "site_id": world.here["site"]})

    assert answer.status_code == status
    if status == 403:
        assert named(answer) == (403, "field-not-allowed", ["/role", "/site_id"])


def test_a_bound_key_writes_what_a_registrar_may(world):
    program = world.key({Scope.RECORDS_WRITE}, sites=[world.here["site"]])

    assert program.patch(f"/v1/equipment/{world.here['item']}", {"serial": "7"}, If_Match='"1"').status_code == 200
    assert program.patch(f"/v1/sites/{world.here['site']}", {"jurisdiction": "PT"}, If_Match='"1"').status_code == 200


@pytest.mark.parametrize(("raw", "status", "code"), [(b"[]", 422, "not-object"), (b"{", 400, "not-json"), (b'{"a":1,"a":2}', 400, None)])
def test_a_body_that_is_no_object_is_refused_for_that(world, raw, status, code):
    headers = {"Content-Type": "application/json", "If-Match": '"1"'}

    answer = at(world, Role.KEEPER).request("PATCH", f"/v1/equipment/{world.here['item']}", content=raw, headers=headers)

    assert answer.status_code == status
    assert code in (None, answer.json()["code"])
