"""Documents lie in one place, and the settings say which; a secret of it is shown nowhere."""

from __future__ import annotations

import os

import pytest
from pydantic import ValidationError

from api.filing.places import BESIDE, files_of
from api.settings import Settings
from domain.records.engine import SqliteStore, open_store
from domain.records.files.bucket import BucketFiles
from domain.records.files.folder import FolderFiles
from domain.records.files.nowhere import NoFiles

SECRET = "pelagic-Trombone47-quarry"
IN_A_BUCKET = {"document_bucket": "documents", "document_access_key_id": "reedbed", "document_secret_key": SECRET}


@pytest.fixture(autouse=True)
def _nothing_set(monkeypatch):
    for name in [name for name in os.environ if name.startswith("REEDBED_") and "TEST" not in name]:
        monkeypatch.delenv(name)


def test_beside_a_sqlite_file_there_is_a_folder_and_with_postgresql_nowhere(store):
    found = files_of(Settings(min_free_disk_bytes=7), store)

    if isinstance(store, SqliteStore):
        assert isinstance(found, FolderFiles)
        assert found.folder == store.path.with_name(f"reedbed.sqlite3{BESIDE}")
        assert found.least_free_bytes == 7
        assert not found.folder.exists()
    else:
        assert isinstance(found, NoFiles)


def test_a_folder_that_is_set_is_the_place_on_both_databases(store, tmp_path):
    found = files_of(Settings(document_folder=tmp_path / "x"), store)

    assert isinstance(found, FolderFiles)
    assert found.folder == tmp_path / "x"


def test_a_bucket_that_is_set_is_the_place_and_its_key_comes_from_a_file(tmp_path, monkeypatch):
    path = tmp_path / "key"
    path.write_text(f"{SECRET}\n", encoding="utf-8")
    path.chmod(0o600)
    for name, value in {
        "BUCKET": "documents",
        "ENDPOINT": "https://store.example",
        "ACCESS_KEY_ID": "reedbed",
        "SECRET_KEY_FILE": str(path),
    }.items():
        monkeypatch.setenv(f"REEDBED_DOCUMENT_{name}", value)
    settings, store = Settings(), open_store("sqlite:///:memory:")

    found = files_of(settings, store)
    store.close()

    assert isinstance(found, BucketFiles)
    assert (found.bucket.name, found.bucket.endpoint, found.bucket.secret_key) == ("documents", "https://store.example", SECRET)
    assert SECRET not in repr(settings)
    assert SECRET not in repr(found.bucket)


@pytest.mark.skipif(os.name != "posix", reason="the system has no file modes")
def test_a_key_that_others_may_read_is_refused(tmp_path):
    path = tmp_path / "key"
    path.write_text(SECRET, encoding="utf-8")
    path.chmod(0o644)

    with pytest.raises(ValidationError, match="others may read the file") as refused:
        Settings(document_bucket="documents", document_access_key_id="reedbed", document_secret_key_file=path)
    assert SECRET not in str(refused.value)


@pytest.mark.parametrize(
    ("stated", "sentence"),
    [
        ({"document_bucket": "documents"}, "ACCESS_KEY_ID"),
        ({**IN_A_BUCKET, "document_secret_key": None}, "SECRET_KEY_FILE"),
        ({**IN_A_BUCKET, "document_folder": "x"}, "documents lie in one place"),
        ({"document_endpoint": "https://store.example"}, "says which bucket"),
        ({"document_access_key_id": "reedbed"}, "says which bucket"),
        ({**IN_A_BUCKET, "document_endpoint": "http://store.example"}, "begins with https://"),
        ({**IN_A_BUCKET, "document_endpoint": "ftp://localhost"}, "begins with https://"),
        ({**IN_A_BUCKET, "document_endpoint": "store.example"}, "begins with https://"),
        ({"max_document_bytes": 0}, "greater than or equal"),
        ({"max_picture_pixels": 0}, "greater than or equal"),
    ],
)
def test_what_does_not_go_together_is_refused(stated, sentence):
    with pytest.raises(ValidationError, match=sentence) as refused:
        Settings(**stated)
    assert SECRET not in str(refused.value)


@pytest.mark.parametrize("endpoint", [None, "https://store.example", "http://localhost:9000", "http://127.0.0.1:9000"])
def test_a_store_is_reached_by_tls_or_on_this_machine(endpoint):
    assert Settings(**IN_A_BUCKET, document_endpoint=endpoint).document_endpoint == endpoint
