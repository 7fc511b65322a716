"""Whoever operates the installation makes and ends accounts; a code or a password is shown once or never."""

from __future__ import annotations

import io
import json
import sys

import pytest

from domain.actions.staff import register_staff
from domain.records.staff import StaffStated
from domain.rules.permissions import Role
from tests import makers

PASSWORD = "heron gravel tin whistle"
FIRST = ["--administrator", "Mila Reed", "--sign-in-name", "mila"]


def typed(monkeypatch, text):
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))


def test_an_organisation_is_created_with_its_administrator_and_a_code(terminal):
    told = terminal.json("organisation", "create", "Marshlight Trust", *FIRST)

    assert (told["sign_in_name"], len(told["code"].replace("-", ""))) == ("mila", 28)
    [listed] = terminal.json("account", "list")
    assert (listed["sign_in_name"], listed["password_set_at"]) == ("mila", None)
    assert told["code"] not in json.dumps(listed)


def test_an_organisation_without_a_named_administrator_has_no_account_and_the_words_of_before(terminal):
    status, out, _ = terminal.run("organisation", "create", "Marshlight Trust")

    assert status == 0
    assert [line.split()[0] for line in out.splitlines()] == ["organisation", "key", "Keep"]
    assert terminal.json("account", "list") == []


@pytest.mark.parametrize("half", [FIRST[:2], FIRST[2:]])
def test_half_an_administrator_makes_no_organisation(terminal, half):
    assert terminal.run("organisation", "create", "Marshlight Trust", *half)[0] == 2
    assert "There is no organisation yet" in terminal.run("key", "list")[2]


def test_a_code_is_told_with_what_is_done_with_it(terminal):
    out = terminal.run("organisation", "create", "Marshlight Trust", *FIRST)[1]

    assert "administrator Mila Reed signs in as mila" in out
    assert "once, within 72 hours: POST /v1/passwords with organisation_id" in out


def test_an_account_is_made_reset_and_ended(terminal, marshlight):
    made = terminal.json("account", "create", "--staff", "Jon Reed", "--role", "administrator", "--sign-in-name", "jon")
    reset = terminal.json("account", "reset", "--sign-in-name", "JON")
    again = terminal.json("account", "create", "--staff", "jon reed", "--sign-in-name", "jon-2")

    assert len({made["code"], reset["code"], again["code"]}) == 3
    assert marshlight("account", "end", "--sign-in-name", "jon-2")[0] == 0
    assert "Nobody could administer" in marshlight("account", "end", "--sign-in-name", "jon")[2]
    headings, *rows = marshlight("account", "list")[1].splitlines()
    assert headings.split() == ["sign-in", "name", "password", "ended", "holder"]
    assert [row.split()[0] for row in rows] == ["jon", "jon-2"]


def test_a_password_is_handed_in_and_never_said(terminal, marshlight, monkeypatch):
    terminal.json("account", "create", "--staff", "Jon Reed", "--role", "keeper", "--sign-in-name", "jon")
    typed(monkeypatch, f"{PASSWORD}\n")

    status, out, err = marshlight("account", "password", "--sign-in-name", "jon")

    assert (status, out.strip()) == (0, "the password of jon is set")
    assert PASSWORD not in out + err
    assert terminal.json("account", "list")[0]["password_set_at"] is not None


def test_a_weak_password_is_refused(terminal, marshlight, monkeypatch):
    terminal.json("account", "create", "--staff", "Jon Reed", "--role", "keeper", "--sign-in-name", "jon")
    typed(monkeypatch, "marshlight otters\n")

    status, _, err = marshlight("account", "password", "--sign-in-name", "jon")

    assert (status, "contains a name that everybody here knows" in err) == (2, True)
    assert terminal.json("account", "list")[0]["password_set_at"] is None


def test_what_stands_in_the_way_is_said(terminal, marshlight, records):
    with records() as unit:
        for _ in range(2):
            register_staff(unit, StaffStated(name="Jon Reed", role=Role.KEEPER))

    for words, sentence in (
        (["account", "reset", "--sign-in-name", "nobody"], "There is no account 'nobody'"),
        (["account", "create", "--staff", "Nobody", "--sign-in-name", "x"], "There is no member of staff 'Nobody'"),
        (["account", "create", "--staff", "Jon Reed", "--sign-in-name", "x"], "say which by id"),
        (["key", "create", "--name", "x", "--scope", "everything"], "scopes/0"),
        (["key", "create", "--name", "x", "--site", "Nowhere"], "There is no site 'Nowhere'; the sites are: none."),
    ):
        status, _, err = marshlight(*words)
        assert (status, sentence in err) == (2, True), err


def test_a_key_is_made_for_scopes_and_sites(terminal, marshlight, records):
    with records() as unit:
        site = makers.site(unit)

    made = terminal.json(
        "key", "create", "--name", "display", "--scope", "records.read", "--scope", "reports.read", "--site", "reedmere house"
    )

    public_id = made["key"].split("_")[1]
    listed = {row["public_id"]: row for row in terminal.json("key", "list")}[public_id]
    assert (listed["scopes"], listed["site_ids"], listed["last_used_at"]) == (["records.read", "reports.read"], [str(site.id)], None)
    assert "records.read,reports.read" in marshlight("key", "list")[1]


def test_a_key_is_rotated_with_an_overlap(terminal, marshlight):
    old = terminal.json("key", "create", "--name", "front end", "--access", "write")["key"].split("_")[1]

    new = terminal.json("key", "rotate", old)["key"].split("_")[1]

    listed = {row["public_id"]: row for row in terminal.json("key", "list")}
    assert (listed[new]["name"], listed[new]["access"], listed[new]["expires_on"]) == ("front end", "write", None)
    assert listed[old]["expires_on"] is not None
    assert listed[old]["ended_on"] is None
    assert "has a successor already" in marshlight("key", "rotate", old)[2]
    assert marshlight("key", "rotate", new, "--overlap-days", "0")[0] == 0
    assert {row["public_id"]: row for row in terminal.json("key", "list")}[new]["ended_on"] is not None
