"""The schema's history on both databases, and what the databases themselves refuse."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
import sqlalchemy as sa
from alembic.script import ScriptDirectory

import migrations
from domain.actions.imports import ImportFileFacts
from domain.actions.imports.runs import ask_for_import
from domain.records.engine import open_store
from domain.records.nights import ImportKind
from domain.records.tables import metadata
from tests import makers
from tests.postgres_server import url_for

TABLES = {table.name for table in metadata.sorted_tables}


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Any) -> str:
    """Return the URL of a database that nothing was done to, as its owner signs in."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    clone: Callable[..., str] = request.getfixturevalue("postgres_database")
    return url_for(request.getfixturevalue("postgres_url"), database=clone(), role="reedbed_owner")


@pytest.fixture(params=["sqlite", "postgresql"])
def lenient(request: pytest.FixtureRequest, tmp_path: Any) -> Any:
    """Yield an engine on a migrated database whose foreign keys are not looked at: what is left are its own checks."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
        migrations.upgrade(url)
    else:
        clone: Callable[..., str] = request.getfixturevalue("postgres_database")
        name = clone(request.getfixturevalue("migrated_template"))
        url = url_for(request.getfixturevalue("postgres_url"), database=name)
    engine = migrations.engine_at(url)
    if request.param == "postgresql":

        @sa.event.listens_for(engine, "connect")
        def _as_replica(connection: Any, _record: Any) -> None:
            connection.execute("SET session_replication_role = replica")
            connection.commit()

    yield engine
    engine.dispose()


def schema_of(url: str) -> dict[str, Any]:
    """Return the tables with their columns, and whatever else the database holds by name."""
    engine = migrations.engine_at(url)
    with engine.connect() as connection:
        seen = sa.inspect(connection)
        tables = {name: sorted(column["name"] for column in seen.get_columns(name)) for name in seen.get_table_names()}
        indexes = {(name, index["name"]) for name in tables for index in seen.get_indexes(name)}
        keys = {(name, key["name"]) for name in tables for key in seen.get_foreign_keys(name)}
        checks = {(name, check["name"]) for name in tables for check in seen.get_check_constraints(name)}
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        if connection.dialect.name == "postgresql":
            query = (
                "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal UNION ALL "
                "SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace UNION ALL "
                "SELECT concat_ws(' ', policyname, tablename, cmd, roles, qual, with_check) FROM pg_policies UNION ALL "
                "SELECT relname || ' is guarded' FROM pg_class WHERE relforcerowsecurity AND relrowsecurity"
            )
        guards = {name for (name,) in connection.exec_driver_sql(query)}
    engine.dispose()
    return {"tables": tables, "indexes": indexes, "keys": keys, "checks": checks, "guards": guards}


def test_the_history_has_one_head_and_one_beginning() -> None:
    history = ScriptDirectory.from_config(migrations._config())

    assert len(history.get_heads()) == len(history.get_bases()) == 1
    assert migrations.head() == history.get_heads()[0]


def test_up_down_and_up_again_comes_to_the_same(empty_url: str) -> None:
    assert migrations.revision_of(empty_url) is None
    migrations.upgrade(empty_url)
    first = schema_of(empty_url)
    assert migrations.revision_of(empty_url) == migrations.head()
    assert set(first["tables"]) == TABLES | {"alembic_version"}

    migrations.downgrade(empty_url, revision="base")
    nothing = schema_of(empty_url)
    assert migrations.revision_of(empty_url) is None
    assert set(nothing["tables"]) <= {"alembic_version"}
    assert nothing["guards"] == set()

    migrations.upgrade(empty_url)
    assert schema_of(empty_url) == first


def test_every_step_of_the_history_can_be_taken_back_and_again(empty_url: str) -> None:
    history = ScriptDirectory.from_config(migrations._config())
    for step in reversed([*history.walk_revisions()]):
        migrations.upgrade(empty_url, revision=step.revision)
        after = schema_of(empty_url)
        migrations.downgrade(empty_url, revision=str(step.down_revision or "base"))
        migrations.upgrade(empty_url, revision=step.revision)

        assert schema_of(empty_url) == after


def test_models_and_history_agree(empty_url: str) -> None:
    assert migrations.differences(empty_url) != []

    migrations.upgrade(empty_url)

    assert migrations.differences(empty_url) == []


def test_bringing_a_database_to_the_revision_it_has_changes_nothing(empty_url: str) -> None:
    migrations.upgrade(empty_url)
    before = schema_of(empty_url)

    migrations.upgrade(empty_url)

    assert schema_of(empty_url) == before


def test_a_migration_that_fails_leaves_nothing(empty_url: str) -> None:
    # A table of this name is in the way of one that is made when others have been.
    engine = migrations.engine_at(empty_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE output_reading (pond integer)")
    engine.dispose()
    before = schema_of(empty_url)

    with pytest.raises(sa.exc.DBAPIError):
        migrations.upgrade(empty_url)

    assert schema_of(empty_url) == before
    assert set(before["tables"]) == {"output_reading"}
    assert migrations.revision_of(empty_url) is None


def filler(column: sa.Column[Any], dialect: str) -> Any:
    """Return a value that the column takes, as the driver takes it."""
    if isinstance(column.type, sa.Enum):
        return column.type.enums[0]
    if type(column.type).__name__ == "UuidColumn":
        return uuid4().bytes if dialect == "sqlite" else uuid4()
    if type(column.type).__name__ == "InstantColumn":
        return "2026-03-01T12:00:00.000000Z"
    if isinstance(column.type, sa.Date):
        return "2026-03-01"
    if isinstance(column.type, sa.Boolean):
        return True
    if isinstance(column.type, sa.Integer | sa.Float):
        return 1
    return b"x" if isinstance(column.type, sa.LargeBinary) else uuid4().hex[:12]


def is_taken(engine: sa.Engine, table: sa.Table, **values: Any) -> bool:
    """Return whether the database takes a row; it is not kept."""
    row = {column.name: filler(column, engine.dialect.name) for column in table.columns} | values
    # Without types, so that nothing but the database judges the values.
    insert = sa.insert(sa.table(table.name, *(sa.column(name) for name in row))).values(row)
    with engine.connect() as connection:
        try:
            connection.execute(insert)
        except sa.exc.DBAPIError as refused:
            constraint = getattr(getattr(refused.orig, "diag", None), "constraint_name", None) or str(refused.orig)
            assert "ck_" in constraint or "CHECK" in constraint, constraint
            return False
        finally:
            connection.rollback()
    return True


def test_each_member_of_an_enumeration_can_be_stored_and_nothing_else(lenient: sa.Engine) -> None:
    columns = [column for table in metadata.sorted_tables for column in table.columns if isinstance(column.type, sa.Enum)]
    assert len(columns) >= 15

    for column in columns:
        members = [member.value for member in column.type.enum_class]
        assert [member for member in members if not is_taken(lenient, column.table, **{column.name: member})] == []
        bad = ("", members[0].upper(), f"{members[0]} ", "no such word")
        assert [word for word in bad if is_taken(lenient, column.table, **{column.name: word})] == []


def references(table: sa.Table) -> list[tuple[str, str]]:
    """Return each column of a table that points at a record, and the table it points at."""
    keys = (key for key in table.foreign_key_constraints if len(key.column_keys) > 1)
    return sorted((key.column_keys[-1], key.referred_table.name) for key in keys)


def stored(connection: sa.Connection, table: sa.Table, **values: Any) -> dict[str, Any]:
    """Store the smallest row of a table, with the rows it has to point at, and return it."""
    row = {column.name: None if column.nullable else filler(column, connection.dialect.name) for column in table.columns} | values
    for column, referred in references(table):
        if row[column] is not None and column not in values:
            row[column] = stored(connection, metadata.tables[referred])[referred_column(table, column)]
    connection.execute(_untyped_insert(table.name, row))
    return row


def referred_column(table: sa.Table, column: str) -> str:
    """Return the column that a column points at."""
    return next(key.column.name for key in table.columns[column].foreign_keys if key.column.name != "organisation_id")


def speak_for(connection: sa.Connection, organisation_id: int) -> None:
    """Tell PostgreSQL whose rows are to be stored."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.text(f"SET reedbed.organisation = '{organisation_id}'"))


