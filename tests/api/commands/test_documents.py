"""Files of documents by command: verify reads each, a backup has them, and retention removes those that no document has."""

from __future__ import annotations

import io
from hashlib import sha256
from pathlib import Path

import pytest

import migrations
from api.filing.places import BESIDE
from domain.actions.documents import FileFacts, end_document, register_document
from domain.actions.recording import Ending
from domain.actions.retention import register_retention_rule
from domain.records.documents import DocumentStated, MediaType
from domain.records.files.bucket import BucketFiles
from domain.records.files.folder import FolderFiles
from domain.records.retention import RetentionRuleStated
from tests.bucket_server import bucket_server
from tests.postgres_server import url_for

PAPERS = (b"first", b"second")
DIGESTS = [sha256(one).hexdigest() for one in PAPERS]


@pytest.fixture
def database_url(request, tmp_path):
    """Return the URL of a migrated, empty database: on SQLite, but where a test says otherwise."""
    if getattr(request, "param", "sqlite") == "postgresql":
        name = request.getfixturevalue("postgres_database")(request.getfixturevalue("migrated_template"))
        return url_for(request.getfixturevalue("postgres_url"), database=name, role="reedbed_service")
    url = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    migrations.upgrade(url)
    return url


@pytest.fixture
def folder(monkeypatch, tmp_path):
    """Return the folder that is set for documents."""
    path = tmp_path / "documents"
    monkeypatch.setenv("REEDBED_DOCUMENT_FOLDER", str(path))
    return path


def put_on_record(unit, files, *, contents=PAPERS):
    made = []
    for content in contents:
        digest = sha256(content).hexdigest()
        files.keep(unit.organisation_id, digest, io.BytesIO(content))
        facts = FileFacts("paper.pdf", MediaType.PDF, len(content), digest, digest)
        made.append(register_document(unit, DocumentStated(title="A paper"), facts, first=None))
    return made


def file_of(folder: Path, digest: str) -> Path:
    return next(folder.glob(f"*/*/{digest}"))


@pytest.mark.parametrize("database_url", ["sqlite", "postgresql"], indirect=True)
def test_verify_reads_every_file_and_names_what_is_not_whole(marshlight, records, folder):
    with records() as unit:
        first, second = put_on_record(unit, FolderFiles(folder))
    whole = marshlight("verify")
    file_of(folder, DIGESTS[0]).unlink()
    file_of(folder, DIGESTS[1]).write_bytes(b"secone")

    status, out, _ = marshlight("verify")

    assert (whole[0], ", 2 files: the chain holds and the records agree" in whole[1]) == (0, True)
    assert (status, "2 flaws" in out) == (1, True)
    assert f"The file {DIGESTS[0]} of the document {first.id} is missing." in out
    assert f"The file {DIGESTS[1]} of the document {second.id} is damaged." in out


def test_files_lie_beside_a_sqlite_file_where_nothing_else_is_set(marshlight, records, tmp_path):
    beside = tmp_path / f"reedbed.sqlite3{BESIDE}"
    with records() as unit:
        put_on_record(unit, FolderFiles(beside))

    assert marshlight("verify")[0] == 0
    file_of(beside, DIGESTS[0]).unlink()
    assert marshlight("verify")[0] == 1


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_with_postgresql_and_no_place_set_every_file_is_missing(marshlight, records, tmp_path):
    with records() as unit:
        put_on_record(unit, FolderFiles(tmp_path / "elsewhere"))

    assert "2 flaws" in marshlight("verify")[1]


def test_files_in_a_bucket_are_verified_and_backed_up_too(marshlight, records, monkeypatch, tmp_path, terminal):
    with bucket_server() as bucket:
        with records() as unit:
            put_on_record(unit, BucketFiles(bucket))
        secret = tmp_path / "secret"
        secret.write_text(bucket.secret_key, encoding="utf-8")
        secret.chmod(0o600)
        for name, value in {
            "BUCKET": bucket.name,
            "ENDPOINT": bucket.endpoint,
            "REGION": bucket.region,
            "ACCESS_KEY_ID": bucket.access_key_id,
            "SECRET_KEY_FILE": str(secret),
        }.items():
            monkeypatch.setenv(f"REEDBED_DOCUMENT_{name}", value)

        assert (marshlight("verify")[0], terminal.json("backup", tmp_path / "backup")["files"]) == (0, 2)
        BucketFiles(bucket).let_go(unit.organisation_id, DIGESTS[0])
        assert "is missing" in marshlight("verify")[1]


