"""Asking the matrix for a caller: what is said to whom is refused, which fields are closed, and which doors cannot be judged."""

from __future__ import annotations

from uuid import UUID

import pytest

from api.permissions import Permissions, Undeclared, closed_fields, field_reach, permitted, permitted_fields, refuse_undeclared
from api.signin import Caller
from domain.errors import Fault, NotAllowed
from domain.rules.permissions import EVERYWHERE, Grant, Powers, Reach, Role, Scope, matrix_of

HERE, THERE = UUID(int=1), UUID(int=2)
AT_HERE, AT_THERE, AT_BOTH = (Reach(frozenset(ids)) for ids in ({HERE}, {THERE}, {HERE, THERE}))
LOOK = {"actions": ["look"], "scope": "records.read", "own_site": ["keeper"]}
FEED = {"actions": ["feed"], "scope": "records.write", "own_site": ["keeper", "technician", "registrar"]}
RULE = {"actions": ["rule"], "scope": "administration", "own_site": ["administrator"]}
KNOCK = {"actions": ["knock"], "signed_in": True}
ERASE = {"actions": ["erase"], "scope": "administration", "own_site": ["administrator"], "people_only": True, "two_person": "staff"}
DUMP = {"actions": ["dump"], "scope": "administration", "command": True}
SOON = {"actions": ["soon"], "scope": "administration", "coming": True}
LIMIT = {"of": ["feed"], "fields": ["limit"], "roles": ["registrar"]}
TAG = {"of": ["feed"], "fields": ["tag"], "roles": ["technician"]}
RANK = {"of": ["feed"], "fields": ["rank", "title"], "values": ["high", "highest", "dr"], "roles": ["registrar"]}
MATRIX = matrix_of({"animals": [LOOK, FEED, RULE, KNOCK, ERASE, DUMP, SOON, LIMIT, TAG, RANK]})
KNOWN = Permissions(MATRIX, frozenset({"GET /healthz", "POST /v1/sessions"}), {"feed": ("limit", "note", "rank", "tag"), "rule": ("note",)})

KEEPER, TECHNICIAN, REGISTRAR = ((Grant(role, HERE),) for role in (Role.KEEPER, Role.TECHNICIAN, Role.REGISTRAR))


def person(*grants):
    return caller(Powers(grants))


def key(*scopes, sites=None, for_powers=None):
    return caller(Powers(scopes=frozenset(scopes), site_ids=sites), for_powers=for_powers)


def caller(powers, *, for_powers=None):
    return Caller(1, "somebody", "some proof", "Somebody", powers, for_powers=for_powers)


@pytest.mark.parametrize(
    ("who", "action", "reach"),
    [
        (person(*KEEPER), "feed", AT_HERE),
        (person(Grant(Role.KEEPER)), "feed", EVERYWHERE),
        (key(Scope.RECORDS_WRITE), "feed", EVERYWHERE),
        (key(Scope.RECORDS_WRITE, for_powers=Powers(KEEPER)), "feed", AT_HERE),
        (key(Scope.RECORDS_WRITE, sites=frozenset({HERE, THERE}), for_powers=Powers(KEEPER)), "feed", AT_HERE),
    ],
)
def test_an_act_reaches_as_far_as_the_caller_and_for_whom_it_is_done(who, action, reach):
    assert permitted(MATRIX, who, action) == reach


@pytest.mark.parametrize(
    ("who", "action", "code", "sentence"),
    [
        (person(*KEEPER), "rule", "not-allowed", "Your roles do not allow this: rule."),
        (person(*KEEPER), "erase", "not-allowed", "Your roles do not allow this: erase."),
        (key(*Scope), "erase", "people-only", "Only a person may do this, and no key: erase."),
        (key(Scope.RECORDS_READ), "feed", "key-reads-only", "This key may read but not change anything."),
        (key(), "feed", "key-reads-only", "This key may read but not change anything."),
        (key(Scope.REPORTS_WRITE), "feed", "not-allowed", "This key is not for this: feed needs the scope records.write."),
        (key(Scope.IMPORTS_READ), "look", "not-allowed", "This key is not for this: look needs the scope records.read."),
        (key(Scope.RECORDS_READ), "rule", "not-allowed", "This key is not for this: rule needs the scope administration."),
        (
            key(Scope.RECORDS_WRITE, for_powers=Powers()),
            "feed",
            "not-allowed",
            "The roles of whom this is done for do not allow it: feed.",
        ),
        (
            key(Scope.RECORDS_WRITE, sites=frozenset({THERE}), for_powers=Powers(KEEPER)),
            "feed",
            "not-allowed",
            "The roles of whom this is done for do not allow it: feed.",
        ),
    ],
)
def test_whoever_is_refused_learns_what_is_missing(who, action, code, sentence):
    with pytest.raises(NotAllowed) as refused:
        permitted(MATRIX, who, action)

    assert (refused.value.code, refused.value.detail) == (code, sentence)


