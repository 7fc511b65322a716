"""The command line, run in this process on a real database."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Any

import pytest

from api.__main__ import main
from domain.records.engine import open_store
from domain.records.unit import Unit
from tests import makers


class Terminal:
    """What somebody sees who types a command."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def run(self, *words: object) -> tuple[int, str, str]:
        """Return the exit status, what was printed, and what was complained of."""
        status = main([str(word) for word in words])
        printed = self._capsys.readouterr()
        return status, printed.out, printed.err

    def json(self, *words: object) -> Any:
        """Return what a command answers as JSON."""
        status, out, err = self.run(*words, "--json")
        assert status == 0, err
        return json.loads(out)


@pytest.fixture
def bare_terminal(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Terminal:
    """Return a terminal whose settings name no database."""
    monkeypatch.setenv("COLUMNS", "200")
    return Terminal(capsys)


@pytest.fixture
def terminal(bare_terminal: Terminal, database_url: str, monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """Return a terminal whose settings name a migrated, empty database."""
    monkeypatch.setenv("REEDBED_DATABASE_URL", database_url)
    return bare_terminal


@pytest.fixture
def marshlight(terminal: Terminal) -> Callable[..., Any]:
    """Return a terminal's ``run`` where an organisation stands."""
    terminal.json("organisation", "create", "Marshlight Trust")
    return terminal.run


@pytest.fixture
def records(terminal: Terminal, marshlight: Callable[..., Any], database_url: str) -> Callable[[], AbstractContextManager[Unit]]:
    """Return a function that opens a writing transaction on the organisation's records."""
    organisation = terminal.json("key", "create", "--name", "x")["organisation_id"]

    @contextmanager
    def opened() -> Iterator[Unit]:
        store = open_store(database_url)
        try:
            with store.transaction(makers.origin(organisation_id=organisation)) as unit:
                yield unit
        finally:
            store.close()

    return opened