@pytest.mark.parametrize("database_url", ["sqlite", "postgresql"], indirect=True)
def test_a_backup_has_the_files_and_they_are_restored(marshlight, records, folder, tmp_path, monkeypatch):
    with records() as unit:
        put_on_record(unit, FolderFiles(folder))
    backup = tmp_path / "reedbed.backup"

    status, out, err = marshlight("backup", backup)
    monkeypatch.setenv("REEDBED_DATABASE_URL", f"sqlite:///{tmp_path / 'restored.sqlite3'}")
    monkeypatch.setenv("REEDBED_DOCUMENT_FOLDER", str(tmp_path / "restored"))
    restored = marshlight("restore", backup)

    assert (status, err, ", 2 files" in out) == (0, "", True)
    assert restored[0] == 0, restored[2]
    assert sorted(path.name for path in (tmp_path / "restored").rglob("*") if path.is_file()) == sorted(DIGESTS)
    assert marshlight("verify")[0] == 0


def test_a_backup_without_a_lost_file_says_so_and_so_do_its_check_and_its_restoring(marshlight, records, folder, tmp_path, monkeypatch):
    with records() as unit:
        put_on_record(unit, FolderFiles(folder))
    file_of(folder, DIGESTS[0]).write_bytes(b"firsT")
    backup = tmp_path / "reedbed.backup"

    said = [marshlight("backup", backup), marshlight("backup", backup, "--check")]
    monkeypatch.setenv("REEDBED_DATABASE_URL", f"sqlite:///{tmp_path / 'restored.sqlite3'}")
    monkeypatch.setenv("REEDBED_DOCUMENT_FOLDER", str(tmp_path / "restored"))
    said.append(marshlight("restore", backup))

    for status, out, _ in said:
        assert status == 1
        assert f"The file {DIGESTS[0]} of organisation {unit.organisation_id} is damaged: it is not in the backup." in out
    assert f"The file {DIGESTS[0]} of the document" in marshlight("verify")[1]


def test_a_bit_that_changed_in_a_file_of_a_backup_is_found_and_named(marshlight, records, folder, tmp_path):
    with records() as unit:
        put_on_record(unit, FolderFiles(folder), contents=[b"a paper that stands out"])
    backup = tmp_path / "reedbed.backup"
    marshlight("backup", backup)
    backup.write_bytes(backup.read_bytes().replace(b"stands out", b"stands oux"))

    status, _, err = marshlight("backup", backup, "--check")

    assert (status, f"files/{sha256(b'a paper that stands out').hexdigest()} does not have the content" in err) == (2, True)


def test_retention_removes_the_files_of_what_it_lets_go_of_and_those_that_no_document_has(marshlight, records, folder, terminal):
    files = FolderFiles(folder)
    with records() as unit:
        first, _ = put_on_record(unit, files)
        files.keep(unit.organisation_id, sha256(b"orphan").hexdigest(), io.BytesIO(b"orphan"))
        end_document(unit, first.id, Ending(reason="of no use"))
        register_retention_rule(unit, RetentionRuleStated(kind="document", keep_months=1, source="own rule"))
    at = "2026-05-01T00:00:00Z"

    looked = terminal.json("retention", "--dry-run", "--at", at)
    assert (looked[0]["let_go"], looked[0]["files"]) == ({"document": 1}, 0)
    assert len([*files.digests(unit.organisation_id)]) == 3
    status, out, _ = marshlight("retention", "--at", at)

    assert (status, "let go of 1 document" in out, "and of 2 files that no document has" in out) == (0, True, True)
    assert [*files.digests(unit.organisation_id)] == [DIGESTS[1]]
    assert marshlight("verify")[0] == 0
