"""What every test may ask for: a real PostgreSQL with databases of its own, and tools that a machine may lack."""

from __future__ import annotations

import gc
import os
import shutil
import signal
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from hashlib import sha256
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest
from psycopg.sql import SQL, Identifier

import migrations
from domain.errors import StorageBusy
from domain.records.engine import Store, open_store
from tests import makers
from tests.postgres_server import alone, dsn, make_roles, platform_has_binaries, running_server, superuser, url_for

SERVER_VARIABLE = "REEDBED_TEST_POSTGRES_URL"
FIRST_TRIES = 10


def pytest_configure(config: pytest.Config) -> None:
    """Let the workers of a run in parallel share one server, and let a terminated run stop its server."""
    gc.set_threshold(50_000, 20, 50)  # Thousands of tests keep much for long: looking it over each time is a tenth of the run.
    if hasattr(config, "workerinput"):
        return
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    spawns_workers = getattr(config.option, "dist", "no") != "no"
    if spawns_workers and SERVER_VARIABLE not in os.environ and platform_has_binaries():
        exits = ExitStack()
        config.add_cleanup(exits.close)
        os.environ[SERVER_VARIABLE] = exits.enter_context(running_server())
        exits.callback(os.environ.pop, SERVER_VARIABLE, None)


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose tool is absent, except where the tools are promised: there it fails."""
    for marker in item.iter_markers("system"):
        missing = [tool for tool in marker.args if shutil.which(tool) is None]
        if missing and os.environ.get("REEDBED_REQUIRE_SYSTEM") == "1":
            pytest.fail(f"not installed: {', '.join(missing)}", pytrace=False)
        if missing:
            pytest.skip(f"not installed: {', '.join(missing)}")


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """Yield the superuser's URL of a server that has the owner's and the service's role."""
    if SERVER_VARIABLE not in os.environ and not platform_has_binaries():
        if os.environ.get("REEDBED_REQUIRE_SYSTEM") == "1":
            pytest.fail(f"no PostgreSQL binaries for this platform: set {SERVER_VARIABLE}", pytrace=False)
        pytest.skip(f"no PostgreSQL binaries for this platform: set {SERVER_VARIABLE}")
    with ExitStack() as exits:
        url = os.environ.get(SERVER_VARIABLE) or exits.enter_context(running_server())
        make_roles(url)
        yield url


@pytest.fixture(scope="session")
def postgres_template(postgres_url: str) -> Callable[..., None]:
    """Return a function that builds a template database once for all processes of the run.

    ``build`` gets the owner's URL of the new database. What it leaves half built is removed.
    """

    def make(name: str, *, build: Callable[[str], None]) -> None:
        with superuser(postgres_url) as connection:
            if connection.execute("SELECT FROM pg_database WHERE datname = %s", [name]).fetchone() is not None:
                return
            connection.execute(SQL("CREATE DATABASE {} OWNER reedbed_owner").format(Identifier(name)))
            try:
                build(url_for(postgres_url, database=name, role="reedbed_owner"))
            except BaseException:
                connection.execute(SQL("DROP DATABASE {} WITH (FORCE)").format(Identifier(name)))
                raise

    return make


@pytest.fixture(scope="session")
def superuser_connection(postgres_url: str) -> Iterator[psycopg.Connection]:
    """Yield a superuser's connection that stays open: signing in twice for each test takes longer than many a test."""
    with psycopg.connect(dsn(postgres_url), autocommit=True) as connection:
        yield connection


@pytest.fixture
def postgres_database(superuser_connection: psycopg.Connection) -> Iterator[Callable[..., str]]:
    """Return a function that clones a template and gives the clone's name; clones go when the test ends."""
    made: list[str] = []

    def clone(template: str = "template1") -> str:
        name = f"reedbed_{uuid4().hex}"
        with alone(superuser_connection):
            statement = SQL("CREATE DATABASE {} TEMPLATE {} STRATEGY file_copy OWNER reedbed_owner")
            superuser_connection.execute(statement.format(Identifier(name), Identifier(template)))
        made.append(name)
        return name

    yield clone
    with alone(superuser_connection):
        for name in made:
            superuser_connection.execute(SQL("DROP DATABASE {} WITH (FORCE)").format(Identifier(name)))


@pytest.fixture(scope="session")
def migrated_template(postgres_template: Callable[..., None]) -> str:
    """Return the name of a template database at the newest revision; named for the migrations' text."""
    versions = sorted((Path(migrations.__file__).parent / "versions").glob("*.py"))
    digest = sha256(b"".join(version.read_bytes() for version in versions)).hexdigest()[:16]
    name = f"reedbed_template_{digest}"
    postgres_template(name, build=migrations.upgrade)
    return name


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a migrated SQLite file that nobody opens: migrating takes longer than most tests, copying nothing."""
    path = tmp_path_factory.mktemp("template") / "reedbed.sqlite3"
    migrations.upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return the URL of a migrated, empty database; on PostgreSQL as the service signs in, owning nothing."""
    if request.param == "sqlite":
        return f"sqlite:///{shutil.copy(request.getfixturevalue('migrated_file'), tmp_path / 'reedbed.sqlite3')}"
    template = request.getfixturevalue("migrated_template")
    clone = request.getfixturevalue("postgres_database")
    return url_for(request.getfixturevalue("postgres_url"), database=clone(template), role="reedbed_service")


@pytest.fixture
def store(database_url: str) -> Iterator[Store]:
    """Yield a store over a migrated, empty database, once on SQLite and once on PostgreSQL.

    The first connection to a new database is waited for: where others are at work, it may take longer than a request waits.
    """
    opened = open_store(database_url, pool_size=4)
    for _ in range(FIRST_TRIES):
        with suppress(StorageBusy), opened.transaction(makers.origin()):
            break
    yield opened
    opened.close()


@pytest.fixture
def organisation(store: Store) -> int:
    """Return the number of an organisation in the store."""
    return makers.organisation(store)
