"""Every cell of the permission matrix, against the file as it stands and against a second table written by hand."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from itertools import product
from uuid import UUID

import pytest

from api.app import DOORS, actions_of, build_app
from api.permissions import FILE, Undeclared, permissions, refuse_undeclared
from api.settings import Settings
from domain.records.base import all_records
from domain.records.belonging import BELONGING
from domain.records.engine import open_store
from domain.rules.permissions import EVERYWHERE, Cell, Grant, Matrix, Powers, Reach, Role, Scope
from tests import makers
from tests.permissions import by_hand

HERE, ELSEWHERE = UUID(int=1), UUID(int=2)
MATRIX = permissions().matrix
PLACES = (HERE, ELSEWHERE, None)
EVERYBODY = set(by_hand.TABLE["anybody"]["everybody"]["may"].split())
PERSONS = set(by_hand.TABLE["anybody"]["persons"]["may"].split())
# What no key may do although it belongs to a scope.
NEVER_BY_KEY = {"approve_transfer", "end_hold", "erase_staff", "give_approval"}


def as_written() -> dict[tuple[str, str], str]:
    """Return the cells of the file, read without the matrix."""
    nouns = {noun: blocks for noun, blocks in tomllib.loads(FILE.read_text(encoding="utf-8")).items() if noun != "public"}
    blocks = [block for blocks in nouns.values() for block in blocks if "actions" in block]
    return {
        (role, action): cell
        for block in blocks
        for cell in ("own_site", "organisation")
        for role in block.get(cell, ())
        for action in block["actions"]
    }  # fmt: skip


def expected(cell: str | None, granted: UUID | None) -> tuple[bool, ...]:
    """Return whether a role granted here, or in the whole organisation, reaches here, elsewhere, and what is of no site."""
    if cell is None:
        return (False, False, False)
    return (True, True, True) if cell == "organisation" or granted is None else (True, False, False)


def decided(matrix: Matrix, powers: Powers, action: str) -> tuple[bool, ...]:
    reach = matrix.reach(powers, action)
    return tuple(reach is not None and reach.covers(place) for place in PLACES)


def mismatches(matrix: Matrix, table: dict[tuple[str, str], str]) -> set[tuple[str, str]]:
    """Return the role and action of every decision that is not what a table says."""
    return {
        (role.value, action)
        for role, action, granted in product(Role, matrix.actions, (HERE, None))
        if action not in EVERYBODY | PERSONS
        and decided(matrix, Powers((Grant(role, granted),)), action) != expected(table.get((role.value, action)), granted)
    }


def flipped(matrix: Matrix, role: Role, action: str) -> Matrix:
    """Return the matrix with one cell changed: taken away where there was one, given where there was none."""
    row = matrix.actions[action]
    cells = {other: cell for other, cell in row.cells.items() if other is not role}
    if role not in row.cells:
        cells[role] = Cell.OWN_SITE
    return Matrix({**matrix.actions, action: replace(row, cells=cells)}, matrix.fields)


def test_every_decision_is_as_the_file_is_written():
    assert len(as_written()) > 300
    assert mismatches(MATRIX, as_written()) == set()


def test_every_decision_is_as_it_was_written_down_by_hand():
    assert mismatches(MATRIX, by_hand.cells()) == set()


def test_the_table_by_hand_speaks_of_every_action():
    assert {action for _, action in by_hand.cells()} | EVERYBODY | PERSONS == set(MATRIX.actions)
    assert [role.value for role in Role] == list(by_hand.ROLES)


@pytest.mark.parametrize("role", Role)
def test_one_cell_that_is_flipped_is_found(role):
    for action in set(MATRIX.actions) - EVERYBODY - PERSONS:
        assert mismatches(flipped(MATRIX, role, action), by_hand.cells()) == {(role.value, action)}


def test_two_roles_at_two_sites_add_up():
    both = Powers((Grant(Role.VIEWER, HERE), Grant(Role.KEEPER, ELSEWHERE)))

    assert MATRIX.reach(both, "list_animals") == Reach(frozenset({HERE, ELSEWHERE}))
    assert MATRIX.reach(both, "register_animal") == Reach(frozenset({ELSEWHERE}))
    assert MATRIX.reach(both, "end_animal") is None


@pytest.mark.parametrize("scope", Scope)
def test_a_key_may_do_what_its_scope_says_and_nothing_else(scope):
    may = {action for action in MATRIX.actions if MATRIX.reach(Powers(scopes=frozenset({scope})), action) is not None}

    assert may == EVERYBODY | {action for action, own in by_hand.scopes().items() if own == scope} - NEVER_BY_KEY


@pytest.mark.parametrize("action", sorted(MATRIX.actions))
def test_a_key_bound_to_a_site_reaches_no_other_but_reads_what_is_shared(action):
    bound = Powers(scopes=frozenset(Scope), site_ids=frozenset({HERE}))
    shared = action in EVERYBODY | {*by_hand.actions_of({"sees": "organisation taxa needs containments law models"})}

    if action in PERSONS | NEVER_BY_KEY:
        assert MATRIX.reach(bound, action) is None
    else:
        assert MATRIX.reach(bound, action) == (EVERYWHERE if shared or action == "get_import_template" else Reach(frozenset({HERE})))


@pytest.mark.parametrize("action", sorted(EVERYBODY | PERSONS))
def test_whoever_signed_in_may_do_what_is_everybodys(action):
    nobody, key = Powers(), Powers(scopes=frozenset({Scope.IMPORTS_READ}), site_ids=frozenset({HERE}))

    assert MATRIX.reach(nobody, action) == EVERYWHERE
    assert MATRIX.reach(key, action) == (EVERYWHERE if action in EVERYBODY else None)


def test_a_person_without_a_grant_may_do_nothing_else():
    assert {action for action in MATRIX.actions if MATRIX.reach(Powers(), action) is not None} == EVERYBODY | PERSONS


def test_no_auditor_and_no_viewer_writes():
    for role in (Role.AUDITOR, Role.VIEWER):
        writes = {name for name, row in MATRIX.actions.items() if role in row.cells and not name.startswith(("list_", "get_"))}
        assert writes == set()


def test_every_action_has_a_door_or_says_that_it_has_none(app_without_clock):
    doors = {action for _, action in actions_of(app_without_clock) if action is not None}
    without = {name for name, row in MATRIX.actions.items() if row.command or row.coming}

    assert doors | without == set(MATRIX.actions)
    assert doors & without == set()


def test_every_public_door_is_there(app_without_clock):
    names = {name for name, _ in actions_of(app_without_clock)}

    assert permissions().public <= names


def test_the_service_does_not_start_with_a_route_that_has_no_action():
    with pytest.raises(Undeclared, match="GET /v1/sites"):
        refuse_undeclared([("GET /v1/sites", None)], permissions())


def test_the_service_does_not_start_with_a_route_whose_action_is_unknown():
    actions = {name: row for name, row in MATRIX.actions.items() if name != "list_sites"}
    less = replace(permissions(), matrix=Matrix(actions, MATRIX.fields))
    store = open_store("sqlite:///:memory:")

    with pytest.raises(Undeclared, match="list_sites"):
        build_app(store, settings=Settings(), clock=lambda: makers.NOON, known=less)
    store.close()


def test_the_service_does_not_start_with_a_public_route_that_is_not_said_to_be_public():
    store = open_store("sqlite:///:memory:")

    with pytest.raises(Undeclared, match="/healthz"):
        build_app(store, settings=Settings(), clock=lambda: makers.NOON, known=replace(permissions(), public=frozenset()))
    store.close()


@pytest.mark.parametrize(
    ("door", "action"),
    [("GET /healthz", "list_sites"), ("POST /v1/holds", "end_hold"), ("POST /v1/sessions", "register_everything")],
)
def test_other_contradictions_are_refused(door, action):
    row = replace(MATRIX.actions["end_hold"], coming=False)
    known = replace(permissions(), matrix=Matrix({**MATRIX.actions, "end_hold": row}, MATRIX.fields))

    with pytest.raises(Undeclared):
        refuse_undeclared([(door, action)], known)


def test_an_action_without_a_door_is_given_none():
    row = replace(MATRIX.actions["list_sites"], coming=True)
    known = replace(permissions(), matrix=Matrix({**MATRIX.actions, "list_sites": row}, MATRIX.fields))

    with pytest.raises(Undeclared):
        refuse_undeclared([("GET /v1/sites", "list_sites")], known)


def test_every_field_that_is_ruled_is_one_that_its_action_takes():
    bodies = {door.action: set(door.body.model_fields) for door in DOORS if door.body is not None}
    for action, rules in MATRIX.fields.items():
        for rule in rules:
            assert rule.fields <= bodies[action], action


def test_every_rule_for_fields_closes_something_to_somebody_who_has_the_action():
    for action, rules in MATRIX.fields.items():
        for rule in rules:
            held = set(MATRIX.actions[action].cells)
            assert held - rule.roles or not rule.site_keys, action


def test_every_class_of_record_says_where_it_belongs():
    assert set(all_records()) == set(BELONGING)


def test_every_second_person_is_asked_about_a_kind_of_record():
    nouns = {record.noun for record in all_records()}

    assert {row.two_person for row in MATRIX.actions.values() if row.two_person} <= nouns
    assert {name for name, row in MATRIX.actions.items() if row.two_person} == {"erase_staff", "end_hold", "approve_transfer"}


@pytest.fixture(scope="module")
def app_without_clock():
    store = open_store("sqlite:///:memory:")
    yield build_app(store, settings=Settings(), clock=lambda: makers.NOON)
    store.close()
