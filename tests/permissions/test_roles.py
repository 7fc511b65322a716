"""Who may not give a role does not take it away either, nor carry it to other sites; and no key gives one that is not for that."""

from __future__ import annotations

from uuid import UUID

import pytest

from domain.rules.permissions import Grant, Role, Scope

END = {"reason": "left"}


def refused(answer):
    return (answer.status_code, answer.json()["code"])


def at(world, role):
    return Grant(role, UUID(world.here["site"]))


@pytest.fixture
def administrator(world):
    return world.person(Grant(Role.ADMINISTRATOR), name="A. Administrator")


@pytest.fixture
def curator(world):
    return world.person(Grant(Role.CURATOR), name="B. Curator")


@pytest.mark.parametrize("patch", [{"role": "keeper"}, {"site_id": "{site}"}, {"site_id": None}], ids=str)
def test_a_curator_neither_demotes_nor_moves_an_administrator(world, administrator, curator, patch):
    other = world.person(at(world, Role.ADMINISTRATOR) if patch == {"site_id": None} else Grant(Role.ADMINISTRATOR))
    stated = {name: value and value.format(**world.here) for name, value in patch.items()}
    before = world.position()

    assert refused(curator.patch(f"/v1/staff/{other.staff_id}", stated, If_Match='"1"')) == (403, "role-not-yours")
    assert world.position() == before
    assert administrator.patch(f"/v1/staff/{other.staff_id}", stated, If_Match='"1"').status_code == 200


def test_what_is_not_about_the_role_is_corrected_all_the_same(world, administrator, curator):
    answer = curator.patch(f"/v1/staff/{administrator.staff_id}", {"contact": "by the pond"}, If_Match='"1"')

    assert answer.status_code == 200


def test_an_administrator_of_one_site_who_is_curator_of_all_does_not_become_administrator_of_all(world, administrator):
    both = world.person(at(world, Role.ADMINISTRATOR), Grant(Role.CURATOR))

    answer = both.patch(f"/v1/staff/{both.staff_id}", {"site_id": None}, If_Match='"1"')

    assert refused(answer) == (403, "role-not-yours")


@pytest.mark.parametrize("more", [(), (Grant(Role.ADMINISTRATOR),)], ids=["by the record", "by a grant"])
def test_who_has_a_higher_role_is_ended_by_whoever_may_give_it(world, administrator, curator, more):
    other = world.person(Grant(Role.KEEPER if more else Role.ADMINISTRATOR), *more)
    path = f"/v1/staff/{other.staff_id}/end"

    assert refused(curator.post(path, END)) == (403, "role-not-yours")
    assert administrator.post(path, END).status_code == 200


def test_an_administrator_of_one_site_does_not_end_who_has_a_role_everywhere(world, administrator):
    bound = world.person(at(world, Role.ADMINISTRATOR))
    other = world.person(at(world, Role.KEEPER), Grant(Role.REGISTRAR))
    keeper = world.person(at(world, Role.KEEPER))

    assert refused(bound.post(f"/v1/staff/{other.staff_id}/end", END)) == (403, "role-not-yours")
    assert bound.post(f"/v1/staff/{keeper.staff_id}/end", END).status_code == 200


@pytest.mark.parametrize(("scopes", "status"), [({Scope.RECORDS_WRITE}, 403), ({Scope.RECORDS_WRITE, Scope.ADMINISTRATION}, 200)])
def test_a_key_makes_nobody_administrator_unless_it_is_for_administration(world, scopes, status):
    keeper, program = world.person(Grant(Role.KEEPER)), world.key(scopes)

    answer = program.patch(f"/v1/staff/{keeper.staff_id}", {"role": "administrator"}, If_Match='"1"')

    assert answer.status_code == status
    assert (keeper.get("/v1/accounts").status_code == 200) is (status == 200)


def test_a_key_that_is_not_for_administration_takes_no_such_role_away(world, administrator):
    program = world.key({Scope.RECORDS_WRITE})
    other = world.person(Grant(Role.REGISTRAR))

    for answer in (
        program.patch(f"/v1/staff/{other.staff_id}", {"role": "keeper"}, If_Match='"1"'),
        program.post(f"/v1/staff/{other.staff_id}/end", END),
    ):
        assert refused(answer) == (403, "role-not-yours")
    assert other.get("/v1/approvals").status_code == 200
