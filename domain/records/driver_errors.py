"""What a database's driver raises, as refusals: what passes by itself, what has to be mended first, and what another try cannot help.

What is none of these is a defect of ours and goes on as it was raised.
"""

from __future__ import annotations

import errno
import random
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from shutil import disk_usage
from tempfile import TemporaryFile
from threading import get_ident
from types import ModuleType
from typing import Any, TypeAlias

from domain.errors import Conflict, Refusal, StorageBusy, StorageFailed, TookTooLong
from domain.records.unit import Overtaken

SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.010, 0.200
"""Between two tries of a unit [s]: long enough for the other transaction to end, never the same for two that met."""


class Contended(Overtaken, StorageBusy):
    """The database ended the transaction in favour of another, or it waited for another's lock as long as it may."""


class OutOfTime(Overtaken, TookTooLong):
    """The database ended the transaction because it took longer than it may."""


def pause_s(tried: int) -> float:
    """Return how long to wait [s] once a unit was overtaken ``tried`` times."""
    return random.uniform(SHORTEST_PAUSE_S, min(LONGEST_PAUSE_S, 0.05 * 2**tried))  # noqa: S311 - spreads tries, keeps no secret


def refusal_of(overtaken: Overtaken) -> Refusal:
    """Return what whoever asked is told when a unit that was overtaken is not run again."""
    return _out_of_time() if isinstance(overtaken, OutOfTime) else _contended()


def _contended() -> Contended:
    return Contended("The record is being changed by others just now; nothing was changed. Please try again.")


def _out_of_time() -> OutOfTime:
    return OutOfTime("The database took longer over this than it may; nothing was changed.")


def _busy() -> StorageBusy:
    return StorageBusy("The database cannot be reached in time. Please try again.")


def busy_writing() -> StorageBusy:
    """Return what is said where others write for longer than is waited for them."""
    return StorageBusy("The database is busy; nothing was changed. Please try again.")


def _full() -> StorageBusy:
    return StorageBusy("The storage is full; nothing was changed. It works again once there is room.", code="storage-full")


def _read_only() -> StorageBusy:
    return StorageBusy("The storage is read-only at present; nothing was changed.", code="storage-read-only")


def _unreachable() -> StorageBusy:
    return StorageBusy("The database's file cannot be opened at present; nothing was changed.", code="storage-unreachable")


def _failed() -> StorageFailed:
    return StorageFailed("The storage failed. What was asked for was not confirmed.")


def _given_up() -> StorageFailed:
    return StorageFailed("The storage failed to confirm what was written, so nothing more is written. Reedbed has to be started again.")


Sayings: TypeAlias = Mapping[int, Callable[[], Refusal]]

# Result codes of SQLite, primary ones below 256; sqlite.org, "Result and Error Codes".
_READ_ONLY, _IO, _CORRUPT, _CANNOT_OPEN, _NO_DATABASE = 8, 10, 11, 14, 26
_PASSING: Sayings = {
    5: busy_writing,
    6: busy_writing,
    _READ_ONLY: _read_only,
    13: _full,
    _CANNOT_OPEN: _unreachable,
    15: busy_writing,
}


class SqliteErrors:
    """What one SQLite file's connections raise.

    After a failure that leaves it open what is on the disk, everything is refused, reads as well, until the store is opened anew: a system
    may drop what it failed to write, and say so only once. Not every driver tells a failed synchronisation from other failures, so any
    failure of the disk counts that is not a lack of room.
    """

    def __init__(self, driver: ModuleType, path: Path) -> None:
        self.driver = driver
        self.path = path
        self.given_up = False
        self._committing_thread = 0

    @contextmanager
    def at_commit(self) -> Iterator[None]:
        """Know that a commit is under way: what fails now may be the synchronisation, even where the disk is full."""
        self._committing_thread = get_ident()
        yield
        # After an error it stays so until the error is judged, which is before the next commit.
        self._committing_thread = 0

    @contextmanager
    def as_refusals(self) -> Iterator[None]:
        """Raise the driver's errors as refusals.

        Raises:
            StorageFailed: The file was given up before.
        """
        if self.given_up:
            raise _given_up()
        try:
            yield
        except self.driver.IntegrityError as broken:
            conflict = conflict_of(str(broken))
            if conflict is None:
                raise
            raise conflict from broken
        except self.driver.DatabaseError as raised:
            refusal = self._refusal_of(getattr(raised, "sqlite_errorcode", 0))
            if refusal is None:
                raise
            raise refusal from raised

    def _refusal_of(self, code: int) -> Refusal | None:
        # A reader's error, in a thread of its own, says nothing about a commit that is under way meanwhile.
        primary, at_commit = code & 0xFF, self._committing_thread == get_ident()
        if at_commit:
            self._committing_thread = 0
        saying = self._file_system_says(at_commit=at_commit) if primary in {_IO, _CANNOT_OPEN} else None
        saying = saying or _PASSING.get(primary)
        if saying is not None:
            return saying()
        if primary not in {_IO, _CORRUPT, _NO_DATABASE}:
            return None
        self.given_up = True
        return _given_up()

    def _file_system_says(self, *, at_commit: bool) -> Callable[[], Refusal] | None:
        """Return why nothing can be written, where the file system knows: SQLite says only that something failed."""
        try:
            with TemporaryFile(dir=self.path.parent):
                pass
            full = disk_usage(self.path.parent).free == 0
        except OSError as refused:
            if refused.errno == errno.EROFS:
                return _read_only
            full = refused.errno in {errno.ENOSPC, errno.EDQUOT}
        return _full if full and not at_commit else None


