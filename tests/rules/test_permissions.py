"""Powers, the matrix, and the reach that comes of them, on the smallest matrices that show it."""

from __future__ import annotations

from uuid import UUID

import pytest

from domain.rules.permissions import (
    EVERYWHERE,
    Action,
    Cell,
    Condition,
    Grant,
    Powers,
    Reach,
    Role,
    Scope,
    matrix_of,
)

HERE, THERE = UUID(int=1), UUID(int=2)
AT_HERE, AT_BOTH = Reach(frozenset({HERE})), Reach(frozenset({HERE, THERE}))
FEED = {"actions": ["feed"], "scope": "records.write", "own_site": ["keeper"], "organisation": ["curator"], "states": ["kept"]}
LOOK = {"actions": ["look"], "scope": "records.read", "organisation": ["viewer"]}
MOVE = {"actions": ["move"], "scope": "records.write", "own_site": ["keeper", "registrar", "curator"]}
KNOCK = {"actions": ["knock"], "signed_in": True}
SIGN = {"actions": ["sign"], "signed_in": True, "people_only": True, "coming": True}
ERASE = {"actions": ["erase"], "scope": "administration", "own_site": ["administrator"], "people_only": True, "two_person": "staff"}
ALL = matrix_of({"animals": [FEED, LOOK, MOVE], "people": [KNOCK, SIGN, ERASE]})


def person(*grants):
    return Powers(tuple(Grant(role, site_id) for role, site_id in grants))


def key(*scopes, sites=None):
    return Powers(scopes=frozenset(scopes), site_ids=sites)


@pytest.mark.parametrize(
    ("reach", "site_id", "covered"),
    [(EVERYWHERE, HERE, True), (EVERYWHERE, None, True), (AT_HERE, HERE, True), (AT_HERE, THERE, False), (AT_HERE, None, False)],
)
def test_a_reach_covers_its_sites_and_only_the_whole_covers_what_is_of_none(reach, site_id, covered):
    assert reach.covers(site_id) is covered


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [
        (EVERYWHERE, EVERYWHERE, EVERYWHERE),
        (EVERYWHERE, AT_HERE, AT_HERE),
        (AT_HERE, EVERYWHERE, AT_HERE),
        (AT_BOTH, AT_HERE, AT_HERE),
        (AT_HERE, Reach(frozenset({THERE})), Reach(frozenset())),
    ],
)
def test_of_two_reaches_holds_what_both_cover(one, other, both):
    assert one.within(other) == both


@pytest.mark.parametrize(
    ("powers", "reach"),
    [
        (person((Role.KEEPER, HERE)), AT_HERE),
        (person((Role.KEEPER, HERE), (Role.KEEPER, THERE)), AT_BOTH),
        (person((Role.KEEPER, HERE), (Role.KEEPER, None)), EVERYWHERE),
        (person((Role.CURATOR, HERE)), EVERYWHERE),
        (person((Role.VIEWER, HERE)), None),
        (person((Role.VIEWER, None), (Role.KEEPER, HERE)), AT_HERE),
        (person(), None),
        (key(Scope.RECORDS_WRITE), EVERYWHERE),
        (key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), AT_HERE),
        (key(Scope.RECORDS_READ, Scope.ADMINISTRATION), None),
    ],
)
def test_a_caller_reaches_what_role_or_scope_gives(powers, reach):
    assert ALL.reach(powers, "feed") == reach


def test_what_no_row_names_cannot_be_asked_for():
    with pytest.raises(KeyError):
        ALL.reach(person((Role.ADMINISTRATOR, None)), "fly")


def test_a_key_bound_to_a_site_reads_what_roles_read_by_organisation_but_writes_it_only_at_its_site():
    bound = key(Scope.RECORDS_READ, Scope.RECORDS_WRITE, sites=frozenset({HERE}))

    assert ALL.reach(bound, "look") == EVERYWHERE
    assert ALL.reach(bound, "feed") == AT_HERE
    assert not ALL.actions["knock"].shared


@pytest.mark.parametrize(("action", "by_person", "by_key"), [("knock", EVERYWHERE, EVERYWHERE), ("sign", EVERYWHERE, None)])
def test_what_is_for_whoever_signed_in_needs_no_role(action, by_person, by_key):
    assert ALL.reach(person(), action) == by_person
    assert ALL.reach(key(Scope.IMPORTS_READ, sites=frozenset({HERE})), action) == by_key


def test_what_is_for_people_is_for_no_key_whatever_its_scopes():
    assert ALL.reach(key(*Scope), "erase") is None
    assert ALL.reach(person((Role.ADMINISTRATOR, HERE)), "erase") == AT_HERE


