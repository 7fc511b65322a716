"""Nothing is written past the journal: every statement of the product that writes is on a table that is not journalled, with a reason.

The product's source is walked for whatever can reach a database: what is run on a unit or a cursor, statements that are built when they are
needed, and SQL as text. What is found has to be in the reviewed tables below, and what is in them has to be found.
"""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from domain.records.base import all_records, metadata, table_of
from domain.records.sites import Site
from domain.records.statements import Statement
from tests import makers
from tests.behind import proven

HOUSE = Path(__file__).parents[1]
PRODUCT = ("api", "domain", "reports", "seed")

NOT_JOURNALLED = {
    "account_secret": "hashes of passwords and codes belong in no journal; that one was set or voided is an entry of its account",
    "forecast": "derived: the records give it again at any time",
    "idempotency": "answers that were given, kept in the transaction of what they are about",
    "import_file": "kept until its import has ended; the import's entries have its hash",
    "journal": "the journal itself",
    "journal_checkpoint": "signs the journal",
    "journal_head": "the end of the journal",
    "journal_private": "what the journal holds hashes of",
    "key_use": "when a key was last used, to the hour",
    "reading_log": "who read what: append-only, in no chain",
    "report_file": "the forms of a paper, kept with the entry of the paper, which has their hash",
    "sign_in_session": "sessions begin, are seen and end by themselves, and are no records",
}
WITH_THEIR_ENTRY = {
    "domain.actions.organisations.ADD_ORGANISATION": "create_organisation notes the first entry beside it",
}
"""Statements on what is journalled, each beside the entry that it leaves."""

RUN_OTHERWISE = {
    "domain/records/unit.py:Unit.add_many": "add_many: the rows' entries are collected beside it",
    "domain/records/unit.py:Unit._changed": "change and leave: the entry is collected beside it",
    "domain/records/unit.py:Unit.run_many": "the way itself",
    "domain/records/unit.py:Unit._executed": "the way itself",
    "domain/records/unit.py:Unit.hold_still": "a setting of the transaction",
    "domain/records/unit.py:Unit.take_time": "a setting of the transaction",
    "domain/records/unit.py:Unit.plan_anew": "has the database count rows",
    "domain/records/unit.py:Unit.attempt": "begins and ends a part of the transaction; what is undone loses its entries as well",
    "domain/records/engine.py:SqliteStore._connected": "settings of a connection",
    "domain/records/engine.py:SqliteStore.transaction": "the transaction's begin and end",
    "domain/records/engine.py:SqliteStore.snapshot": "the transaction's begin and end, on a connection that cannot write",
    "domain/records/engine.py:SqliteStore._read": "on a connection that cannot write",
    "domain/records/engine.py:SqliteStore._enter": "on a connection that cannot write",
    "domain/records/engine.py:SqliteStore._furnished_reader": "a setting of a connection",
    "domain/records/engine.py:PostgresStore.transaction": "settings of the transaction",
    "domain/records/engine.py:PostgresStore.snapshot": "settings of a transaction that cannot write",
    "domain/records/engine.py:PostgresStore.read": "statements that read",
    "domain/records/engine.py:PostgresStore._entered": "statements that read",
    "domain/records/engine.py:PostgresStore.organisations": "a statement that reads",
    "domain/records/tenancy.py:furnish": "temporary views and triggers of a connection",
    "domain/records/outlooks/packed.py:site_columns": "statements that read",
    "api/filing/attachments.py:attachment_in": "starts the reader of PDFs, which has no database",
    "domain/actions/retention.py:_let_go_of": "letting go: the last entry is noted beside it",
}
BUILT_WHEN_NEEDED = {
    "domain/records/unit.py:_insert": "add and add_many",
    "domain/records/unit.py:_update": "change and leave",
    "domain/actions/night.py:_keep_forecast": "forecasts are derived",
    "domain/actions/retention.py:_removals": "letting go: the last entry is noted beside it",
}
NO_DATABASE = {
    "api/commands/serving.py": "the server is run; settings of the database are asked for",
    "api/wire.py": "the server is run",
    "api/sealing.py": "what signs is run",
    "api/routes/health.py": "asks how the database is",
    "domain/records/backups": "reads for a backup, and restores organisations with their journals, which are proved before the commit",
}
"""Files whose every use was read: none writes a record."""

WAYS = {"run", "run_many", "execute", "executemany", "executescript", "copy"}
BUILDERS = {f"{of}{act}" for of in ("", "sa.", "sqlite.", "postgresql.") for act in ("insert", "update", "delete")}
WRITING_SQL = re.compile(r"\s*(INSERT|UPDATE|DELETE|REPLACE|MERGE|TRUNCATE|COPY|DROP)\s", re.IGNORECASE)


