"""Where the files of documents lie, as the settings say."""

from __future__ import annotations

from api.settings import Settings
from domain.records.engine import SqliteStore, Store
from domain.records.files import Files
from domain.records.files.bucket import Bucket, BucketFiles
from domain.records.files.folder import FolderFiles
from domain.records.files.nowhere import NoFiles

BESIDE = ".documents"
"""What the folder beside a SQLite file adds to the file's name."""


def files_of(settings: Settings, store: Store) -> Files:
    """Return the place for the files of a store's documents. Nothing is made or asked for there yet.

    Raises:
        ImportError: A bucket is set, and the extra ``s3`` is not installed.
    """
    if settings.document_bucket is not None:
        return BucketFiles(
            Bucket(
                name=settings.document_bucket,
                endpoint=settings.document_endpoint,
                region=settings.document_region,
                access_key_id=settings.document_access_key_id or "",
                secret_key=settings.document_secret_key or "",
            )
        )
    if settings.document_folder is not None:
        return FolderFiles(settings.document_folder, least_free_bytes=settings.min_free_disk_bytes)
    if isinstance(store, SqliteStore):
        return FolderFiles(store.path.with_name(f"{store.path.name}{BESIDE}"), least_free_bytes=settings.min_free_disk_bytes)
    return NoFiles()
