"""Stores of which some of the three layers that keep organisations apart are taken away, so that each can be seen to stand alone.

The layers: the predicate in every statement; the guard on what a statement tells of whose its rows are; the database itself. On PostgreSQL
the database's layer is taken away by signing in as a role that row-level security does not hold.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import make_url

from domain.records.engine import PostgresStore, SqliteStore, Store
from domain.records.statements import Compiled, Row, Statement
from domain.records.tables import make_ready
from domain.records.tenancy import Whose

_OWN = re.compile(r"(\b(?:\w+\.)*(?:organisation_id|id)) = $")
_OWN_NAMES = frozenset({"organisation_id", "at_organisation_id"})
_NAMED = re.compile(r"(\b(?:\w+\.)*(?:organisation_id|id)) = (%\((?:at_)?organisation_id\)s(?:::\w+)?)")
_OTHER_COMPARISON = re.compile(r"(?:=|<|>|<=|>=|\bIN\b|\bEXISTS\b) ")


@dataclass(frozen=True, slots=True)
class Layers:
    """Which of the three layers are there. ``open_for`` limits the loss of the predicate to the statements it says yes to."""

    name: str
    predicate: bool = True
    guard: bool = True
    database: bool = True
    open_for: Callable[[Statement], bool] | None = None

    def __str__(self) -> str:
        return self.name


ALL = Layers("all layers")
PREDICATE = Layers("the predicate alone", guard=False, database=False)
DATABASE = Layers("the database alone", predicate=False, guard=False)
GUARD = Layers("the guard alone", predicate=False, database=False)
NONE = Layers("no layer", predicate=False, guard=False, database=False)


class Blind(Compiled):
    """A statement whose rows nobody looks at: whosever they are, they go on."""

    __slots__ = ()

    def own(self, rows: list[Row], organisation_id: int) -> list[Row]:  # noqa: ARG002 - what it does not look at
        """Return all rows without the column that tells whose they are."""
        return rows if self.telling is None else [row[:-1] for row in rows]


def compiled_with(layers: Layers, statement: Statement, compiled: Compiled) -> Compiled:
    """Return a statement as it is run where some layers are missing."""
    if not layers.predicate and (layers.open_for is None or layers.open_for(statement)):
        compiled = replace(compiled, sql=without_predicate(compiled))
    if layers.guard:
        return compiled
    facts = {name: getattr(compiled, name) for name in Compiled.__slots__}
    return Blind(**{**facts, "owner": None})


def without_predicate(compiled: Compiled) -> str:
    """Return a statement's text in which every comparison with the organisation is always true; its parameters stay what they were.

    A statement that writes and says nothing else about which rows it writes keeps its comparison, because without it nobody could write
    anything; ``test_layers.py`` looks at these one by one.
    """
    opened = _opened(compiled)
    if compiled.owner is not None and only_by_organisation(compiled):
        return compiled.sql
    return opened


def only_by_organisation(compiled: Compiled) -> bool:
    """Return whether a writing statement says nothing but the organisation about which rows it writes."""
    _, _, condition = compiled.sql.partition(" WHERE ")
    condition = condition.partition(" RETURNING ")[0]
    return bool(condition) and len(_OTHER_COMPARISON.findall(condition)) == 1


def _opened(compiled: Compiled) -> str:
    if compiled.positions is None:
        return _NAMED.sub(r"(\1 = \2 OR 1 = 1)", compiled.sql)
    pieces = compiled.sql.split("?")
    for place, name in enumerate(compiled.positions):
        compared = _OWN.search(pieces[place])
        if name in _OWN_NAMES and compared is not None:
            pieces[place] = f"{pieces[place][: compared.start()]}({compared[0]}"
            pieces[place + 1] = f" OR 1 = 1){pieces[place + 1]}"
    return "?".join(pieces)


class LayeredSqlite(SqliteStore):
    """A SQLite store with some of the layers."""

    def __init__(self, path: Path, *, layers: Layers) -> None:
        self.layers = layers
        self.known: dict[Statement, Compiled] = {}
        super().__init__(path)

    def furnish(self, connection: Any) -> Whose:
        """Put guards on a connection, if they are among the layers."""
        return super().furnish(connection) if self.layers.database else Whose()

    def compiled(self, statement: Statement) -> Compiled:
        """Return a statement as it is run here."""
        found = self.known.get(statement)
        if found is None:
            found = self.known[statement] = compiled_with(self.layers, statement, super().compiled(statement))
        return found


class LayeredPostgres(PostgresStore):
    """A PostgreSQL store with some of the layers."""

    def __init__(self, url: Any, *, pool_size: int, layers: Layers) -> None:
        self.layers = layers
        self.known: dict[Statement, Compiled] = {}
        super().__init__(url, pool_size=pool_size)

    def compiled(self, statement: Statement) -> Compiled:
        """Return a statement as it is run here."""
        found = self.known.get(statement)
        if found is None:
            found = self.known[statement] = compiled_with(self.layers, statement, super().compiled(statement))
        return found


def open_layered(url: str, layers: Layers) -> Store:
    """Return a store with some of the layers. On PostgreSQL the URL has to be a superuser's where the database is not among them."""
    make_ready()
    target = make_url(url)
    if target.get_backend_name() == "sqlite":
        return LayeredSqlite(Path(target.database or ""), layers=layers)
    return LayeredPostgres(target, pool_size=4, layers=layers)
