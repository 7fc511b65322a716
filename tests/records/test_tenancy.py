"""What guards a SQLite connection: it shows one organisation's rows, takes no other's, and nobody's until it is told."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
import sqlalchemy as sa
from sqlalchemy.dialects import sqlite

from domain.records.base import metadata, table_of
from domain.records.engine import Store
from domain.records.sites import Site
from domain.records.statements import ForeignRow, Statement
from domain.records.tenancy import REFUSAL, TELL_POSTGRES, Whose, furnish, owner_column, tenant_tables
from tests import makers

OURS, THEIRS = 1, 2
FILLED = """
    INSERT INTO main.organisation (id, name, base_currency, created_at) VALUES (1, 'Ours', 'EUR', ''), (2, 'Theirs', 'EUR', '');
    INSERT INTO main.journal_head (organisation_id, position, hash) VALUES (1, 0, 'a'), (2, 0, 'b');
"""


def schema(*left_out):
    """Return the statements that make the tables, as the models have them."""
    return [str(sa.schema.CreateTable(table).compile(dialect=sqlite.dialect())) for table in tenant_tables() if table.name not in left_out]


@pytest.fixture
def connection():
    with closing(sqlite3.connect(":memory:")) as opened:
        for statement in schema():
            opened.execute(statement)
        opened.executescript(FILLED)
        yield opened


def told(connection, organisation_id):
    """Return the connection, furnished and told of an organisation."""
    furnish(connection).organisation_id = organisation_id
    return connection


def lying(connection):
    """Return everybody's rows as they lie behind the views."""
    return [connection.execute(f"SELECT * FROM main.{name}").fetchall() for name in ("organisation", "journal_head")]  # noqa: S608 - our names


@pytest.mark.parametrize(("organisation_id", "names"), [(OURS, ["Ours"]), (THEIRS, ["Theirs"]), (3, [])])
def test_a_connection_shows_the_rows_of_the_organisation_that_it_is_told(connection, organisation_id, names):
    found = told(connection, organisation_id)

    assert [name for (name,) in found.execute("SELECT name FROM organisation")] == names
    assert found.execute("SELECT count(*) FROM journal_head").fetchone() == (len(names),)


def test_a_connection_that_is_told_nothing_shows_and_takes_nothing(connection):
    furnish(connection)

    assert Whose().organisation_id == 0
    assert connection.execute("SELECT count(*) FROM organisation").fetchone() == (0,)
    with pytest.raises(sqlite3.IntegrityError, match=REFUSAL):
        connection.execute("UPDATE main.organisation SET name = 'x'")


def test_whose_rows_are_shown_may_be_told_anew(connection):
    whose = furnish(connection)
    seen = []
    for whose.organisation_id in (OURS, THEIRS):
        seen += connection.execute("SELECT organisation_id, hash FROM journal_head").fetchall()

    assert seen == [(OURS, "a"), (THEIRS, "b")]


@pytest.mark.parametrize(
    "act",
    [
        "INSERT INTO main.journal_head (organisation_id, position, hash) VALUES (3, 0, '')",
        "INSERT INTO main.organisation (id, name, base_currency, created_at) VALUES (3, 'Third', 'EUR', '')",
        "UPDATE main.journal_head SET hash = '' WHERE organisation_id = 2",
        "UPDATE main.journal_head SET organisation_id = 3 WHERE organisation_id = 1",
        "UPDATE main.journal_head SET organisation_id = 1 WHERE organisation_id = 2",
        "UPDATE main.organisation SET id = 3 WHERE id = 1",
        "DELETE FROM main.journal_head WHERE organisation_id = 2",
        "DELETE FROM main.organisation",
    ],
)
def test_no_row_of_another_organisation_is_written(connection, act):
    before = lying(connection)
    with pytest.raises(sqlite3.IntegrityError) as refused:
        told(connection, OURS).execute(act)

    assert str(refused.value) == REFUSAL == "a row of another organisation"
    assert lying(connection) == before


@pytest.mark.parametrize(
    "act",
    [
        "INSERT INTO main.journal_private (organisation_id, position, part, field) VALUES (1, 1, 'after', 'name')",
        "UPDATE main.journal_head SET hash = 'c' WHERE organisation_id = 1",
        "DELETE FROM main.journal_head WHERE organisation_id = 1",
    ],
)
def test_rows_of_the_own_organisation_are_written(connection, act):
    assert told(connection, OURS).execute(act).rowcount == 1


def test_every_table_of_the_schema_is_guarded(connection):
    furnish(connection)

    found = set(connection.execute("SELECT type, name FROM temp.sqlite_master").fetchall())
    names = {table.name for table in metadata.sorted_tables}
    triggers = {("trigger", f"{name}_own_{act}") for name in names for act in ("insert", "update", "delete")}
    assert found == {("view", name) for name in names} | triggers


def test_a_table_that_the_schema_does_not_have_yet_gets_no_triggers():
    with closing(sqlite3.connect(":memory:")) as early:
        for statement in schema("journal_checkpoint"):
            early.execute(statement)
        furnish(early)

        triggers = early.execute("SELECT tbl_name FROM temp.sqlite_master WHERE type = 'trigger'").fetchall()
    assert {name for (name,) in triggers} == {table.name for table in metadata.sorted_tables} - {"journal_checkpoint"}


@pytest.mark.parametrize("table", metadata.sorted_tables, ids=str)
def test_each_table_says_whose_its_rows_are_and_the_organisations_are_their_own(table):
    assert owner_column(table) == ("id" if table.name == "organisation" else "organisation_id")
    assert owner_column(table) in table.c


def test_postgresql_is_told_a_number_and_nothing_else():
    assert TELL_POSTGRES.format(local="LOCAL", organisation_id=7) == "SET LOCAL reedbed.organisation = '7'"
    with pytest.raises(ValueError, match="format code"):
        TELL_POSTGRES.format(local="LOCAL", organisation_id="7' OR 'x' = 'x")


NOTE = Statement(
    sa.update(table_of(Site)).where(table_of(Site).c.organisation_id == sa.bindparam("at_organisation_id")).values(note=sa.bindparam("new"))
)


@pytest.mark.usefixtures("organisation")
def test_a_unit_writes_for_no_other_organisation_whatever_it_is_given(store: Store) -> None:
    makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Other")
    with store.transaction(makers.origin()) as unit:
        made = makers.site(unit)
        with pytest.raises(ForeignRow) as one:
            unit.run(NOTE, at_organisation_id=makers.OTHER_ORGANISATION, new="x")
        with pytest.raises(ForeignRow) as many:
            unit.run_many(NOTE, [{"at_organisation_id": makers.OTHER_ORGANISATION, "new": "x"}])
        with pytest.raises(ForeignRow) as added:
            unit.add(made.model_copy(update={"organisation_id": makers.OTHER_ORGANISATION}), action="register_site")
        changed = unit.run(NOTE, at_organisation_id=makers.ORGANISATION, new="wet")
        unit.run_many(NOTE, [{"at_organisation_id": makers.ORGANISATION, "new": "dry"}])

        assert unit.fetch(Site, made.id).note == "dry"
    assert changed == 1
    sentence = f"a row of organisation {makers.OTHER_ORGANISATION} in a unit of {makers.ORGANISATION}"
    assert {str(refused.value) for refused in (one, many, added)} == {sentence}