class Found(ast.NodeVisitor):
    """What in a file can write: calls with their first argument, statements built within functions, and SQL as text."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.within: list[str] = []
        self.calls: list[tuple[str, str]] = []
        self.built: list[str] = []
        self.texts: list[str] = []

    @property
    def place(self) -> str:
        return f"{self.file}:{'.'.join(self.within)}"

    def _enter(self, node: ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef) -> None:
        self.within.append(node.name)
        self.generic_visit(node)
        self.within.pop()

    visit_FunctionDef = visit_ClassDef = visit_AsyncFunctionDef = _enter  # noqa: N815 - as ast names them

    def visit_Call(self, node: ast.Call) -> None:
        if isinstance(node.func, ast.Attribute) and node.func.attr in WAYS and node.args:
            self.calls.append((self.place, ast.unparse(node.args[0])))
        if self.within and ast.unparse(node.func) in BUILDERS:
            self.built.append(self.place)
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, str) and WRITING_SQL.match(node.value):
            self.texts.append(self.place)


def found_in(source: str, *, file: str) -> Found:
    """Return what in a source can write. Docstrings say nothing to a database and are left out."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [one for one in body if not (isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant))]  # type: ignore[attr-defined]
    found = Found(file)
    found.visit(tree)
    return found


def files() -> Iterator[Path]:
    for folder in PRODUCT:
        yield from sorted((HOUSE / folder).rglob("*.py"))


def module_of(file: str) -> Any:
    return importlib.import_module(file.removesuffix(".py").removesuffix("/__init__").replace("/", "."))


def tables_written(named: str, module: Any) -> set[str] | None:
    """Return the tables that a statement writes which a module knows by a name; ``None`` where the name is of something else."""
    try:
        known = eval(named.partition("[")[0], dict(vars(module)))  # noqa: S307 - names in our own source
    except (NameError, AttributeError, SyntaxError):
        return None
    statements = list(known.values()) if isinstance(known, Mapping) else [known]
    if not statements or not all(isinstance(one, Statement) for one in statements):
        return None
    return {one.statement.table.name for one in statements if one.statement.is_dml}


def everything() -> list[Found]:
    found = [found_in(path.read_text(encoding="utf-8"), file=str(path.relative_to(HOUSE))) for path in files()]
    return [one for one in found if not any(one.file.startswith(place) for place in NO_DATABASE)]


def unreviewed(found: Found) -> list[str]:
    """Return what in a file can write past the journal and was not reviewed."""
    calls = [f"{place}({named})" for place, named in found.calls if place not in RUN_OTHERWISE and not _is_reviewed(named, found.file)]
    built = [place for place in found.built if place not in BUILT_WHEN_NEEDED]
    return [*calls, *built, *found.texts]


def _is_reviewed(named: str, file: str) -> bool:
    """Return whether what is run is a statement known by its name, which writes nothing that is journalled or does so beside an entry."""
    module = module_of(file)
    tables = tables_written(named, module)
    if tables is None:
        return False
    return tables <= NOT_JOURNALLED.keys() or f"{module.__name__}.{named}" in WITH_THEIR_ENTRY


def test_no_statement_of_the_product_writes_past_the_journal():
    assert [one for found in everything() for one in unreviewed(found)] == []


def test_every_statement_known_by_a_name_writes_only_what_is_not_journalled():
    wrong = []
    for path in files():
        module = module_of(str(path.relative_to(HOUSE)))
        for name in vars(module):
            tables = tables_written(name, module) or set()
            if tables - NOT_JOURNALLED.keys() and f"{module.__name__}.{name}" not in WITH_THEIR_ENTRY:
                wrong.append(f"{module.__name__}.{name}")
    assert wrong == []


def test_every_table_is_either_journalled_or_has_a_reason():
    journalled = {record.__tablename__ for record in all_records()} | {"organisation"}

    assert set(metadata.tables) == journalled | NOT_JOURNALLED.keys()
    assert journalled & NOT_JOURNALLED.keys() == set()


def test_what_was_reviewed_is_still_there():
    found = everything()
    assert {place for one in found for place, _ in one.calls} >= RUN_OTHERWISE.keys()
    assert {place for one in found for place in one.built} == BUILT_WHEN_NEEDED.keys()
    assert all((HOUSE / place).exists() for place in NO_DATABASE)


SNEAKY = {
    "a statement on a record's table": "def sneak(unit):\n    unit.run(SNEAK, note='x')\n",
    "SQL as text": "def sneak(unit):\n    unit.cursor.execute('UPDATE site SET note = 1', {})\n",
    "a statement built on the spot": "def sneak(unit):\n    unit.run(Statement(sa.update(site)))\n",
    "many rows": "def sneak(unit, rows):\n    unit.run_many(SNEAK, rows)\n",
}


@pytest.mark.parametrize("source", SNEAKY.values(), ids=SNEAKY.keys())
def test_a_write_past_the_unit_would_be_found_in_the_source(source):
    assert unreviewed(found_in(source, file="domain/actions/sites.py")) != []


SNEAK = Statement(
    sa.update(table_of(Site)).where(table_of(Site).c.organisation_id == sa.bindparam("at_organisation_id")).values(note="sneaked in")
)


@pytest.mark.usefixtures("organisation")
def test_a_write_past_the_unit_is_found_by_the_proof(store):
    with store.transaction(makers.origin()) as unit:
        makers.site(unit)
    assert proven(store).flaws == []

    with store.transaction(makers.origin()) as unit:
        unit.run(SNEAK, at_organisation_id=unit.organisation_id)

    (flaw,) = proven(store).flaws
    assert flaw.sentence.endswith("is not what the journal says it is: note.")
