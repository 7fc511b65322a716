"""What each driver error is to whoever asked."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import psycopg
import psycopg_pool
import pytest

from domain.errors import Refusal, StorageBusy, StorageFailed, TookTooLong
from domain.records.driver_errors import LONGEST_PAUSE_S, SHORTEST_PAUSE_S, Contended, OutOfTime, PostgresErrors, SqliteErrors, pause_s
from domain.records.unit import Overtaken


def refusal_of_postgres(raised: Exception) -> Exception:
    with pytest.raises(Exception) as refused, PostgresErrors().as_refusals():  # noqa: PT011 - the table says which
        raise raised
    return refused.value


@pytest.mark.parametrize(
    ("state", "kind", "code"),
    [
        ("40001", Contended, "storage-busy"),
        ("40P01", Contended, "storage-busy"),
        ("55P03", Contended, "storage-busy"),
        ("57014", OutOfTime, "took-too-long"),
        ("25P03", OutOfTime, "took-too-long"),
        ("25006", StorageBusy, "storage-read-only"),
        ("53100", StorageBusy, "storage-full"),
        ("53200", StorageBusy, "storage-busy"),
        ("53300", StorageBusy, "storage-busy"),
        ("57P01", StorageBusy, "storage-busy"),
        ("57P02", StorageBusy, "storage-busy"),
        ("57P03", StorageBusy, "storage-busy"),
        ("08006", StorageBusy, "storage-busy"),
        ("58030", StorageFailed, "storage-failed"),
        ("XX001", StorageFailed, "storage-failed"),
        ("XX002", StorageFailed, "storage-failed"),
    ],
)
def test_an_sqlstate_is_a_refusal_of_its_kind(state, kind, code):
    refusal = refusal_of_postgres(psycopg.errors.lookup(state)("said by the server"))

    assert (type(refusal), refusal.code) == (kind, code)


@pytest.mark.parametrize("raised", [psycopg.OperationalError("the connection is lost"), psycopg_pool.PoolTimeout("none was free")])
def test_a_server_that_cannot_be_reached_is_busy(raised):
    assert type(refusal_of_postgres(raised)) is StorageBusy


@pytest.mark.parametrize("state", ["42601", "54000", "54001", "22012", "55000", "XX000"])
def test_what_no_waiting_and_no_other_request_would_change_stays_a_defect(state):
    raised = psycopg.errors.lookup(state)("said by the server")

    assert refusal_of_postgres(raised) is raised


def test_only_what_passes_by_itself_is_taken_up_again_by_background_work():
    assert issubclass(Contended, StorageBusy)
    assert not issubclass(TookTooLong, StorageBusy)
    assert not issubclass(StorageFailed, StorageBusy)
    assert issubclass(Contended, Overtaken)
    assert issubclass(OutOfTime, Overtaken)


class Told(sqlite3.OperationalError):
    """An error of SQLite's with its result code."""

    def __init__(self, code: int) -> None:
        super().__init__("said by the library")
        self.sqlite_errorcode = code


def refusal_of_sqlite(errors: SqliteErrors, code: int, *, at_commit: bool = False) -> Any:
    with pytest.raises(Exception) as refused, errors.as_refusals(), errors.at_commit() if at_commit else nullcontext():  # noqa: PT011
        raise Told(code)
    return refused.value


@pytest.mark.parametrize(
    ("result", "kind", "code"),
    [
        (5, StorageBusy, "storage-busy"),
        (517, StorageBusy, "storage-busy"),
        (6, StorageBusy, "storage-busy"),
        (8, StorageBusy, "storage-read-only"),
        (1032, StorageBusy, "storage-read-only"),
        (13, StorageBusy, "storage-full"),
        (14, StorageBusy, "storage-unreachable"),
        (10, StorageFailed, "storage-failed"),
        (1034, StorageFailed, "storage-failed"),
        (11, StorageFailed, "storage-failed"),
        (26, StorageFailed, "storage-failed"),
        (1, Told, None),
        (21, Told, None),
    ],
)
def test_a_result_code_of_sqlite_is_a_refusal_of_its_kind(tmp_path, result, kind, code):
    refusal = refusal_of_sqlite(SqliteErrors(sqlite3, tmp_path / "file"), result)

    assert (type(refusal), getattr(refusal, "code", None)) == (kind, code)


@pytest.mark.parametrize(("result", "given_up"), [(10, True), (1034, True), (11, True), (26, True), (13, False), (8, False), (5, False)])
def test_after_a_failure_of_the_disk_everything_is_refused(tmp_path, result, given_up):
    errors = SqliteErrors(sqlite3, tmp_path / "file")
    refusal_of_sqlite(errors, result, at_commit=True)

    said: list[Refusal] = []
    try:
        with errors.as_refusals():
            pass
    except Refusal as refusal:
        said.append(refusal)

    assert [one.code for one in said] == (["storage-failed"] if given_up else [])


class Judged(SqliteErrors):
    """What a file's connections raise, and whether each failure of the disk was judged as one of a commit."""

    def __init__(self, path: Path) -> None:
        super().__init__(sqlite3, path)
        self.at_commits: list[bool] = []

    def _file_system_says(self, *, at_commit: bool) -> Any:
        self.at_commits.append(at_commit)
        return super()._file_system_says(at_commit=at_commit)


@pytest.mark.parametrize("read_fails_with", [5, 14])
def test_a_reader_that_fails_during_a_commit_takes_nothing_from_how_the_commit_is_judged(tmp_path, read_fails_with):
    errors = Judged(tmp_path / "file")

    def commit() -> None:
        reading = threading.Thread(target=refusal_of_sqlite, args=(errors, read_fails_with))
        with errors.as_refusals(), errors.at_commit():
            reading.start()
            reading.join()
            raise Told(10)

    with pytest.raises(StorageFailed):
        commit()

    assert errors.at_commits == ([True] if read_fails_with == 5 else [False, True])


@pytest.mark.parametrize("tried", [1, 2, 3, 9])
def test_pauses_are_short_and_differ(tried):
    pauses = {pause_s(tried) for _ in range(50)}

    assert all(SHORTEST_PAUSE_S <= pause <= LONGEST_PAUSE_S for pause in pauses)
    assert len(pauses) > 25
