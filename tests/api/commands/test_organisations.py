"""Organisations are told apart by name; keys are listed, dated and revoked without their secrets being shown."""

from __future__ import annotations

from datetime import date

import pytest

from api.commands.organisations import _refuse_past
from api.commands.trouble import Trouble


def test_a_new_organisation_is_shown_with_its_currency(terminal):
    assert "costs in EUR" in terminal.run("organisation", "create", "Marshlight Trust")[1]
    assert terminal.json("organisation", "create", "Saltings Aquarium", "--currency", "GBP")["base_currency"] == "GBP"


@pytest.mark.parametrize("name", ["Marshlight Trust", "MARSHLIGHT  trust", " Marshlight Trust"])
def test_a_second_organisation_of_the_same_name_is_refused(terminal, marshlight, name):
    status, _, err = marshlight("organisation", "create", name)

    assert (status, "There is an organisation 'Marshlight Trust'" in err) == (2, True)
    assert len(terminal.json("key", "list")) == 1


def test_the_help_says_the_default_currency(bare_terminal, capsys):
    with pytest.raises(SystemExit):
        bare_terminal.run("organisation", "create", "--help")

    assert "(default: EUR)" in capsys.readouterr().out


def test_keys_are_listed_under_headings(marshlight):
    marshlight("key", "create", "--name", "front end", "--expires-on", "2100-01-31")

    headings, _, listed = marshlight("key", "list")[1].splitlines()

    assert headings.split() == ["public", "id", "access", "ends", "last", "used", "name"]
    assert listed.split()[1:] == ["read", "2100-01-31", "never", "front", "end"]


def test_a_key_is_revoked_by_the_whole_of_its_text_which_is_not_repeated(terminal, marshlight):
    made = terminal.json("key", "create", "--name", "front end")["key"]
    public_id, secret = made.split("_", 2)[1:]

    status, out, err = marshlight("key", "revoke", made)

    assert (status, out.strip()) == (0, f"{public_id} is revoked")
    assert secret not in out + err
    assert "revoked 2" in marshlight("key", "list")[1]


def test_the_whole_text_of_a_key_that_is_not_there_is_not_repeated(marshlight):
    status, out, err = marshlight("key", "revoke", "rbk_0123456789abcdef_heron")

    assert (status, "heron" in out + err) == (2, False)


def test_a_key_is_not_made_for_days_that_are_past(terminal, marshlight):
    status, _, err = marshlight("key", "create", "--name", "front end", "--expires-on", "2020-01-31")

    assert (status, "A key whose last day was 2020-01-31 would never be good" in err) == (2, True)
    assert len(terminal.json("key", "list")) == 1


def test_a_key_may_end_today_but_not_yesterday():
    _refuse_past(None, today=date(2026, 3, 1))
    _refuse_past(date(2026, 3, 1), today=date(2026, 3, 1))

    with pytest.raises(Trouble):
        _refuse_past(date(2026, 2, 28), today=date(2026, 3, 1))


def test_the_help_of_a_key_says_what_access_and_days_mean(bare_terminal, capsys):
    with pytest.raises(SystemExit):
        bare_terminal.run("key", "create", "--help")

    said = " ".join(capsys.readouterr().out.split())
    assert "Create a key that a program signs in with" in said
    assert "read only, or write as well (default: read)" in said
    assert "(default: until it is revoked)" in said