@pytest.mark.parametrize(
    ("own", "other", "reach"),
    [
        (key(Scope.RECORDS_WRITE), None, EVERYWHERE),
        (key(Scope.RECORDS_WRITE), person((Role.KEEPER, HERE)), AT_HERE),
        (key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), person((Role.KEEPER, None)), AT_HERE),
        (key(Scope.RECORDS_WRITE, sites=frozenset({THERE})), person((Role.KEEPER, HERE)), None),
        (key(Scope.RECORDS_WRITE), person((Role.VIEWER, None)), None),
        (key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), person((Role.VIEWER, None)), None),
        (key(Scope.RECORDS_READ), person((Role.KEEPER, None)), None),
    ],
)
def test_on_behalf_of_another_holds_what_both_may(own, other, reach):
    assert ALL.reach_for(own, other, "feed") == reach


OVERRIDE = {"of": ["move"], "fields": ["limit", "reason"], "roles": ["registrar"]}
ONLY_NOTE = {"of": ["move"], "all_but": ["note"], "roles": ["registrar", "curator"]}
NOBLE = {"of": ["move"], "fields": ["rank"], "values": ["high"], "roles": ["curator"], "site_keys": False}
ROYAL = {"of": ["move"], "fields": ["rank"], "values": ["high"], "roles": ["registrar"], "keys": False}


@pytest.mark.parametrize(
    ("rules", "powers", "field", "value", "reach"),
    [
        ([], person((Role.KEEPER, HERE)), "limit", 1, EVERYWHERE),
        ([OVERRIDE], person((Role.KEEPER, HERE)), "limit", 1, None),
        ([OVERRIDE], person((Role.KEEPER, HERE)), "note", 1, EVERYWHERE),
        ([OVERRIDE], person((Role.REGISTRAR, HERE)), "limit", 1, AT_HERE),
        ([OVERRIDE], person((Role.REGISTRAR, None)), "reason", 1, EVERYWHERE),
        ([OVERRIDE], person((Role.KEEPER, HERE), (Role.REGISTRAR, THERE)), "limit", 1, Reach(frozenset({THERE}))),
        ([ONLY_NOTE], person((Role.KEEPER, HERE)), "note", "", EVERYWHERE),
        ([ONLY_NOTE], person((Role.KEEPER, HERE)), "whatever comes", "", None),
        ([ONLY_NOTE, OVERRIDE], person((Role.CURATOR, HERE)), "limit", 1, None),
        ([ONLY_NOTE, OVERRIDE], person((Role.REGISTRAR, HERE)), "limit", 1, AT_HERE),
        ([NOBLE], person((Role.KEEPER, HERE)), "rank", "low", EVERYWHERE),
        ([NOBLE], person((Role.KEEPER, HERE)), "rank", "high", None),
        ([NOBLE], person((Role.KEEPER, HERE)), "rank", ["high"], EVERYWHERE),
        ([NOBLE], person((Role.CURATOR, HERE)), "rank", "high", AT_HERE),
        ([OVERRIDE], key(Scope.RECORDS_WRITE), "limit", 1, EVERYWHERE),
        ([OVERRIDE], key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), "limit", 1, EVERYWHERE),
        ([{**OVERRIDE, "site_keys": False}], key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), "limit", 1, None),
        ([NOBLE], key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), "rank", "high", None),
        ([{**NOBLE, "site_keys": True}], key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), "rank", "high", None),
        ([NOBLE], key(Scope.RECORDS_WRITE, Scope.ADMINISTRATION, sites=frozenset({HERE})), "rank", "high", EVERYWHERE),
        ([NOBLE], key(Scope.RECORDS_WRITE), "rank", "high", EVERYWHERE),
        ([ROYAL], key(Scope.RECORDS_WRITE), "rank", "high", None),
        ([ROYAL], key(Scope.RECORDS_WRITE), "rank", "low", EVERYWHERE),
        ([ROYAL], key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), "rank", "high", None),
        ([ROYAL], key(Scope.RECORDS_WRITE, Scope.ADMINISTRATION), "rank", "high", EVERYWHERE),
    ],
)
def test_a_field_may_be_written_where_every_rule_about_it_allows(rules, powers, field, value, reach):
    matrix = matrix_of({"animals": [MOVE, *rules]})

    assert matrix.field_reach(powers, "move", field, value) == reach


