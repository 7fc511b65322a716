"""The benchmarks: ``pytest -m benchmark tests/benchmarks -s`` runs them all; README.md beside this file says what they compare."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.benchmarks.collection import Collection, load
from tests.benchmarks.databases import House, PostgresHouse, SqliteHouse, durable_server, server_remark
from tests.benchmarks.figures import Figures
from tests.conftest import SERVER_VARIABLE
from tests.postgres_server import platform_has_binaries

ITEMS_VARIABLE = "REEDBED_BENCHMARK_ITEMS"
_FIGURES = pytest.StashKey[Figures]()


def pytest_configure(config: pytest.Config) -> None:
    """Begin with no figures."""
    config.stash[_FIGURES] = Figures()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print the table of what was found."""
    figures = config.stash[_FIGURES]
    if figures.found:
        terminalreporter.section("benchmarks")
        for line in figures.table():
            terminalreporter.line(line)


@pytest.fixture(scope="session")
def figures(request: pytest.FixtureRequest) -> Figures:
    """Return the figures of this run, to add to."""
    return request.config.stash[_FIGURES]


@pytest.fixture(scope="session")
def durable_postgres(figures: Figures) -> Iterator[str]:
    """Yield the superuser's URL of a server that keeps what it confirms."""
    if SERVER_VARIABLE not in os.environ and not platform_has_binaries():
        pytest.skip(f"no PostgreSQL binaries for this platform: set {SERVER_VARIABLE}")
    with durable_server() as url:
        figures.remarks["postgresql"] = server_remark(url)
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def house(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[House]:
    """Yield where databases are made, once for each kind."""
    with _house(request, tmp_path) as made:
        yield made


@pytest.fixture(scope="session", params=["sqlite", "postgresql"])
def lasting_house(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """Yield where databases are made that several benchmarks read and none changes."""
    with _house(request, tmp_path_factory.mktemp("lasting")) as made:
        yield made


@pytest.fixture(scope="session")
def large(lasting_house: House) -> Collection:
    """Return a database with very many items at one site, a million unless the environment says otherwise."""
    return load(lasting_house.new(), items=items_wanted(), server_url=lasting_house.server_url)


@pytest.fixture(scope="session")
def small(lasting_house: House) -> Collection:
    """Return a database like the large one with ten thousand items."""
    return load(lasting_house.new(), items=10_000, server_url=lasting_house.server_url)


def items_wanted() -> int:
    """Return how many items the large benchmarks take."""
    return int(os.environ.get(ITEMS_VARIABLE, "1000000"))


@contextmanager
def _house(request: pytest.FixtureRequest, folder: Path) -> Iterator[House]:
    if request.param == "sqlite":
        yield SqliteHouse(folder)
        return
    made = PostgresHouse(request.getfixturevalue("durable_postgres"))
    try:
        yield made
    finally:
        made.close()
