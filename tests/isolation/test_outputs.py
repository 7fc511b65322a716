"""Whatever one organisation can get to read, no word, id or digest of another's is in it."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import pytest

from api.__main__ import main
from tests.isolation.outputs import everything_said
from tests.isolation.probing import marks_in
from tests.isolation.world import A, B, World, serving

COMMANDS = (
    ("nightly", "--at", "2026-03-01T12:00:00Z", "--json"),
    ("verify",),
    ("key", "list"),
    ("key", "list", "--json"),
    ("account", "list"),
    ("account", "list", "--json"),
)


def test_nothing_that_one_organisation_reads_shows_anything_of_another(place):
    world, lines = place.world, io.StringIO()
    with place.store() as store, serving(store, lines=lines) as service:
        said = everything_said(service, world)

    assert {name: shown for name, text in said.items() if (shown := marks_in(world, text))} == {}
    assert len(said) > 350
    assert said["log"].count(b"\n") > 300
    assert all(json.loads(line) for line in said["log"].splitlines())
    for name in ("the paper's text", "nightly", "key: /v1/sites", "person: /v1/me", "our rows of journal"):
        assert world.ours.words["site.name"].encode() in said[name] or b"reed-" in said[name], name


def test_the_same_search_finds_theirs_in_what_they_read_themselves(place):
    world = place.world
    swapped = replace(world, ours=world.theirs, theirs=world.ours)
    with place.store() as store, serving(store, lines=io.StringIO()) as service:
        said = everything_said(service, swapped, by=("key",))

    shown = {name for name, text in said.items() if marks_in(world, text)}
    assert len(shown) > 60
    assert {"the paper's text", "nightly", "verify", "our rows of journal", "key: /v1/sites", "key: /v1/me"} - shown == {"verify"}


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_no_command_for_one_organisation_says_anything_of_another(place, words, monkeypatch, capsys):
    world = place.world
    monkeypatch.setenv("COLUMNS", "300")
    with place.copied() as (url, _):
        monkeypatch.setenv("REEDBED_DATABASE_URL", url)
        said = {}
        for number in (A, B):
            status = main([*words, "--organisation", str(number)])
            printed = capsys.readouterr()
            said[number] = printed.out + printed.err
            assert status in {0, 1}, said[number]

    assert marks_in(world, said[A].encode()) == set()
    assert "verify" in words or marks_in(world, said[B].encode()) != set()
    assert "reed" in said[A].casefold()


def test_a_world_marks_what_is_theirs_and_not_ours(place):
    world: World = place.world

    assert not world.marks & set(world.ours.ids.values())
    assert set(world.theirs.ids.values()) <= world.marks
    assert len(world.marks) > 300
