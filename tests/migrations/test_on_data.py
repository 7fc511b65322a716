"""Every step of the history on a database full of rows: nothing of them is lost, there and back, or where the step is killed."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic.script import ScriptDirectory

import migrations
from domain.records.engine import open_store
from domain.records.tables import metadata
from tests import makers
from tests.migrations.test_migrations import filler, references, schema_of, speak_for
from tests.postgres_server import url_for

HOUSE = Path(__file__).parents[2]
ROUNDS = int(os.environ.get("REEDBED_ROUNDS", "3"))
OF_OLD: dict[str, dict[str, Any]] = {"taxon": {"rank": "genus"}}
"""Words that every revision knows, where others came later and become another on the way down."""
HISTORY = [step.revision for step in reversed([*ScriptDirectory.from_config(migrations._config()).walk_revisions()])]


def fill(url: str) -> None:
    """Bring a database to the newest revision and store some records, and in each table a row in which nothing is empty."""
    migrations.upgrade(url)
    store = open_store(url)
    makers.organisation(store)
    with store.transaction(makers.origin()) as unit:
        model, site = makers.model(unit), makers.site(unit)
        for number in range(200):
            makers.equipment(unit, model, site, tag=f"RE-{number}")
    store.close()
    engine = migrations.engine_at(url)
    with engine.begin() as connection:
        speak_for(connection, 1)
        made: dict[str, dict[str, Any]] = {}
        for table in metadata.sorted_tables:
            row = {column.name: filler(column, connection.dialect.name) for column in table.columns} | OF_OLD.get(table.name, {})
            for column, referred in references(table):
                key = next(key.column.name for key in table.columns[column].foreign_keys if key.column.name != "organisation_id")
                row[column] = None if referred == table.name else made[referred][key]
            connection.execute(sa.insert(sa.table(table.name, *map(sa.column, row))).values(row))
            made[table.name] = row
    engine.dispose()


@pytest.fixture(scope="session")
def filled_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a SQLite file full of rows, to be copied."""
    path = tmp_path_factory.mktemp("filled") / "reedbed.sqlite3"
    fill(f"sqlite:///{path}")
    return path


