"""``reedbed backup`` and ``reedbed restore``."""

from __future__ import annotations

import os
import shutil
import stat
import time
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from secrets import token_hex
from typing import Any, BinaryIO

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

import migrations
from api.commands import databases
from api.commands.session import Session, opened, read_settings, say_json
from api.commands.trouble import Trouble
from api.filing.places import files_of
from domain.actions.backups import Taker, needed_bytes, restore_backup, take_backup
from domain.records.backups import manifest
from domain.records.backups.archive import MODE, Tell
from domain.records.backups.manifest import Checked, Held, Manifest
from domain.records.backups.whole import whole_snapshot, whole_transaction
from domain.records.engine import open_store

MEGABYTE = 1_000_000


def backup(words: Namespace, console: Console) -> int:
    """Write a backup of every organisation into a new file, or only look whether a file is one.

    The exit status is 1 where a document's file is not in it, because it was not there whole.
    """
    started = time.monotonic()
    if words.check:
        with _reading(words.file) as file, _telling(words, console) as tell:
            said = manifest.check(file, tell=tell).manifest
        _say(words, console, said, did="is whole", seconds=time.monotonic() - started)
        return _status(said)
    _refuse_present(words.file)
    with opened("backup") as session, _telling(words, console) as tell:
        said = _taken(session, words.file, tell=tell)
    _say(words, console, said, did="is written", seconds=time.monotonic() - started)
    return _status(said)


def restore(words: Namespace, console: Console) -> int:
    """Restore a backup into an empty database; nothing is kept unless all of it is right."""
    started = time.monotonic()
    settings = read_settings()
    url = settings.owner_database_url or settings.database_url
    with _reading(words.file) as file, _telling(words, console) as tell:
        checked = manifest.check(file, tell=tell)
        _make_ready(url, checked.manifest)
        store = open_store(url, pool_size=1)
        try:
            session = Session(settings, store, datetime.now(UTC), "restore")
            with whole_transaction(store, session.origin(0)) as unit:
                restore_backup(unit, file, checked, files=files_of(settings, store), tell=tell)
        finally:
            store.close()
    _say(words, console, checked.manifest, did="is restored", seconds=time.monotonic() - started)
    return _status(checked.manifest)


def product_version() -> str:
    """Return this version of Reedbed; one that runs from its source without being installed has none."""
    try:
        return version("reedbed")
    except PackageNotFoundError:
        return "from source"


def _taken(session: Session, path: Path, *, tell: Tell) -> Manifest:
    """Write a backup under another name, read it again, and only then give it its own."""
    unfinished = path.with_name(f"{path.name}.{token_hex(4)}.unfinished")
    taker = Taker(product_version=product_version(), schema_revision=migrations.head())
    try:
        with _new_file(unfinished) as file:
            with whole_snapshot(session.store, session.origin(0)) as unit:
                _refuse_too_large(needed_bytes(unit), path.parent)
                take_backup(unit, file, files=files_of(session.settings, session.store), taker=taker, tell=tell)
            file.flush()
            os.fsync(file.fileno())
            checked: Checked = manifest.check(file, tell=tell)
        _give_name(unfinished, path)
    finally:
        unfinished.unlink(missing_ok=True)
    return checked.manifest


def _refuse_present(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise Trouble(f"{path} is there already. A backup never takes the place of a file; choose another name")


def _refuse_too_large(size_bytes: int, folder: Path) -> None:
    """Refuse where there is less room than the database takes: a backup of it is about as large, without its indexes."""
    free = shutil.disk_usage(folder).free
    if free < size_bytes:
        needed = f"{size_bytes / MEGABYTE:.0f} MB needed, {free / MEGABYTE:.0f} MB free"
        raise Trouble(f"There is not enough room in {folder.absolute()}: {needed}")


@contextmanager
def _new_file(path: Path) -> Iterator[BinaryIO]:
    try:
        number = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), MODE)
    except OSError as refused:
        raise Trouble(f"Nothing can be written into {path.parent.absolute()}: {refused.strerror}") from refused
    try:
        with os.fdopen(number, "w+b") as file:
            yield file
    except OSError as failed:
        raise Trouble(f"The backup cannot be written: {failed.strerror}") from failed


