"""A backup of the demo, and databases to restore it into."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO

import msgspec
import pytest
import sqlalchemy as sa

import migrations
from api.law import read_pack
from domain.actions.backups import Taker, restore_backup, take_backup
from domain.records.backups import archive, manifest
from domain.records.backups.manifest import Manifest
from domain.records.backups.whole import directory, whole_snapshot, whole_transaction, within
from domain.records.base import metadata
from domain.records.engine import Store, open_store
from domain.records.files import Files
from domain.records.files.nowhere import NoFiles
from domain.records.statements import Statement
from domain.records.tenancy import owner_column
from seed import demo
from tests import makers
from tests.postgres_server import url_for

KINDS = ("sqlite", "postgresql")
NOWHERE = NoFiles()
TAKER = Taker(product_version="0.0.0", schema_revision="test")


def untold(_doing: str) -> None:
    """Wait in silence."""


def taken(store: Store, file: BinaryIO, *, files: Files = NOWHERE) -> Manifest:
    """Take a backup of a store."""
    with whole_snapshot(store, makers.origin()) as unit:
        return take_backup(unit, file, files=files, taker=TAKER, tell=untold)


def restored(store: Store, file: BinaryIO, *, files: Files = NOWHERE) -> None:
    """Restore a backup into a store, by the way that the command goes."""
    checked = manifest.check(file, tell=untold)
    with whole_transaction(store, makers.origin()) as unit:
        restore_backup(unit, file, checked, files=files, tell=untold)


def forged(backup: bytes, *, table: str, old: str, new: str) -> bytes:
    """Return a backup in which every size and digest is right, and the first organisation's rows of a table say something else."""
    checked = manifest.check(io.BytesIO(backup), tell=untold)
    file, contents = io.BytesIO(), []
    for content in checked.manifest.contents:
        text = archive.content_of(io.BytesIO(backup), checked.members[content.member])
        if content.table == table and content.organisation_id == makers.ORGANISATION:
            assert old.encode() in text
            text = text.replace(old.encode(), new.encode(), 1)
        with archive.added(file, content.member) as growing:
            growing.write(text)
        told = {"rows": growing.lines, "size_bytes": growing.size, "sha256": growing.sha256()}
        contents.append(msgspec.structs.replace(content, **told))
    manifest.seal(file, msgspec.structs.replace(checked.manifest, contents=tuple(contents)))
    return file.getvalue()


def records_of(store: Store) -> dict[str, set[tuple[Any, ...]]]:
    """Return every row of every organisation as Python values, read in another way than a backup reads them."""
    found: dict[str, set[tuple[Any, ...]]] = {table.name: set() for table in metadata.sorted_tables}
    with whole_snapshot(store, makers.origin()) as unit:
        for organisation_id, _ in directory(unit):
            own = within(unit, organisation_id)
            for table in metadata.sorted_tables:
                asked = Statement(sa.select(table).where(table.c[owner_column(table)] == sa.bindparam("organisation_id")))
                found[table.name] |= {tuple(map(repr, row)) for row in own.rows(asked)}
    return found


@pytest.fixture(scope="session")
def demo_backup(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a backup of the demo, taken on SQLite."""
    url = f"sqlite:///{tmp_path_factory.mktemp('demo') / 'reedbed.sqlite3'}"
    migrations.upgrade(url)
    store = open_store(url)
    makers.organisation(store)
    with store.transaction(makers.origin()) as unit:
        assert [*demo.build(unit, [read_pack(text, file=file).pack for file, text in demo.law_files().items()])]
    file = io.BytesIO()
    taken(store, file)
    store.close()
    return file.getvalue()


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a SQLite file at the newest revision, to be copied."""
    path = tmp_path_factory.mktemp("migrated") / "reedbed.sqlite3"
    migrations.upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def small_backup(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a backup of a few records of two organisations."""
    path = shutil.copy(migrated_file, tmp_path_factory.mktemp("small") / "reedbed.sqlite3")
    store = open_store(f"sqlite:///{path}")
    for organisation_id, name in ((makers.ORGANISATION, "Marshlight Trust"), (makers.OTHER_ORGANISATION, "Quillback Rescue")):
        makers.organisation(store, organisation_id=organisation_id, name=name)
        with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
            makers.equipment(unit, makers.model(unit), makers.site(unit))
    file = io.BytesIO()
    taken(store, file)
    store.close()
    return file.getvalue()


@pytest.fixture
def empty_store(request: pytest.FixtureRequest, migrated_file: Path, tmp_path: Path) -> Iterator[Callable[[str], Store]]:
    """Return a function that opens a migrated, empty database of a kind, as the service signs in."""
    opened: list[Store] = []

    def make(kind: str) -> Store:
        if kind == "sqlite":
            url = f"sqlite:///{shutil.copy(migrated_file, tmp_path / f'empty-{len(opened)}.sqlite3')}"
        else:
            name = request.getfixturevalue("postgres_database")(request.getfixturevalue("migrated_template"))
            url = url_for(request.getfixturevalue("postgres_url"), database=name, role="reedbed_service")
        opened.append(open_store(url, pool_size=4))
        return opened[-1]

    yield make
    for store in opened:
        store.close()


@pytest.fixture(params=KINDS)
def target(request: pytest.FixtureRequest, empty_store: Callable[[str], Store]) -> Store:
    """Return a migrated, empty database, once of each kind."""
    return empty_store(request.param)