def _untyped_insert(name: str, row: dict[str, Any]) -> sa.Insert:
    return sa.insert(sa.table(name, *(sa.column(column) for column in row))).values(row)


def is_orphan(connection: sa.Connection, table: sa.Table, **values: Any) -> bool:
    """Return whether the database refuses a row because of what it points at."""
    try:
        stored(connection, table, **values)
    except sa.exc.IntegrityError as broken:
        return "foreign key" in str(broken.orig).lower()
    return False


def test_a_row_that_points_at_nothing_is_refused(database_url: str) -> None:
    engine = migrations.engine_at(database_url)
    accepted, refused = [], []
    with engine.connect() as connection:
        dialect = connection.dialect.name
        if dialect == "sqlite":
            connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")
        for table in metadata.sorted_tables:
            if table.name == "organisation":
                continue
            for values in ({}, *({column: filler(table.columns[column], dialect)} for column, _ in references(table))):
                speak_for(connection, 1)
                stored(connection, metadata.tables["organisation"], id=1)
                outcome = refused if is_orphan(connection, table, **values) else accepted
                outcome.append((table.name, *values))
                connection.rollback()
    engine.dispose()

    tables = [table for table in metadata.sorted_tables if table.name != "organisation"]
    assert accepted == [(table.name,) for table in tables]
    assert refused == [(table.name, column) for table in tables for column, _ in references(table)]
    assert len(refused) >= 20


