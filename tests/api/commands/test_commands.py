"""Commands say what they did, and what stands in the way, in words that help."""

from __future__ import annotations

import json

import pytest

from tests import makers


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["key", "create", "--name", "front end"], "There is no organisation yet"),
        (["nightly", "--at", "yesterday"], "'yesterday' is no instant with its offset"),
        (["nightly", "--at", "2026-03-01T12:00:00"], "is no instant with its offset"),
    ],
)
def test_what_stands_in_the_way_is_said(terminal, words, sentence):
    status, _, err = terminal.run(*words)

    assert (status, sentence in err) == (2, True)


def test_a_night_without_any_organisation_has_nothing_to_do(terminal):
    assert terminal.run("nightly")[0] == 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["nightly", "--site", "Nowhere"], "There is no site 'Nowhere'; the sites are: none."),
        (["nightly", "--organisation", "Nobody"], "There is no organisation 'Nobody'; there are: Marshlight Trust"),
        (["import", "absent.csv", "--kind", "sites"], "absent.csv cannot be read"),
        (["import", "absent.csv", "--kind", "lamps"], "There is no kind of list 'lamps'"),
        (["template", "sites", "list.doc"], "A template ends in .xlsx or .csv"),
        (["key", "revoke", "abc"], "There is no such key"),
        (["key", "create", "--name", "x", "--expires-on", "soon"], "expires_on: This should be a date as YYYY-MM-DD"),
        (["organisation", "create", "Other", "--currency", "euro"], "base_currency"),
    ],
)
def test_a_wrong_word_is_answered_with_what_would_be_right(terminal, marshlight, tmp_path, monkeypatch, words, sentence):
    monkeypatch.chdir(tmp_path)
    status, _, err = marshlight(*words)

    assert (status, sentence in err) == (2, True), err


def test_a_key_is_shown_once_and_listed_without_its_secret(terminal, marshlight):
    made = terminal.json("key", "create", "--name", "front end", "--access", "write")["key"]
    _, public_id, secret = made.split("_", 2)

    listed = {row["public_id"]: row for row in terminal.json("key", "list")}
    assert listed[public_id]["name"] == "front end"
    assert secret not in json.dumps(listed)

    assert marshlight("key", "revoke", public_id)[0] == 0
    assert {row["public_id"]: row for row in terminal.json("key", "list")}[public_id]["ended_on"] is not None


def test_with_several_organisations_one_has_to_be_named(terminal, marshlight):
    terminal.json("organisation", "create", "Saltings Aquarium")

    status, _, err = marshlight("key", "list")

    assert (status, "say which with --organisation" in err) == (2, True)
    assert len(terminal.json("key", "list", "--organisation", "saltings AQUARIUM")) == 1


def test_a_night_with_a_failing_site_ends_with_status_one(marshlight, records):
    with records() as unit:
        makers.equipment(unit, makers.model(unit, life_months=12), makers.site(unit), tag="RE-1")
        makers.behind(unit, "UPDATE equipment SET hours_per_day = NULL, run_schedule = '[{'")

    status, out, _ = marshlight("nightly", "--at", "2026-03-01T12:00:00Z")

    assert (status, "Reedmere House: FAILED" in out) == (1, True)


def test_verify_ends_with_status_one_when_a_record_was_changed_behind_the_journal(marshlight, records):
    with records() as unit:
        makers.site(unit)
        makers.behind(unit, "UPDATE site SET note = 'changed'")

    status, out, _ = marshlight("verify")

    assert (status, "is not what the journal says it is" in out) == (1, True)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("REEDBED_PORT", "eighty", "REEDBED_PORT: This should be a whole number."),
        ("REEDBED_MIN_FREE_DISK_BYTES", "-1", "REEDBED_MIN_FREE_DISK_BYTES: Input should be greater than or equal to 0"),
        ("REEDBED_SHOW_DOCS", "perhaps", "REEDBED_SHOW_DOCS: This should be true or false."),
        ("REEDBED_HOST", "", "REEDBED_HOST: String should have at least 1 character"),
        ("REEDBED_ALLOWED_ORIGINS", "[5]", "REEDBED_ALLOWED_ORIGINS, 0: This should be text in quotation marks."),
        ("REEDBED_OWNER_DATABASE_URL_FILE", "absent", "REEDBED_OWNER_DATABASE_URL_FILE: the file absent cannot be read"),
        ("REEDBED_DATABASE_URL_FILE", "x", "REEDBED_DATABASE_URL and REEDBED_DATABASE_URL_FILE are both set; one of them is enough"),
    ],
)
def test_a_setting_that_cannot_be_taken_is_named_with_what_is_wrong(bare_terminal, monkeypatch, name, value, said):
    monkeypatch.setenv("REEDBED_DATABASE_URL", "sqlite:///reedbed.sqlite3")
    monkeypatch.setenv(name, value)

    status, _, err = bare_terminal.run("serve")

    assert (status, err.strip()) == (2, said)


def test_what_the_system_refuses_is_said_with_the_file(bare_terminal, tmp_path, monkeypatch):
    monkeypatch.setenv("REEDBED_DATABASE_URL", f"sqlite:///{tmp_path / 'other.sqlite3'}")
    bare_terminal.run("migrate")
    (tmp_path / "other.sqlite3.serving").mkdir()

    status, _, err = bare_terminal.run("serve")

    assert (status, err.strip()) == (2, f"{tmp_path / 'other.sqlite3.serving'}: Is a directory")
