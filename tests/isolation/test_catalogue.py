"""What the databases themselves promise about organisations, read off their catalogues; and every statement, off its text."""

from __future__ import annotations

import gc
import re
import sys
from contextlib import suppress

import psycopg
import pytest
import sqlalchemy as sa
from psycopg.sql import SQL, Identifier

from domain.actions import verify
from domain.records import lists
from domain.records.base import all_records, metadata, table_of
from domain.records.statements import OpenStatement, Statement
from domain.records.tenancy import owner_column
from tests.isolation.world import A, B, serving
from tests.postgres_server import dsn

DOOR_FUNCTIONS = {"refresh_statistics", "key_at_the_door", "organisation_directory"}
ACROSS_ORGANISATIONS = {
    "uq_api_key_public_id": "a key is looked up before it is known whose it is; the service makes its public part at random"
}
EXPRESSION = "( SELECT (NULLIF(current_setting('reedbed.organisation'::text, true), ''::text))::bigint AS \"nullif\")"
STOLEN = (
    "INSERT OR REPLACE INTO main.api_key (organisation_id, id, {rest}) "
    "SELECT {ours}, X'00000000000000000000000000000001', {rest} FROM main.api_key WHERE organisation_id = {theirs} LIMIT 1"
)
PUSHED_OUT = (
    "UPDATE OR REPLACE main.api_key SET public_id = (SELECT public_id FROM main.api_key WHERE organisation_id = {theirs} LIMIT 1) "
    "WHERE id = (SELECT id FROM main.api_key WHERE organisation_id = {ours} LIMIT 1)"
)
TENANT_TABLES = {table.name for table in metadata.sorted_tables}


@pytest.fixture
def catalogue(postgres_place):
    """Yield a superuser's connection to a copy, whose changes nobody sees."""
    with postgres_place.copied() as (_, unbound_url), psycopg.connect(dsn(unbound_url)) as connection:
        yield connection


def faults_of(connection):
    """Return what a PostgreSQL database does not keep of what this suite relies on."""
    return sorted(
        {
            *_guard_faults(connection),
            *_policy_faults(connection),
            *_role_faults(connection),
            *_function_faults(connection),
            *_key_faults(connection),
        }
    )


def _guard_faults(connection):
    tables = connection.execute(
        "SELECT relname, relrowsecurity, relforcerowsecurity FROM pg_class "
        "WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')"
    ).fetchall()
    yield from (f"{name} is not forced" for name, on, forced in tables if name != "alembic_version" and not (on and forced))
    yield from (f"{name} is unknown here" for name, _, _ in tables if name not in TENANT_TABLES | {"alembic_version"})
    views = connection.execute(
        "SELECT relname, coalesce('security_invoker=true' = ANY (reloptions), false) FROM pg_class "
        "WHERE relnamespace = 'public'::regnamespace AND relkind IN ('v', 'm')"
    )
    yield from (f"{name} is a view with its owner's rights" for name, invoker in views if not invoker)


def _policy_faults(connection):
    rows = connection.execute("SELECT tablename, policyname, permissive, roles::text, cmd, qual, with_check FROM pg_policies").fetchall()
    for table in metadata.sorted_tables:
        own = f"({owner_column(table)} = {EXPRESSION})"
        wanted = {(table.name, "own_organisation", "PERMISSIVE", "{public}", "ALL", own, own)}
        if table.name in {"api_key", "organisation"}:
            wanted.add((table.name, "at_the_door", "PERMISSIVE", "{reedbed_owner}", "SELECT", "true", None))
        found = {row for row in rows if row[0] == table.name}
        if found != wanted:
            yield f"{table.name} has other policies"


def _role_faults(connection):
    role = connection.execute(
        "SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb FROM pg_roles WHERE rolname = 'reedbed_service'"
    ).fetchone()
    if any(role):
        yield "the service may go past the policies"
    owner = "SELECT rolsuper, rolbypassrls FROM pg_roles WHERE rolname = 'reedbed_owner'"
    if any(connection.execute(owner).fetchone()):
        yield "the owner may go past the policies"
    owned = connection.execute("SELECT relname FROM pg_class WHERE relowner = 'reedbed_service'::regrole").fetchall()
    yield from (f"the service owns {name}" for (name,) in owned)
    members = connection.execute("SELECT 1 FROM pg_auth_members WHERE member = 'reedbed_service'::regrole").fetchall()
    yield from ("the service is a member of another role" for _ in members)
    for name in sorted(TENANT_TABLES):
        for right in ("TRUNCATE", "REFERENCES", "TRIGGER"):
            if connection.execute("SELECT has_table_privilege('reedbed_service', %s, %s)", [name, right]).fetchone()[0]:
                yield f"the service may {right} {name}"


