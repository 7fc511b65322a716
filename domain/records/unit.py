"""One transaction: what it reads, what it changes, and the journal entries that its changes leave.

Records are written only through ``add``, ``add_many``, ``change`` and ``leave``; each of these leaves its entry, so no action forgets one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import date
from functools import cache
from typing import Any, Protocol, TypeVar
from uuid import UUID

import sqlalchemy as sa
from sqlmodel import SQLModel

from domain.errors import NotFound
from domain.records import journal
from domain.records.base import Record, columns_of, row_of, table_of
from domain.records.belonging import refuse_beyond_reach
from domain.records.statements import Compiled, DialectName, ForeignRow, Parameters, Row, Statement
from domain.rules.identifiers import ids_at
from domain.rules.permissions import Reach

R = TypeVar("R", bound=Record)
S = TypeVar("S", bound=SQLModel)


LONGER: Mapping[str, str] = {"statement_timeout": "10min", "lock_timeout": "1min", "idle_in_transaction_session_timeout": "10min"}
"""What a transaction may take on PostgreSQL that is no request's."""


class Overtaken(Exception):  # noqa: N818 - an event between transactions, not a defect
    """Another transaction changed the same record first; the whole unit is to be run again."""


class Cursor(Protocol):
    """What both drivers' cursors can do."""

    rowcount: int
    connection: Any

    def execute(self, sql: str, parameters: Parameters, /) -> object: ...  # noqa: D102
    def executemany(self, sql: str, parameters: Sequence[Parameters], /) -> object: ...  # noqa: D102
    def fetchall(self) -> list[Any]: ...  # noqa: D102


