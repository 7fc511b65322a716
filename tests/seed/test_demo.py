"""The demo stands, says that it is invented, and is the same for the same day."""

from __future__ import annotations

import json
import shlex
import sys

import pytest

from api.__main__ import main
from api.nightly import run_nights
from domain.actions.permit_register import permit_register
from domain.actions.verify import prove
from domain.records.base import table_of
from domain.records.engine import open_store
from domain.records.equipment import Equipment, OutputReading
from domain.records.organisations import SERVER_BITS
from domain.records.statements import Statement
from domain.rules.permits import PermitStanding
from tests import makers

NIGHT = "2026-03-01T12:00:00Z"
ORGANISATION = (1 << SERVER_BITS) + 1


def demo(folder, capsys) -> str:
    assert main(["demo", "--folder", str(folder), "--at", NIGHT]) == 0
    return capsys.readouterr().out


def test_the_demo_builds_an_organisation_runs_a_night_and_says_what_to_try(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")
    printed = demo(tmp_path, capsys)

    assert "Everything here is invented" in printed
    assert "Reedmere House, 1 March 2026" in printed
    assert "serve" in printed
    papers = sorted(path.name for path in (tmp_path / "papers").glob("*.pdf"))
    assert len(papers) == 4
    store = open_store(f"sqlite:///{tmp_path / 'reedbed.sqlite3'}")
    with store.snapshot(makers.origin(organisation_id=ORGANISATION)) as unit:
        proof = prove(unit)
        items = unit.rows(Statement(table_of(Equipment).select()))
        readings = unit.rows(Statement(table_of(OutputReading).select()))
    store.close()
    assert proof.flaws == []
    assert len(items) > 300
    assert len(readings) > 1000


def keys(folder, capsys, monkeypatch) -> list[object]:
    monkeypatch.setenv("REEDBED_DATABASE_URL", f"sqlite:///{folder / 'reedbed.sqlite3'}")
    assert main(["key", "list", "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_demo_again_adds_nothing(tmp_path, capsys, monkeypatch):
    assert "export KEY=rbk_" in demo(tmp_path, capsys)

    printed = demo(tmp_path, capsys)
    assert "stands here already" in printed
    assert "key create --name mine" in printed
    assert "export KEY=rbk_..." in printed
    assert len(keys(tmp_path, capsys, monkeypatch)) == 1
    store = open_store(f"sqlite:///{tmp_path / 'reedbed.sqlite3'}")
    again = list(run_nights(store, ORGANISATION, now=makers.NOON, actor="test", request_id="test"))
    store.close()
    assert [night.added for night in again] == [False] * 4


def test_the_same_day_gives_the_same_papers(tmp_path, capsys):
    for name in ("one", "other"):
        demo(tmp_path / name, capsys)

    one, other = (
        [json.loads(path.read_bytes()) for path in sorted((tmp_path / name / "papers").glob("*due.json"))] for name in ("one", "other")
    )
    shown = [[(row["tag"], row["reason"], row["due_on"]) for row in paper["rows"]] for paper in one]
    assert shown == [[(row["tag"], row["reason"], row["due_on"]) for row in paper["rows"]] for paper in other]


def test_the_papers_of_a_demo_that_stands_already_can_be_had_again(tmp_path, capsys):
    demo(tmp_path, capsys)
    papers = {path.name: path.read_bytes() for path in (tmp_path / "papers").iterdir()}
    for path in (tmp_path / "papers").iterdir():
        path.unlink()

    demo(tmp_path, capsys)

    assert {path.name: path.read_bytes() for path in (tmp_path / "papers").iterdir()} == papers


@pytest.mark.parametrize(
    ("started_as", "on_path", "program"),
    [
        ("/elsewhere/reedbed", True, "reedbed"),
        ("/else where/reedbed", False, "'/else where/reedbed'"),
        ("/elsewhere/api/__main__.py", False, f"{shlex.quote(sys.executable)} -m api"),
    ],
)
def test_the_hints_name_a_program_that_can_be_started(tmp_path, capsys, monkeypatch, started_as, on_path, program):
    if on_path:
        (tmp_path / "reedbed").touch(mode=0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(sys, "argv", [started_as, "demo"])

    printed = demo(tmp_path / "demo", capsys)

    assert f"  {program} verify " in printed


def test_a_file_in_the_place_of_the_demos_folder_is_said(tmp_path, capsys):
    (tmp_path / "demo").touch()

    assert main(["demo", "--folder", str(tmp_path / "demo")]) == 2
    assert "there is a file of that name" in capsys.readouterr().err


def test_the_demo_has_permits_that_want_something_and_papers_about_them(tmp_path, capsys):
    demo(tmp_path, capsys)
    store = open_store(f"sqlite:///{tmp_path / 'reedbed.sqlite3'}")
    with store.snapshot(makers.origin(organisation_id=ORGANISATION)) as unit:
        register = permit_register(unit, None, on=makers.NOON.date())
    store.close()

    assert {one.standing for one in register.permits} >= {PermitStanding.ENDED, PermitStanding.ENDING, PermitStanding.GOOD}
    assert all("(fictional)" in one.permit.authority for one in register.permits)
    assert register.open