def _give_name(unfinished: Path, path: Path) -> None:
    """Give a finished file its name in one step that takes no other file's, and have the folder keep it."""
    try:
        os.link(unfinished, path)
    except FileExistsError:
        _refuse_present(path)
    except OSError:
        # Some file systems of memory sticks and shares have no second names.
        _refuse_present(path)
        unfinished.rename(path)
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


@contextmanager
def _reading(path: Path) -> Iterator[BinaryIO]:
    with path.open("rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise Trouble(f"{path} is no file")
        yield file


def _make_ready(url: str, said: Manifest) -> None:
    """Have the database stand at the schema of the backup; a database without a schema gets it.

    Raises:
        Trouble: The backup or the database is of another schema than this version.
    """
    found, head = databases.revision(url), migrations.head()
    if said.schema_revision != head:
        ours = f"this version ({product_version()}) has schema {head}"
        raise Trouble(
            f"The backup is of schema {said.schema_revision}; {ours}. "
            f"Restore it with Reedbed {said.product_version}, then bring that database here with: reedbed migrate"
        )
    if found is None:
        databases.upgrade(url)
    elif found != head:
        name = databases.name_of(databases.database_at(url))
        raise Trouble(f"The database {name} is at schema {found}, not {head}. A backup is restored into a new, empty database")


@contextmanager
def _telling(words: Namespace, console: Console) -> Iterator[Tell]:
    """Yield what shows on a terminal what is being done; in a pipe nothing is shown."""
    columns = (SpinnerColumn(), TimeElapsedColumn(), TextColumn("{task.description}", markup=False))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal or words.json) as progress:
        task = progress.add_task("", total=None)
        yield lambda doing: progress.update(task, description=doing)


def _say(words: Namespace, console: Console, said: Manifest, *, did: str, seconds: float) -> None:
    if words.json:
        say_json(_summary(words.file, said, seconds=seconds))
        return
    size, count = words.file.stat().st_size / MEGABYTE, sum(content.rows for content in said.contents)
    console.print(f"{words.file} {did}: {count} rows, {size:.1f} MB, in {seconds:.1f} s", markup=False, soft_wrap=True)
    console.print(f"taken {said.taken_at} by Reedbed {said.product_version}, schema {said.schema_revision}", markup=False, soft_wrap=True)
    for one in said.organisations:
        held = sum(content.rows for content in said.contents if content.organisation_id == one.organisation_id)
        ends = f"{held} rows, journal to entry {one.journal_position}"
        console.print(f"  {one.name} ({one.organisation_id}): {ends}{_files(said, one)}", markup=False, soft_wrap=True)
    for lost in said.lost_files:
        sentence = f"  The file {lost.sha256} of organisation {lost.organisation_id} {lost.flaw}: it is not in the backup."
        console.print(sentence, markup=False, soft_wrap=True)


def _files(said: Manifest, organisation: Held) -> str:
    count = sum(file.organisation_id == organisation.organisation_id for file in said.files)
    return f", {count} files" if count else ""


def _status(said: Manifest) -> int:
    """Return the exit status: 1 where files are not in a backup that documents in it have."""
    return 1 if said.lost_files else 0


def _summary(path: Path, said: Manifest, *, seconds: float) -> dict[str, Any]:
    return {
        "file": str(path),
        "size_bytes": path.stat().st_size,
        "seconds": round(seconds, 3),
        "taken_at": said.taken_at,
        "product_version": said.product_version,
        "schema_revision": said.schema_revision,
        "rows": sum(content.rows for content in said.contents),
        "organisations": said.organisations,
        "files": len(said.files),
        "lost_files": said.lost_files,
    }
