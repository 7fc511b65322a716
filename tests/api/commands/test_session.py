"""Settings, instants and folders are read before anything is done, and what is wrong with them is said."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from api.commands.session import instant, ready_folder
from api.commands.trouble import Trouble


def test_an_instant_is_read_with_its_offset():
    assert instant("2026-03-01T12:00:00+01:00") == datetime(2026, 3, 1, 11, tzinfo=UTC)


@pytest.mark.parametrize(
    ("word", "sentence"),
    [
        ("2026-02-30T12:00:00Z", "there is no such day"),
        ("2026-13-01T12:00:00Z", "there is no such day"),
        ("0000-01-01T00:00:00Z", "there is no such day"),
        ("2026-02-28T25:00:00Z", "is no instant with its offset"),
        ("2026-02-28", "is no instant with its offset"),
        ("1899-12-31T23:59:59Z", "outside the years 1900 to 2200"),
        ("2201-01-01T00:00:00Z", "outside the years 1900 to 2200"),
        ("0001-01-01T00:00:00+14:00", "outside the years 1900 to 2200"),
    ],
)
def test_what_is_no_instant_is_refused(word, sentence):
    with pytest.raises(Trouble, match=sentence):
        instant(word)


@pytest.mark.parametrize("word", ["1900-01-01T00:00:00Z", "2200-12-31T23:59:59Z", "2024-02-29T12:00:00Z"])
def test_the_first_and_last_year_are_taken_and_so_is_a_leap_day(word):
    assert instant(word).isoformat() == word.replace("Z", "+00:00")


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("REEDBED_PORT", "abc", "REEDBED_PORT: "),
        ("REEDBED_PORT", "70000", "REEDBED_PORT: "),
        ("REEDBED_ALLOWED_ORIGINS", "https://front.example", "REEDBED_ALLOWED_ORIGINS: This should be a JSON list"),
    ],
)
@pytest.mark.parametrize("words", [["nightly"], ["migrate"], ["demo"]])
def test_a_setting_that_cannot_be_taken_is_named(bare_terminal, tmp_path, monkeypatch, words, name, value, sentence):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(name, value)

    status, _, err = bare_terminal.run(*words)

    assert (status, err.startswith(sentence)) == (2, True), err
    assert not (tmp_path / "reedbed-demo").exists()


def test_a_folder_is_made_with_those_above_it(tmp_path):
    ready_folder(tmp_path / "a" / "b")

    assert (tmp_path / "a" / "b").is_dir()


@pytest.mark.parametrize("below", ["list", "list/papers"])
def test_a_file_is_no_folder(tmp_path, below):
    (tmp_path / "list").touch()

    with pytest.raises(Trouble, match="there is a file of that name"):
        ready_folder(tmp_path / below)
