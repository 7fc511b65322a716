"""What an import says of itself, and templates."""

from __future__ import annotations

import pytest

from domain.records.nights import ImportKind

SITES = "name,zone\nReedmere House,Europe/Lisbon\n"
WRONG = SITES + "Quillback Rescue,Nowhere/At all\n"


@pytest.fixture
def imported(marshlight, tmp_path):
    """Return what imports a text as sites."""
    file = tmp_path / "sites.csv"

    def run(text, *words):
        file.write_text(text, encoding="utf-8")
        return marshlight("import", file, "--kind", "sites", *words)

    return run


@pytest.mark.parametrize(
    ("text", "words", "status", "verdict"),
    [
        (WRONG, ["--dry-run"], 1, "2 rows read; dry run; without it this would write NOTHING: mend the refused rows"),
        (WRONG, ["--dry-run", "--skip-invalid"], 0, "2 rows read; dry run, nothing was written"),
        (SITES, ["--dry-run"], 0, "1 row read; dry run, nothing was written"),
        (WRONG, [], 1, "2 rows read; NOTHING was written: mend the refused rows"),
        (WRONG, ["--skip-invalid"], 0, "2 rows read; written"),
        (SITES, [], 0, "1 row read; written"),
    ],
)
def test_an_import_says_whether_it_writes(imported, text, words, status, verdict):
    found, out, _ = imported(text, *words)

    assert (found, verdict in out) == (status, True), out


def test_one_thing_is_said_of_as_one(imported):
    out = imported("name,zone,colour\nReedmere House,Europe/Lisbon,\nTotal,,\n")[1]

    assert "1 created" in out
    assert "1 total line left out" in out
    assert "Column not read: colour" in out


def test_headings_that_do_not_fit_are_answered_with_what_helps(imported, tmp_path):
    status, _, err = imported("House,Clock\nReedmere House,Europe/Lisbon\n")

    assert status == 2
    assert err.count("No row holds all the headings") == 1
    assert "Say with --map MAP.toml which column is which" in err
    assert "reedbed template sites LIST.xlsx" in err


def test_headings_that_do_not_fit_the_mapping_are_answered_with_its_name(imported, tmp_path):
    (tmp_path / "map.toml").write_text('[columns]\nname = "Station"\n', encoding="utf-8")

    assert f"Mend [columns] in {tmp_path / 'map.toml'}" in imported(SITES, "--map", tmp_path / "map.toml")[2]


def test_a_refusal_of_the_file_as_a_whole_is_said_once(imported):
    assert imported("") == (2, "", "The file is empty.\n")


@pytest.mark.parametrize("kind", [kind.value for kind in ImportKind])
def test_a_template_is_written(terminal, tmp_path, kind):
    for name in ("list.xlsx", "list.csv"):
        assert terminal.run("template", kind, tmp_path / name)[0] == 0

    assert (tmp_path / "list.xlsx").read_bytes().startswith(b"PK")
    assert (tmp_path / "list.csv").read_bytes().startswith(b"\xef\xbb\xbf")


def test_a_template_leaves_a_file_that_is_there_as_it_is(terminal, tmp_path):
    (tmp_path / "list.csv").write_text("mine", encoding="utf-8")

    status, _, err = terminal.run("template", "sites", tmp_path / "list.csv")

    assert (status, "is there already and is not overwritten" in err) == (2, True)
    assert (tmp_path / "list.csv").read_text(encoding="utf-8") == "mine"


def test_a_template_in_a_folder_that_is_not_there_is_refused(terminal, tmp_path):
    status, _, err = terminal.run("template", "sites", tmp_path / "absent" / "list.csv")

    assert (status, "cannot be written: No such file" in err) == (2, True), err