class Unit:
    """A transaction in progress. ``origin`` says whose records, when, who and by which request."""

    def __init__(
        self,
        cursor: Cursor,
        *,
        dialect: DialectName,
        origin: journal.Origin,
        compiled: Callable[[Statement], Compiled] | None = None,
    ) -> None:
        self.cursor = cursor
        self.dialect: DialectName = dialect
        self.origin = origin
        self.compiled = compiled or (lambda statement: statement.on(dialect))
        self.told_day = date.min
        self._ids = ids_at(origin.at)
        self._changes: list[journal.Change] = []

    @property
    def organisation_id(self) -> int:
        """The organisation whose records these are."""
        return self.origin.organisation_id

    @property
    def unsealed(self) -> int:
        """How many journal entries it has to leave when it is sealed."""
        return len(self._changes)

    def hold_still(self) -> None:
        """Have every later statement of this transaction see one state of the records. To be called before any other statement."""
        if self.dialect == "postgresql":
            self.cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ", {})

    def take_time(self) -> None:
        """Let this transaction, and each statement in it, take longer than a request's may: nights, imports and papers do."""
        for name, value in LONGER.items() if self.dialect == "postgresql" else ():
            self.cursor.execute(f"SET LOCAL {name} = '{value}'", {})

    def plan_anew(self) -> None:
        """Have what follows be planned by what the tables of animals hold now, this transaction's own rows included.

        PostgreSQL counts tables when others have committed, and would read through all that a long transaction has put into empty ones.
        """
        if self.dialect == "postgresql":
            self.cursor.execute("SELECT refresh_statistics()", {})

    @contextmanager
    def attempt(self) -> Iterator[None]:
        """Undo what was written in the block, with its journal entries, where the block raises; the transaction goes on. It nests."""
        unsealed = len(self._changes)
        self.cursor.execute("SAVEPOINT attempt", {})
        try:
            yield
        except BaseException:
            self.cursor.execute("ROLLBACK TO SAVEPOINT attempt", {})
            self.cursor.execute("RELEASE SAVEPOINT attempt", {})
            del self._changes[unsealed:]
            raise
        self.cursor.execute("RELEASE SAVEPOINT attempt", {})

    @contextmanager
    def reaching(self, site_ids: Iterable[UUID | None] | None) -> Iterator[None]:
        """Let what is done in the block reach some sites besides, or (``None``) all that is the organisation's.

        For an act that was found lawful, and hands records over between them or uses what is for all.
        """
        before = self.origin
        if before.reach.site_ids is not None:
            wider = None if site_ids is None else before.reach.site_ids | {one for one in site_ids if one is not None}
            self.origin = replace(before, reach=Reach(wider))
        try:
            yield
        finally:
            self.origin = before

    @contextmanager
    def telling_of(self, day: date) -> Iterator[None]:
        """Let what is told in the block be of a day that a site's clock has not come to: who flies west arrives before they left."""
        before, self.told_day = self.told_day, day
        try:
            yield
        finally:
            self.told_day = before

    def new_id(self) -> UUID:
        """Return the id of a new record."""
        return next(self._ids)

    def rows(self, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Return the rows of a statement as Python values; ``organisation_id`` is given by the unit."""
        compiled = self._executed(statement, parameters)
        return [compiled.python_row(row) for row in self._fetched(compiled)]

    def raw_rows(self, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
        """Return the rows as the driver gives them, for reading very many."""
        return self._fetched(self._executed(statement, parameters))

    def row(self, statement: Statement, **parameters: Any) -> Row | None:  # noqa: ANN401 - column values
        """Return the only row of a statement, ``None`` where there is none."""
        found = self.rows(statement, **parameters)
        return found[0] if found else None

    def named(self, statement: Statement, **parameters: Any) -> list[dict[str, Any]]:  # noqa: ANN401 - column values
        """Return the rows as mappings from column to value."""
        keys = statement.on(self.dialect).keys
        return [dict(zip(keys, row, strict=True)) for row in self.rows(statement, **parameters)]

    def run(self, statement: Statement, **parameters: Any) -> int:  # noqa: ANN401 - column values
        """Run a statement on a table that is not journalled and return how many rows it changed.

        Raises:
            ForeignRow: Some were another organisation's.
        """
        compiled = self._executed(statement, parameters)
        return self.cursor.rowcount if compiled.telling is None else len(self._fetched(compiled))

    def run_many(self, statement: Statement, rows: Sequence[Mapping[str, Any]]) -> None:
        """Run a statement on a table that is not journalled once for each row.

        Raises:
            ForeignRow: Some rows are, or would be, another organisation's.
        """
        compiled = self.compiled(statement)
        if compiled.telling is not None:
            # What tells whose rows were changed cannot be run for many at once.
            for row in rows:
                self.run(statement, **row)
            return
        for row in rows:
            self._refuse_foreign(compiled, row)
        if rows:
            self.cursor.executemany(compiled.sql, [compiled.bound(row) for row in rows])

    def fetch(self, record: type[R], record_id: UUID) -> R:
        """Return a record of this organisation.

        Raises:
            NotFound: There is none; another organisation's is none.
        """
        found = self.find(record, record_id)
        if found is None:
            raise NotFound(f"There is no such {record.noun.replace('_', ' ')}.")
        return found

    def fetch_reached(self, record: type[R], record_id: UUID) -> R:
        """Return a record of this organisation that the origin reaches.

        Raises:
            NotFound: There is none; another organisation's is none.
            NotAllowed: It is at a site that the origin does not reach.
        """
        found = self.fetch(record, record_id)
        refuse_beyond_reach(self, record, row_of(found))
        return found

    def find(self, record: type[R], record_id: UUID) -> R | None:
        """Return a record of this organisation, ``None`` where there is none."""
        return self.first(record, _get(record), id=record_id)

    def first(self, record: type[S], statement: Statement, **parameters: Any) -> S | None:  # noqa: ANN401 - column values
        """Return the first row of a statement over all columns of a table as that table's record."""
        found = self.all(record, statement, **parameters)
        return found[0] if found else None

    def all(self, record: type[S], statement: Statement, **parameters: Any) -> list[S]:  # noqa: ANN401 - column values
        """Return every row of a statement over all columns of a table as that table's records; another organisation's is none."""
        return [record.model_construct(**row) for row in self.named(statement, **parameters)]

    def add(self, record: R, *, action: str) -> R:
        """Insert a record and leave its journal entry.

        Raises:
            NotAllowed: It is at a site that the origin does not reach.
        """
        row = row_of(record)
        refuse_beyond_reach(self, type(record), row)
        self._executed(_insert(type(record)), row)
        self._changes.append(_made(type(record), row, action=action))
        return record

    def add_many(self, record: type[Record], rows: Sequence[Mapping[str, Any]], *, action: str) -> None:
        """Insert many rows of one record class, each with its journal entry.

        Raises:
            NotAllowed: One is at a site that the origin does not reach.
        """
        for row in rows:
            refuse_beyond_reach(self, record, row)
        self.run_many(_insert(record), rows)
        self._changes.extend(_made(record, row, action=action) for row in rows)

    def change(self, record: R, values: Mapping[str, Any], *, action: str, reason: str | None = None) -> R:
        """Change a record's columns, raise its version by one and leave the journal entry; without a difference nothing happens.

        Raises:
            Overtaken: The record's version is not the stored one any more.
            NotAllowed: It is, or would then be, at a site that the origin does not reach.
        """
        differing = self._differing(record, values)
        return self._changed(record, differing, action=action, reason=reason) if differing else record

    def leave(self, record: R, values: Mapping[str, Any], *, action: str, reason: str | None = None) -> R:
        """Change a record as ``change`` does; without a difference its version is raised and the entry left all the same.

        For acts that do more than the record's columns show, such as change its secret.

        Raises:
            Overtaken: The record's version is not the stored one any more.
            NotAllowed: It is, or would then be, at a site that the origin does not reach.
        """
        return self._changed(record, self._differing(record, values), action=action, reason=reason)

    def _differing(self, record: Record, values: Mapping[str, Any]) -> dict[str, Any]:
        old = row_of(record)
        refuse_beyond_reach(self, type(record), old)
        return {name: value for name, value in values.items() if _plain(old[name]) != _plain(value)}

    def _changed(self, record: R, differing: Mapping[str, Any], *, action: str, reason: str | None) -> R:
        old = row_of(record)
        new = {**old, **differing, "version": record.version + 1}
        refuse_beyond_reach(self, type(record), new)
        changed = self.run(
            _update(type(record)),
            **_renamed(new),
            at_organisation_id=self.organisation_id,
            at_id=record.id,
            at_version=record.version,
        )
        if changed != 1:
            raise Overtaken
        before = {name: old[name] for name in differing}
        self._changes.append(
            journal.Change(
                action,
                record.noun,
                record.id,
                record.version + 1,
                before=before,
                after=differing,
                reason=reason,
                personal=record.personal,
            )
        )
        return type(record).model_construct(**new)

    def note(self, change: journal.Change) -> None:
        """Leave the journal entry of a change that ``add`` and ``change`` do not make."""
        self._changes.append(change)

    def seal(self) -> None:
        """Give the collected changes their places in the organisation's chain. Done once, last, before the commit."""
        if not self._changes:
            return
        head = self.row(journal.LOCK_HEAD)
        if head is None:
            raise NotFound("There is no such organisation.")
        position, previous = head
        entries: list[dict[str, Any]] = []
        particulars: list[dict[str, Any]] = []
        for position, change in enumerate(self._changes, start=position + 1):  # noqa: B020 - the position goes on from the head
            hashed, kept = journal.without_particulars(change)
            particulars += ({"organisation_id": self.organisation_id, "position": position, **asdict(one)} for one in kept)
            content = journal.entry_content(hashed, origin=self.origin, position=position, previous=previous)
            previous = journal.entry_hash(content)
            entries.append(self._entry(change, position=position, content=content, hash=previous))
        self.run_many(journal.ADD_ENTRY, entries)
        self.run_many(journal.KEEP_PARTICULAR, particulars)
        self.run(journal.MOVE_HEAD, at_organisation_id=self.organisation_id, new_position=position, new_hash=previous)
        self._changes.clear()

    def _entry(self, change: journal.Change, **rest: Any) -> dict[str, Any]:  # noqa: ANN401 - column values
        return {
            "organisation_id": self.organisation_id,
            "at": self.origin.at,
            "subject": change.subject,
            "subject_id": change.subject_id,
            **rest,
        }

    def _executed(self, statement: Statement, parameters: Mapping[str, Any]) -> Compiled:
        compiled = self.compiled(statement)
        given = {"organisation_id": self.organisation_id, **parameters}
        self._refuse_foreign(compiled, given)
        self.cursor.execute(compiled.sql, compiled.bound(given))
        return compiled

    def _fetched(self, compiled: Compiled) -> list[Row]:
        """Return the rows of what was executed, but for another organisation's.

        Raises:
            ForeignRow: Rows of another organisation were changed, or are part of a sum.
        """
        return compiled.own(self.cursor.fetchall(), self.organisation_id)

    def _refuse_foreign(self, compiled: Compiled, given: Mapping[str, Any]) -> None:
        """Refuse to write another organisation's rows, whatever the statement and the database would make of it.

        Raises:
            ForeignRow: The statement writes, and not this organisation's rows.
        """
        if compiled.owner is not None and given[compiled.owner] != self.organisation_id:
            raise ForeignRow(f"a row of organisation {given[compiled.owner]} in a unit of {self.organisation_id}")


@contextmanager
def sealed(unit: Unit) -> Iterator[Unit]:
    """Yield the unit and, if nothing was raised, seal its journal entries."""
    yield unit
    unit.seal()


def _made(record: type[Record], row: Mapping[str, Any], *, action: str) -> journal.Change:
    after = {name: value for name, value in row.items() if name not in {"organisation_id", "id", "version"}}
    return journal.Change(action, record.noun, row["id"], row["version"], before={}, after=after, personal=record.personal)


def _plain(value: Any) -> Any:  # noqa: ANN401 - a column value, or stated parts of one
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return value.model_dump(mode="json") if hasattr(value, "model_dump") else value


def _renamed(values: Mapping[str, Any]) -> dict[str, Any]:
    return {f"new_{name}": value for name, value in values.items()}


@cache
def _get(record: type[Record]) -> Statement:
    table = table_of(record)
    return Statement(sa.select(table).where(table.c.organisation_id == sa.bindparam("organisation_id"), table.c.id == sa.bindparam("id")))


@cache
def _insert(record: type[SQLModel]) -> Statement:
    return Statement(sa.insert(table_of(record)))


@cache
def _update(record: type[Record]) -> Statement:
    table = table_of(record)
    changing = [name for name in columns_of(record) if name not in {"organisation_id", "id", "created_at"}]
    return Statement(
        sa.update(table)
        .where(
            table.c.organisation_id == sa.bindparam("at_organisation_id"),
            table.c.id == sa.bindparam("at_id"),
            table.c.version == sa.bindparam("at_version"),
        )
        .values({name: sa.bindparam(f"new_{name}", type_=table.c[name].type) for name in changing})
    )