@pytest.mark.parametrize(
    ("who", "body", "reach", "narrowed"),
    [
        (person(*KEEPER), {}, AT_HERE, AT_HERE),
        (person(*KEEPER), {"note": "n"}, AT_HERE, AT_HERE),
        (person(*KEEPER), {"rank": "low"}, AT_HERE, AT_HERE),
        (person(Grant(Role.KEEPER), *REGISTRAR), {"limit": 1}, EVERYWHERE, AT_HERE),
        (person(Grant(Role.KEEPER), *REGISTRAR), {"note": "n", "limit": 1, "rank": "high"}, AT_BOTH, AT_HERE),
        (person(Grant(Role.REGISTRAR)), {"limit": 1}, AT_HERE, AT_HERE),
    ],
)
def test_an_act_reaches_no_further_than_the_fields_that_it_writes(who, body, reach, narrowed):
    assert permitted_fields(MATRIX, who, "feed", body, reach=reach) == narrowed


TWO_ROLES = person(Grant(Role.REGISTRAR, HERE), Grant(Role.TECHNICIAN, THERE))


@pytest.mark.parametrize(
    ("who", "body", "denied"),
    [
        (person(*KEEPER), {"limit": 1}, ["limit"]),
        (person(*KEEPER), {"limit": 1, "note": "n", "tag": "t", "rank": "high"}, ["limit", "tag", "rank"]),
        (TWO_ROLES, {"limit": 1, "tag": "t"}, ["tag"]),
        (TWO_ROLES, {"tag": "t", "limit": 1, "rank": "high"}, ["limit", "rank"]),
    ],
)
def test_each_field_that_may_be_written_nowhere_is_named(who, body, denied):
    with pytest.raises(NotAllowed) as refused:
        permitted_fields(MATRIX, who, "feed", body, reach=AT_BOTH)

    assert refused.value.code == "field-not-allowed"
    assert refused.value.detail == f"You may do this, but not write {', '.join(denied)}."
    assert refused.value.faults == tuple(Fault(f"/{name}", "field-not-allowed", "You may not write this.") for name in denied)


@pytest.mark.parametrize(
    ("who", "value", "reach"),
    [
        (person(*KEEPER), "low", EVERYWHERE),
        (person(*KEEPER), "high", None),
        (person(*REGISTRAR), "high", AT_HERE),
        (key(Scope.RECORDS_WRITE), "high", EVERYWHERE),
        (key(Scope.RECORDS_WRITE, for_powers=Powers(KEEPER)), "high", None),
        (key(Scope.RECORDS_WRITE, for_powers=Powers(KEEPER)), "low", EVERYWHERE),
        (key(Scope.RECORDS_WRITE, for_powers=Powers(REGISTRAR)), "high", AT_HERE),
        (caller(Powers((Grant(Role.REGISTRAR, THERE), *REGISTRAR)), for_powers=Powers(REGISTRAR)), "high", AT_HERE),
        (caller(Powers(KEEPER), for_powers=Powers(REGISTRAR)), "high", None),
        (caller(Powers(REGISTRAR), for_powers=Powers(KEEPER)), "high", None),
    ],
)
def test_a_field_is_written_on_behalf_of_another_where_both_may(who, value, reach):
    assert field_reach(MATRIX, who, "feed", "rank", value) == reach


@pytest.mark.parametrize(
    ("who", "closed"),
    [
        (
            person(*KEEPER),
            [
                {"field": "limit", "values": []},
                {"field": "rank", "values": ["dr", "high", "highest"]},
                {"field": "tag", "values": []},
            ],
        ),
        (person(*TECHNICIAN), [{"field": "limit", "values": []}, {"field": "rank", "values": ["dr", "high", "highest"]}]),
        (person(*REGISTRAR), [{"field": "tag", "values": []}]),
        (person(*REGISTRAR, *TECHNICIAN), []),
    ],
)
def test_the_fields_of_a_body_that_are_closed_are_listed_with_the_values_that_are(who, closed):
    assert closed_fields(KNOWN, who, "feed") == closed


def test_an_action_without_a_body_has_no_closed_fields():
    assert closed_fields(KNOWN, person(*KEEPER), "look") == []


@pytest.mark.parametrize(
    ("door", "action"),
    [
        ("GET /healthz", None),
        ("GET /v1/animals", "look"),
        ("POST /v1/staff/{id}/erasures", "erase"),
        ("POST /v1/knocks", "knock"),
    ],
)
def test_a_door_that_the_matrix_can_judge_is_taken(door, action):
    refuse_undeclared([(door, action)], KNOWN)


@pytest.mark.parametrize(
    ("door", "action", "sentence"),
    [
        ("GET /v1/animals", None, "GET /v1/animals should have an action or be public, one of them"),
        ("GET /healthz", "look", "GET /healthz should have an action or be public, one of them"),
        ("GET /v1/animals", "fly", "GET /v1/animals is for fly, which the matrix does not have"),
        ("POST /v1/dumps", "dump", "POST /v1/dumps is for dump, which has no door by what the matrix says"),
        ("POST /v1/soon", "soon", "POST /v1/soon is for soon, which has no door by what the matrix says"),
        ("POST /v1/erasures", "erase", "POST /v1/erasures needs a second person for a record, and its path names none"),
    ],
)
def test_a_door_that_the_matrix_cannot_judge_is_refused_wherever_it_stands(door, action, sentence):
    for others in ([], [("POST /v1/sessions", None)], [("GET /v1/others", "look")]):
        with pytest.raises(Undeclared) as refused:
            refuse_undeclared([*others, (door, action)], KNOWN)
        assert str(refused.value) == sentence