def _function_faults(connection):
    """What a trigger runs with the rights of whoever writes is no way in, and is left out."""
    rows = connection.execute(
        "SELECT proname, prosecdef, proconfig::text, has_function_privilege('public', oid, 'EXECUTE'), pg_get_userbyid(proowner) "
        "FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND (prosecdef OR prorettype <> 'trigger'::regtype)"
    ).fetchall()
    if {row[0] for row in rows} != DOOR_FUNCTIONS:
        yield f"there are other functions: {sorted(row[0] for row in rows)}"
    for name, definer, settings, anybodys, owner in rows:
        if definer and settings != '{"search_path=public, pg_temp"}':
            yield f"{name} has no fixed search path"
        if anybodys:
            yield f"{name} may be run by anybody"
        if owner != "reedbed_owner":
            yield f"{name} is owned by {owner}"


def _key_faults(connection):
    keys = connection.execute(
        "SELECT conname, confrelid::regclass::text, "
        "(SELECT attname FROM pg_attribute WHERE attrelid = conrelid AND attnum = conkey[1]), "
        "(SELECT attname FROM pg_attribute WHERE attrelid = confrelid AND attnum = confkey[1]) FROM pg_constraint WHERE contype = 'f'"
    ).fetchall()
    for name, to, column, referred in keys:
        if (column, referred) != ("organisation_id", "id" if to == "organisation" else "organisation_id"):
            yield f"{name} may point at another organisation's row"
    indexes = connection.execute(
        "SELECT indexrelid::regclass::text, indrelid::regclass::text, "
        "(SELECT attname FROM pg_attribute WHERE attrelid = indrelid AND attnum = indkey[0]) "
        "FROM pg_index JOIN pg_class ON pg_class.oid = indrelid WHERE indisunique AND relnamespace = 'public'::regnamespace"
    ).fetchall()
    for name, table, first in indexes:
        own = "id" if table == "organisation" else "organisation_id"
        if table != "alembic_version" and first != own and name not in ACROSS_ORGANISATIONS:
            yield f"{name} is unique across organisations"


def test_the_catalogue_keeps_every_promise(catalogue):
    assert faults_of(catalogue) == []


@pytest.mark.parametrize(
    ("spoilt", "fault"),
    [
        ("ALTER TABLE animal DISABLE ROW LEVEL SECURITY", "animal is not forced"),
        ("ALTER TABLE animal NO FORCE ROW LEVEL SECURITY", "animal is not forced"),
        ("CREATE TABLE keeper (organisation_id bigint, id uuid)", "keeper is unknown here"),
        ("DROP POLICY own_organisation ON animal", "animal has other policies"),
        ("CREATE POLICY more ON animal FOR SELECT USING (true)", "animal has other policies"),
        ("ALTER POLICY own_organisation ON animal WITH CHECK (true)", "animal has other policies"),
        ("ALTER POLICY at_the_door ON api_key TO PUBLIC", "api_key has other policies"),
        ("GRANT TRUNCATE ON animal TO reedbed_service", "the service may TRUNCATE animal"),
        ("ALTER TABLE animal OWNER TO reedbed_service", "the service owns animal"),
        ("CREATE VIEW every_animal AS SELECT * FROM animal", "every_animal is a view with its owner's rights"),
        ("CREATE MATERIALIZED VIEW every_animal AS SELECT * FROM animal", "every_animal is a view with its owner's rights"),
        ("ALTER FUNCTION key_at_the_door(text) RESET search_path", "key_at_the_door has no fixed search path"),
        ("GRANT EXECUTE ON FUNCTION organisation_directory() TO PUBLIC", "organisation_directory may be run by anybody"),
        ("CREATE FUNCTION more() RETURNS int LANGUAGE sql AS 'SELECT 1'", "more may be run by anybody"),
        ("CREATE UNIQUE INDEX uq_tag ON animal (tag_key)", "uq_tag is unique across organisations"),
        (
            "ALTER TABLE key_use ADD CONSTRAINT loose FOREIGN KEY (last_used_at) REFERENCES at_all (id) NOT VALID",
            "loose may point at another organisation's row",
        ),
    ],
)
def test_a_promise_that_is_broken_is_found(catalogue, spoilt, fault):
    catalogue.execute(
        "CREATE SCHEMA elsewhere; CREATE TABLE elsewhere.at_all (id timestamptz PRIMARY KEY); SET search_path = public, elsewhere"
    )
    catalogue.execute(spoilt)

    assert fault in faults_of(catalogue)


@pytest.mark.parametrize("name", ["NOSUPERUSER BYPASSRLS", "SUPERUSER"])
def test_a_role_that_goes_past_the_policies_is_found(catalogue, name):
    catalogue.execute(f"ALTER ROLE reedbed_service {name}")
    found = faults_of(catalogue)
    catalogue.rollback()

    assert "the service may go past the policies" in found


