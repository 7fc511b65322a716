"""The demo stands, says that it is invented, and is the same for the same day."""

from __future__ import annotations

import json

from api.__main__ import main
from api.nightly import run_nights
from domain.actions.verify import prove
from domain.records.base import table_of
from domain.records.engine import open_store
from domain.records.equipment import Equipment, OutputReading
from domain.records.organisations import SERVER_BITS
from domain.records.statements import Statement
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


def test_the_demo_again_adds_nothing(tmp_path, capsys):
    demo(tmp_path, capsys)

    assert "stands here already" in demo(tmp_path, capsys)
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