@pytest.mark.parametrize(
    ("powers", "action", "ruled"),
    [
        (person((Role.KEEPER, HERE)), "move", True),
        (person((Role.KEEPER, HERE)), "feed", False),
        (key(Scope.RECORDS_WRITE), "move", False),
        (key(Scope.RECORDS_WRITE, sites=frozenset({HERE})), "move", True),
    ],
)
def test_fields_are_looked_at_where_a_rule_can_close_one(powers, action, ruled):
    matrix = matrix_of({"animals": [FEED, MOVE, OVERRIDE]})

    assert matrix.rules_fields(powers, action) is ruled


def test_fields_are_looked_at_for_a_key_for_every_site_where_a_rule_is_for_no_key():
    matrix = matrix_of({"animals": [MOVE, OVERRIDE, ROYAL]})

    assert matrix.rules_fields(key(Scope.RECORDS_WRITE), "move")


def test_a_row_keeps_what_its_block_says():
    feed, sign, erase = (ALL.actions[name] for name in ("feed", "sign", "erase"))

    assert feed.states == {Condition.KEPT}
    assert (sign.coming, sign.command, sign.scope) == (True, False, None)
    assert (erase.two_person, erase.scope) == ("staff", Scope.ADMINISTRATION)


KEEPERS = {"scope": "administration", "own_site": ["keeper"]}


@pytest.mark.parametrize(
    ("words", "row"),
    [
        ({}, {}),
        ({"organisation": ["curator", "viewer"]}, {"cells": dict.fromkeys((Role.CURATOR, Role.VIEWER), Cell.ORGANISATION)}),
        ({"people_only": True}, {"people_only": True}),
        ({"people_only": True, "two_person": "staff"}, {"people_only": True, "two_person": "staff"}),
        ({"states": ["kept", "asked"]}, {"states": frozenset(Condition)}),
        ({"command": True}, {"command": True}),
        ({"coming": True}, {"coming": True}),
        ({"logged": True}, {"logged": True}),
        ({"files_logged": True}, {"files_logged": True}),
        ({"command": False, "coming": False, "logged": False, "files_logged": False, "people_only": False}, {}),
    ],
)
def test_a_row_is_what_its_block_says_and_nothing_more(words, row):
    (made,) = matrix_of({"animals": [{"actions": ["tend"], **KEEPERS, **words}]}).actions.values()

    cells = {Role.KEEPER: Cell.OWN_SITE, **row.get("cells", {})}
    assert made == Action(scope=Scope.ADMINISTRATION, **{**row, "cells": cells})


def test_a_row_for_whoever_signed_in_has_no_scope():
    assert matrix_of({"people": [KNOCK]}).actions == {"knock": Action(cells={}, signed_in=True)}


def test_every_word_that_is_unknown_is_named():
    with pytest.raises(ValueError, match=r"^the matrix knows no colour, weight$"):
        matrix_of({"animals": [{**FEED, "weight": 1, "colour": "green"}]})


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({"animals": FEED}, "should be blocks"),
        ({"animals": ["feed"]}, "should be blocks"),
        ({"animals": [FEED], "more": [FEED]}, "twice"),
        ({"animals": [{**FEED, "own_site": ["curator"]}]}, "twice"),
        ({"animals": [{**FEED, "own_site": ["gardener"]}]}, "gardener"),
        ({"animals": [{**FEED, "own_site": "keeper"}]}, "list of words"),
        ({"animals": [{**FEED, "own_site": [1]}]}, "list of words"),
        ({"animals": [{**FEED, "scope": "everything"}]}, "everything"),
        ({"animals": [{**FEED, "states": ["asleep"]}]}, "asleep"),
        ({"animals": [{**FEED, "signed_in": True}]}, "scope or signed_in"),
        ({"animals": [{"actions": ["feed"], "own_site": ["keeper"]}]}, "scope or signed_in"),
        ({"animals": [{**FEED, "colour": "green"}]}, "colour"),
        ({"animals": [FEED, {"of": ["fly"], "fields": ["note"], "roles": ["keeper"]}]}, "fly"),
        ({"animals": [FEED, {"of": ["feed"], "fields": ["note"], "role": ["keeper"]}]}, "role"),
        ({"animals": [FEED, {"of": ["feed"], "fields": ["note"], "all_but": ["note"], "roles": []}]}, "fields or all_but"),
        ({"animals": [FEED, {"of": ["feed"], "roles": ["keeper"]}]}, "fields or all_but"),
        ({"animals": [FEED, {"roles": ["keeper"]}]}, "should give actions"),
        ({"animals": [{**FEED, "two_person": "animal"}]}, "should be people_only"),
    ],
)
def test_what_contradicts_itself_is_refused(data, sentence):
    with pytest.raises(ValueError, match=sentence):
        matrix_of(data)