def test_a_row_of_no_organisation_is_refused(database_url: str) -> None:
    engine = migrations.engine_at(database_url)
    with engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")
        speak_for(connection, 1)
        with pytest.raises(sa.exc.IntegrityError):
            stored(connection, metadata.tables["site"], organisation_id=1)
    engine.dispose()


def test_on_sqlite_a_broken_reference_stops_a_migration(tmp_path: Any) -> None:
    url = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    migrations.upgrade(url)
    engine = migrations.engine_at(url)
    with engine.begin() as connection:
        connection.execute(_untyped_insert("journal_head", {"organisation_id": 1, "position": 0, "hash": ""}))
    engine.dispose()

    with pytest.raises(RuntimeError, match="foreign key"):
        migrations.upgrade(url)


def test_words_that_came_later_become_the_nearest_on_the_way_down(database_url: str) -> None:
    owner = database_url.replace("reedbed_service", "reedbed_owner")
    store = open_store(database_url)
    makers.organisation(store)
    with store.transaction(makers.origin()) as unit:
        makers.taxon(unit, "Reptilia", rank="class")
        for kind in ("taxa", "animals", "sites", "permits", "staff"):
            ask_for_import(unit, b"x", kind=ImportKind(kind), file=ImportFileFacts("list.csv", "0" * 64), options={})
    store.close()

    migrations.downgrade(owner, revision="0002")

    engine = migrations.engine_at(owner)
    with engine.connect() as connection:
        speak_for(connection, makers.ORGANISATION)
        ranks = connection.exec_driver_sql("SELECT rank FROM taxon").scalars().all()
        kinds = connection.exec_driver_sql("SELECT kind FROM import_run").scalars().all()
    engine.dispose()
    assert (ranks, sorted(kinds)) == (["order"], ["equipment", "equipment", "equipment-models", "sites", "sites"])