@pytest.fixture(params=["sqlite", "postgresql"])
def full(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[..., str]:
    """Return a function that gives the owner's URL of another database full of rows, or of a copy of one that nobody has open."""
    if request.param == "sqlite":
        source, made = request.getfixturevalue("filled_file"), iter(range(1_000_000))
        return lambda of=None: f"sqlite:///{shutil.copy(Path(of[10:]) if of else source, tmp_path / f'full-{next(made)}.sqlite3')}"
    versions = (Path(migrations.__file__).parent / "versions").glob("*.py")
    template = f"reedbed_filled_{sha256(b''.join(path.read_bytes() for path in sorted(versions))).hexdigest()[:16]}"
    request.getfixturevalue("postgres_template")(template, build=fill)
    clone, server = request.getfixturevalue("postgres_database"), request.getfixturevalue("postgres_url")
    return lambda of=None: url_for(server, database=clone(of.rpartition("/")[2] if of else template), role="reedbed_owner")


def seen(url: str, request: pytest.FixtureRequest, *, only: dict[str, list[str]] | None = None) -> dict[tuple[str, str], str]:
    """Return a digest of each column of each table, in the order of its rows' keys; of these columns only, where they are given.

    On PostgreSQL as the superuser, who sees the rows of every organisation.
    """
    if not url.startswith("sqlite"):
        url = url_for(request.getfixturevalue("postgres_url"), database=url.rpartition("/")[2])
    engine = migrations.engine_at(url)
    found = {}
    with engine.connect() as connection:
        tables = sa.inspect(connection)
        for table in only or tables.get_table_names():
            keys = tables.get_pk_constraint(table)["constrained_columns"]
            names = (only or {}).get(table) or [column["name"] for column in tables.get_columns(table)]
            asked = sa.select(*map(sa.column, names)).select_from(sa.table(table)).order_by(*map(sa.column, keys))
            rows = connection.execute(asked).fetchall()
            for place, name in enumerate(names):
                values = "\n".join(repr(row[place]) for row in rows)
                found[table, name] = sha256(f"{len(rows)}\n{values}".encode()).hexdigest()
    engine.dispose()
    found.pop(("alembic_version", "version_num"), None)
    return found


def columns_at(url: str) -> dict[str, list[str]]:
    return {table: names for table, names in schema_of(url)["tables"].items() if table != "alembic_version"}


def kept(digests: dict[tuple[str, str], str], columns: dict[str, list[str]]) -> dict[tuple[str, str], str]:
    return {place: digest for place, digest in digests.items() if place[1] in columns.get(place[0], [])}


def journal_refuses(url: str) -> bool:
    """Return whether an entry of the journal can be neither changed nor taken away."""
    engine = migrations.engine_at(url)
    with engine.connect() as connection:
        speak_for(connection, makers.ORGANISATION)
        refused = 0
        for act in ("UPDATE journal SET content = ''", "DELETE FROM journal"):
            with pytest.raises(sa.exc.DBAPIError, match="append-only"):
                connection.exec_driver_sql(act)
            refused += 1
            connection.rollback()
            speak_for(connection, makers.ORGANISATION)
    engine.dispose()
    return refused == 2


def test_each_table_has_rows_before_anything_is_tried(full, request):
    url = full()
    nothing = sha256(b"0\n").hexdigest()

    digests = seen(url, request)

    assert [place for place, digest in digests.items() if digest == nothing] == []
    assert len(digests) > 200


def test_down_step_by_step_and_up_again_no_row_and_no_guard_is_lost(full, request):
    url = full()
    at_head, schema = seen(url, request), schema_of(url)
    for lower in reversed(HISTORY[:-1]):
        migrations.downgrade(url, revision=lower)
        columns = columns_at(url)
        assert seen(url, request) == kept(at_head, columns), lower
        assert journal_refuses(url)

    for higher in HISTORY[1:]:
        migrations.upgrade(url, revision=higher)
        assert seen(url, request, only=columns) == kept(at_head, columns), higher

    assert schema_of(url) == schema
    assert journal_refuses(url)
    assert {"sqlite": 4, "postgresql": 40}[sa.make_url(url).get_backend_name()] <= len(schema["guards"])


def test_one_cell_that_a_step_would_change_is_seen(full, request):
    # The control: a step that touches a row it should not.
    url = full()
    before = seen(url, request)
    engine = migrations.engine_at(url)
    with engine.begin() as connection:
        speak_for(connection, makers.ORGANISATION)
        connection.exec_driver_sql("UPDATE site SET note = 'x' WHERE name = 'Reedmere House'")
    engine.dispose()

    assert {place for place, digest in seen(url, request).items() if digest != before[place]} == {("site", "note")}


NURSERY = """
import os, sys
import migrations
for line in sys.stdin:
    url = line.strip()
    migrations.revision_of(url)
    child = os.fork()
    if child == 0:
        print(os.getpid(), flush=True)
        migrations.upgrade(url)
        os._exit(0)
    os.waitpid(child, 0)
    print("over", flush=True)
"""


@contextmanager
def nursery() -> Iterator[Callable[[str, float | None], float]]:
    """Yield a function that migrates a database in a process of its own, kills it after so many seconds, and returns how long it lived."""
    words = [sys.executable, "-c", NURSERY]
    with subprocess.Popen(words, cwd=HOUSE, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1) as parent:

        def migrate(url: str, lives_s: float | None) -> float:
            parent.stdin.write(f"{url}\n")
            child = int(parent.stdout.readline())
            started = time.monotonic()
            if lives_s is not None:
                time.sleep(lives_s)
                with suppress(ProcessLookupError):
                    os.kill(child, signal.SIGKILL)
            assert parent.stdout.readline() == "over\n"
            return time.monotonic() - started

        yield migrate
        parent.stdin.close()


def standing_at(url: str, schemas: dict[str, dict[str, Any]]) -> str | None:
    """Return the revision whose whole schema a database has and says it has, ``None`` where it stands between two."""
    revision, schema = migrations.revision_of(url), schema_of(url)
    return revision if schema == schemas.get(str(revision)) else None


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process is copied")
def test_a_migration_that_is_killed_leaves_the_old_revision_or_the_new_and_every_row(full, request):
    schemas, chance, stood = {}, random.Random(7), []  # noqa: S311 - the same moments in every run
    oldest = full()
    schemas[HISTORY[-1]] = schema_of(oldest)
    for revision in reversed(HISTORY[:-1]):
        migrations.downgrade(oldest, revision=revision)
        schemas[revision] = schema_of(oldest)
    columns, before = columns_at(oldest), seen(oldest, request)
    with nursery() as migrate:
        whole_s = migrate(full(oldest), None)
        for _ in range(ROUNDS):
            url = full(oldest)
            migrate(url, chance.uniform(0, whole_s))
            stood.append(standing_at(url, schemas))
            assert stood[-1] in {HISTORY[0], HISTORY[-1]}
            assert seen(url, request, only=columns) == before

            migrations.upgrade(url)
            assert standing_at(url, schemas) == HISTORY[-1]
            assert seen(url, request, only=columns) == before
    assert HISTORY[0] in stood, "no migration was killed in time"
    print(f"killed {ROUNDS} times: {stood.count(HISTORY[0])} at the old revision, {stood.count(HISTORY[-1])} at the new")  # noqa: T201


def test_a_migration_that_stopped_between_would_be_seen(full):
    # The control: a step that was done in part.
    url = full()
    schemas = {migrations.head(): schema_of(url)}
    assert standing_at(url, schemas) == migrations.head()
    engine = migrations.engine_at(url)
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP INDEX ix_report_site")
    engine.dispose()

    assert standing_at(url, schemas) is None