@pytest.mark.parametrize(
    "trick",
    [
        "SET row_security = off",
        "SET ROLE reedbed_owner",
        "SET SESSION AUTHORIZATION reedbed_owner",
        "RESET reedbed.organisation",
        "SET reedbed.organisation = ''",
        "SET reedbed.organisation = '0'",
        "SET reedbed.organisation = 'all'",
        "SET reedbed.organisation = '1 OR 1=1'",
        "DISCARD ALL",
        "SELECT 1",
    ],
)
def test_no_trick_of_a_session_shows_a_row_that_was_not_asked_for(postgres_place, trick):
    with postgres_place.copied() as (url, _), psycopg.connect(dsn(url), autocommit=True, prepare_threshold=None) as connection:
        for name in sorted(TENANT_TABLES):
            with suppress(psycopg.errors.InsufficientPrivilege, psycopg.errors.InvalidTextRepresentation):
                connection.execute(trick)
                assert _count(connection, name) == 0, name


def _count(connection, table):
    return connection.execute(SQL("SELECT count(*) FROM {}").format(Identifier(table))).fetchone()[0]


def test_what_the_owner_reads_is_guarded_as_well(postgres_place):
    with postgres_place.copied() as (url, _):
        owner = dsn(url).replace("reedbed_service", "reedbed_owner")
        with psycopg.connect(owner, autocommit=True) as connection:
            counts = {name: _count(connection, name) for name in TENANT_TABLES}

    assert {name for name, count in counts.items() if count} == {"api_key", "organisation"}


def furnished(store):
    """Return the connections that a SQLite store reads, writes and takes snapshots on, each told of one organisation."""
    store._written.organisation_id = A
    store._read_of.organisation_id = A
    connection, whose = store._spare[-1]
    whose.organisation_id = A
    return {"writing": store._writer, "reading": store._reader, "snapshot": connection}


def guards_of(connection):
    """Return the temporary views and triggers of a connection."""
    found = connection.execute("SELECT type, name, tbl_name FROM temp.sqlite_master").fetchall()
    return {name for kind, name, _ in found if kind == "view"}, {(name, table) for kind, name, table in found if kind == "trigger"}


@pytest.fixture
def connections(sqlite_place):
    """Yield a SQLite store's three connections."""
    with sqlite_place.store() as store, serving(store) as service:
        service.caller(sqlite_place.world.ours.key).get("/v1/sites")
        service.caller(sqlite_place.world.ours.key).get("/v1/replacements")
        yield furnished(store)


def test_every_table_is_guarded_on_every_connection(connections):
    for name, connection in connections.items():
        views, triggers = guards_of(connection)
        assert views == TENANT_TABLES, name
        assert triggers == {(f"{table}_own_{act}", table) for table in TENANT_TABLES for act in ("insert", "update", "delete")}, name


def test_a_guard_that_is_missing_is_found(connections):
    connection = connections["writing"]
    before = guards_of(connection)
    connection.execute("DROP TRIGGER animal_own_update")
    connection.execute("DROP VIEW enclosure")

    assert guards_of(connection)[0] == TENANT_TABLES - {"enclosure"}
    assert before[1] - guards_of(connection)[1] == {("animal_own_update", "animal")}


def test_every_view_shows_one_organisation_and_every_connection_only_its_own_may_write(connections):
    for name, connection in connections.items():
        for table in metadata.sorted_tables:
            owners = {row[0] for row in connection.execute(str(sa.select(table.c[owner_column(table)])))}
            assert owners <= {A}, (name, table.name)
    for name in ("reading", "snapshot"):
        with pytest.raises(Exception, match="readonly"):
            connections[name].execute("UPDATE main.site SET note = 'x'")


@pytest.mark.parametrize(
    "theft",
    [
        STOLEN,
        "UPDATE main.site SET organisation_id = {ours} WHERE organisation_id = {theirs}",
        "UPDATE main.site SET organisation_id = {theirs}",
        PUSHED_OUT,
        "UPDATE main.site SET note = 'x'",
        "DELETE FROM main.key_use",
        "DELETE FROM main.forecast",
        "INSERT INTO main.key_use SELECT {theirs}, key_id, last_used_at FROM main.key_use WHERE organisation_id = {ours}",
    ],
)
def test_no_statement_of_sqlites_steals_spoils_or_plants_a_row(sqlite_place, theft):
    rest = ", ".join(column.name for column in metadata.tables["api_key"].columns if column.name not in {"organisation_id", "id"})
    with sqlite_place.store() as store:
        for number in (B, A):
            store._written.organisation_id = number
            store._writer.execute("INSERT OR IGNORE INTO main.key_use SELECT organisation_id, id, '' FROM api_key LIMIT 1")
        before = _theirs(store)
        with pytest.raises(Exception, match="another organisation"):
            store._writer.execute(theft.format(ours=A, theirs=B, rest=rest))
        assert _theirs(store) == before
        assert all(before.values())