# By SQLSTATE or its beginning, the longest first; PostgreSQL's documentation, "Error Codes".
_BY_SQLSTATE: Mapping[str, Callable[[], Refusal]] = {
    "40001": _contended,  # serialization failure
    "40P01": _contended,  # deadlock
    "55P03": _contended,  # a lock was not to be had in time
    "57014": _out_of_time,  # the statement was cancelled
    "25P03": _out_of_time,  # the transaction stood idle
    "25006": _read_only,
    "53100": _full,
    "XX001": _failed,  # data corrupted
    "XX002": _failed,  # index corrupted
    "57P": _busy,  # shutting down, starting, or ended by its keeper
    "08": _busy,  # the connection
    "53": _busy,  # memory or connections
    "58": _failed,  # the server's system
}


class PostgresErrors:
    """What connections to PostgreSQL raise."""

    def __init__(self) -> None:
        import psycopg  # noqa: PLC0415 - an extra; absent where only SQLite is used

        self._error = psycopg.Error
        self._away = psycopg.OperationalError

    @contextmanager
    def as_refusals(self) -> Iterator[None]:
        """Raise the driver's errors as refusals."""
        try:
            yield
        except self._error as raised:
            refusal = self._refusal_of(raised)
            if refusal is None:
                raise
            raise refusal from raised

    def _refusal_of(self, raised: Any) -> Refusal | None:  # noqa: ANN401 - an error of a driver that may be absent
        state: str = raised.sqlstate or ""
        if not state:
            # The driver's own: the connection is lost, or none was to be had in time.
            return _busy() if isinstance(raised, self._away) else None
        if state.startswith("23"):
            return conflict_of(raised.diag.constraint_name or "")
        said = max((begin for begin in _BY_SQLSTATE if state.startswith(begin)), key=len, default=None)
        return _BY_SQLSTATE[said]() if said else None


def conflict_of(constraint: str) -> Conflict | None:
    """Return the refusal behind a broken constraint, ``None`` for one that no request can break."""
    if "FOREIGN KEY" in constraint or constraint.startswith("fk_"):
        return Conflict("It refers to a record that is not there.", code="reference-missing")
    if "UNIQUE" in constraint or constraint.startswith(("uq_", "pk_")):
        field = _unique_field(constraint)
        what = f"this {field.replace('_', ' ')}" if field else "the same name, tag or id"
        return Conflict(f"There is already a record with {what}.", code="already-there", field=field)
    if constraint.startswith("ex_"):
        return Conflict("Some of these days are in another record of the same kind already.", code="overlap", field="from_on")
    return None


_UNIQUE_FIELDS = {
    "sign_in_name_key": "sign_in_name",
    "identity_issuer_subject": "subject",
    "identity_subject": "subject",
    "taxon_name_key": "scientific_name",
    "name_key": "name",
    "tag_key": "tag",
    "shelf_key": "shelf",
    "number_key": "number",
    "reference_key": "reference",
    "follows_id": "met_on",
    "live_key": "code",
}


def _unique_field(constraint: str) -> str:
    """Return the field that has to be unique: of ``uq_site_name_key`` on PostgreSQL, ``..., site.name_key`` on SQLite."""
    column = constraint.rpartition(" ")[2]
    if column.startswith("pk_") or column.endswith(".id"):
        return "id"
    name = column.replace(".", "_")
    return next((field for ending, field in _UNIQUE_FIELDS.items() if name.endswith(ending)), "")
