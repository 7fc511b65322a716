"""Rule packs by command: checked, put on record, listed; their schema."""

from __future__ import annotations

import json

import pytest

from api.law.schema import published
from domain.actions.law import law_as_of
from domain.rules.law.decision import DISCLAIMER
from seed.demo import law_files
from tests.api.law.packs import BASIS, HEAD, line_of, requirement

FLAWED = BASIS + requirement("XR-1", colour='"red"') + requirement("XR-2", citation=None)


@pytest.fixture
def written(tmp_path):
    """Return a function that writes a pack into a file and gives its path."""

    def write(text, name="pack.toml"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_sound_packs_are_said_to_be_and_need_no_database(bare_terminal, written):
    paths = [written(text, name) for name, text in law_files().items()]

    status, out, _ = bare_terminal.run("law", "check", *paths)

    assert status == 0
    assert f"{paths[0]}: arvenne 2026.1, fictional: 14 requirements, 7 kinds of documents, 4 jurisdictions" in out
    assert len(out.splitlines()) == len(paths) + 1
    assert out.endswith(f"{DISCLAIMER}\n")


def test_every_flaw_is_said_with_its_file_and_line_and_the_status_is_1(bare_terminal, written):
    path, sound = written(FLAWED), written(BASIS + requirement(), "sound.toml")

    status, out, _ = bare_terminal.run("law", "check", path, sound)

    assert status == 1
    line = FLAWED[: FLAWED.rindex("[[requirement]]")].count("\n") + 1
    assert f"{path}:{line_of(FLAWED, 'colour')}: colour: There is no such field here.\n" in out
    assert f"{path}:{line}: citation: This field is required.\n" in out
    assert f"{sound}: fiction 1, fictional: 1 requirement, 1 kind of document, 1 jurisdiction\n" in out


def test_a_pack_may_refer_to_those_checked_before_it(bare_terminal, written):
    first = written(BASIS)
    text = HEAD.replace('"fiction"', '"more"') + '[[instrument]]\ncode = "act"\ntitle = "Act (fictional)"\n'
    second = written(text + requirement("XR-5", consequence='"document"', documents='["keeping"]'), "more.toml")

    assert bare_terminal.run("law", "check", first, second)[0] == 0
    status, out, _ = bare_terminal.run("law", "check", second, first)
    assert (status, "There is no jurisdiction XR." in out, "There is no kind of document keeping." in out) == (1, True, True)


def test_packs_are_put_on_record_and_again_change_nothing(marshlight, records, written):
    paths = [written(text, name) for name, text in law_files().items()]

    status, out, _ = marshlight("law", "load", *paths)
    assert status == 0
    assert (
        f"{paths[2]}: lorrow 2026.1: 1 rule pack, 9 requirements, 7 document kinds, 4 jurisdictions added" in out or "9 requirement" in out
    )
    assert DISCLAIMER in out
    with records() as unit:
        assert len(law_as_of(unit).requirements) == 33

    status, out, _ = marshlight("law", "load", *paths)
    assert (status, out.count("on record already, nothing is changed")) == (0, 3)
    assert "the chain holds and the records agree" in marshlight("verify")[1]


def test_where_one_pack_is_refused_none_is_taken(marshlight, records, written):
    sound = written(BASIS + requirement())
    for text in (FLAWED, BASIS + requirement(title='"Another title (fictional)"')):
        other = written(text.replace('version = "1"\ntitle = "Invented law', 'version = "2"\ntitle = "Invented law'), "other.toml")
        status, out, _ = marshlight("law", "load", sound, other)
        assert (status, out.startswith(f"{other}:")) == (1, True)
        with records() as unit:
            assert law_as_of(unit).requirements == []

    assert "state a new version (another title)" in out
    assert int(out.removeprefix(f"{other}:").partition(":")[0]) == other.read_text(encoding="utf-8").split("\n").index('version = "1"') + 1


def test_what_is_on_record_counts_when_a_pack_is_loaded(marshlight, written):
    later = BASIS.replace('version = "1"', 'version = "2"', 1)
    marshlight("law", "load", written(BASIS + requirement()))

    refused = marshlight("law", "load", written(later + requirement(version='"2"', applies_from="2199-01-01")))
    ended = requirement(applies_until="2198-12-31")
    taken = marshlight("law", "load", written(later + ended + requirement(version='"2"', applies_from="2199-01-01")))

    assert (refused[0], "Version 1 of XR-1 applies from 2020-01-01 without a last day" in refused[1]) == (1, True)
    assert (taken[0], "1 rule pack, 1 requirement added; 1 requirement changed" in taken[1]) == (0, True)


def test_the_requirements_on_record_are_listed_in_all_versions(terminal, marshlight, written):
    status, out, _ = marshlight("law", "list")
    assert (status, "No rule pack is on record yet" in out) == (0, True)
    marshlight("law", "load", *(written(text, name) for name, text in law_files().items()))

    listed = terminal.json("law", "list")
    status, out, _ = marshlight("law", "list")

    assert listed["disclaimer"] == DISCLAIMER
    assert len(listed["requirements"]) == 33
    first, second = (one for one in listed["requirements"] if one["code"] == "XR-INV-1")
    assert (first["version"], first["applies_until"], second["version"], second["applies_until"]) == ("2016", "2022-08-01", "2022", None)
    assert first["citation"].endswith("(fictional)")
    assert (status, out.count("XR-INV-1"), DISCLAIMER in out) == (0, 2, True)


def test_the_schema_is_printed_as_it_is_published(bare_terminal):
    status, out, _ = bare_terminal.run("law", "schema")

    assert (status, out) == (0, published())
    assert json.loads(out)["title"] == "Rule pack"


def test_a_file_that_cannot_be_read_is_said(bare_terminal, tmp_path):
    (tmp_path / "latin.toml").write_bytes(b"\xe9")

    for name, said in (("none.toml", "cannot be read"), ("latin.toml", "is not UTF-8 text")):
        status, _, err = bare_terminal.run("law", "check", tmp_path / name)
        assert (status, said in err) == (2, True)