def _theirs(store):
    """Return their rows as they lie in the file, past the views."""
    return {
        name: store._writer.execute(f"SELECT * FROM main.{name} WHERE organisation_id = ?", [B]).fetchall()  # noqa: S608 - our names
        for name in ("api_key", "key_use", "site", "forecast")
    }


def known_statements():
    """Return every statement that the product has made by now, with those that are made for each kind of record."""
    for record in all_records():
        lists.one(record)
        lists.page(record, filters=frozenset(), period=lists.Period.ANY)
        verify._first_page_of(record)
    return [it for it in _held_by_the_product() if isinstance(it, Statement) and _is_ours(it)]


def _held_by_the_product():
    """Yield what the product's modules hold, in tables and in the caches of functions; what tests have made meanwhile is not there."""
    modules = [module for name, module in sys.modules.items() if name.partition(".")[0] in {"api", "domain", "seed"}]
    waiting, seen = [vars(module) for module in modules], set()
    while waiting:
        held = waiting.pop()
        if id(held) in seen:
            continue
        seen.add(id(held))
        yield held
        if isinstance(held, dict | list | tuple | set | frozenset | type(_is_ours)) or type(held).__module__ == "functools":
            waiting.extend(gc.get_referents(held))


def _is_ours(statement):
    tables = {str(table.name) for table in sa.sql.visitors.iterate(statement.statement) if isinstance(table, sa.Table)}
    return not tables or tables <= TENANT_TABLES


@pytest.fixture
def every_statement(place):
    """Return every statement, after everything was asked once."""
    with place.store() as store, serving(store) as service:
        service.caller(place.world.ours.key).get("/v1/replacements")
    return known_statements()


def test_no_statement_reads_behind_the_view_and_every_one_that_writes_does(every_statement):
    assert len(every_statement) > 150
    for statement in every_statement:
        text = statement.on("sqlite").sql if not _only_postgres(statement) else ""
        assert not re.search(r"^\s*SELECT\b.*\bmain\.", text, flags=re.DOTALL), text
        assert not re.search(r"\b(REPLACE INTO|OR REPLACE|ATTACH|PRAGMA)\b", text), text
        assert not re.match(r"(INSERT|UPDATE|DELETE)", text) or re.match(r"(INSERT INTO|UPDATE|DELETE FROM) main\.", text), text


def _only_postgres(statement):
    return (
        any(
            type(one).__name__ == "OnConflictDoUpdate" and type(one).__module__.endswith("postgresql.dml")
            for one in sa.sql.visitors.iterate(statement.statement)
        )
        or "postgresql" in type(statement.statement).__module__
    )


def test_every_statement_tells_whose_its_rows_are_or_has_none(every_statement):
    """What inserts is held to its parameter; what reads before it is known for whom is said to be open."""
    for statement in every_statement:
        if isinstance(statement, OpenStatement) or isinstance(statement.statement, sa.Insert):
            continue
        tables = [it for it in sa.sql.visitors.iterate(statement.statement) if isinstance(it, sa.Table)]
        compiled = statement.on("postgresql")
        assert compiled.telling is not None or not tables, compiled.sql
        if tables:
            names = {name for name, _ in compiled.parameters} & {"organisation_id", "at_organisation_id", "at_id"}
            assert names, f"no organisation is asked for: {compiled.sql}"


def test_open_statements_are_those_of_the_door_and_of_the_backup(every_statement):
    tables = {
        str(table.name)
        for statement in every_statement
        if isinstance(statement, OpenStatement) and not any(name == "organisation_id" for name, _ in statement.on("postgresql").parameters)
        for table in sa.sql.visitors.iterate(statement.statement)
        if isinstance(table, sa.Table)
    }

    assert tables == {"api_key", "organisation"}


def test_all_keys_and_names_of_the_models_begin_with_the_organisation():
    for table in metadata.sorted_tables:
        unique = [index for index in table.indexes if index.unique] + [
            it for it in table.constraints if isinstance(it, sa.UniqueConstraint)
        ]
        for one in [*unique, table.primary_key]:
            assert next(iter(one.columns)).name == owner_column(table) or one.name in ACROSS_ORGANISATIONS, one.name
        for key in table.foreign_key_constraints:
            assert key.column_keys[0] == "organisation_id"
            assert key.elements[0].column.name == owner_column(key.referred_table)
    assert {table_of(record).name for record in all_records()} <= TENANT_TABLES
