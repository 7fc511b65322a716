"""The files of documents, behind one interface: a folder, or a store that speaks S3.

A file lies under the number of its organisation and the SHA-256 of its content, so it is never changed, and keeping it again changes
nothing. It is kept before the row that names it is written, and a row's last reader is gone before it is let go of: no row ever names what
is not there. The other way round a file may lie there that no row names, after a crash or a refusal; it does no harm, and
``domain.actions.documents.let_go_of_files`` finds it.
"""

from __future__ import annotations

import errno
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from hashlib import sha256
from typing import BinaryIO, Protocol

from domain.errors import StorageBusy, StorageFailed

CHUNK_BYTES = 1 << 20
DIGEST = re.compile(r"[0-9a-f]{64}")


class FileMissing(StorageFailed):
    """There is no file where there should be one."""

    code = "file-missing"


class FileDamaged(StorageFailed):
    """A file does not have the content that it is kept under."""

    code = "file-damaged"


class Files(Protocol):
    """Where the files of documents lie. ``digest`` is always the SHA-256 of a file's content, as 64 hexadecimal digits."""

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:
        """Keep a file so that it outlasts the loss of power from now on; one that is there already is written anew.

        Raises:
            FileDamaged: The content does not have the digest; nothing was kept.
            StorageBusy: There is no room, or nothing can be written or reached at present.
            StorageFailed: The storage failed.
        """

    def take(self, organisation_id: int, digest: str) -> BinaryIO:
        """Return a file, open at its beginning and to be closed by the caller, once all of it was read and found to be as it was kept.

        Raises:
            FileMissing: It is not there.
            FileDamaged: It is another.
            StorageBusy: It cannot be reached at present.
            StorageFailed: The storage failed.
        """

    def holds(self, organisation_id: int, digest: str) -> bool:
        """Return whether there is a file, without reading it."""

    def digests(self, organisation_id: int) -> Iterator[str]:
        """Yield the digests of all files of an organisation, in order."""

    def let_go(self, organisation_id: int, digest: str) -> None:
        """Remove a file; nothing where there is none."""

    def tidy(self, organisation_id: int, *, before: datetime) -> int:
        """Remove what was begun before an instant and never finished, and return how much that was."""


def flaw_of(files: Files, organisation_id: int, digest: str) -> str:
    """Return what is wrong with a file that should be there: ``is missing``, ``is damaged``, or nothing.

    Raises:
        StorageBusy: It cannot be reached at present.
        StorageFailed: The storage failed.
    """
    try:
        with files.take(organisation_id, digest):
            return ""
    except FileMissing:
        return "is missing"
    except FileDamaged:
        return "is damaged"


def digest_of(content: BinaryIO) -> str:
    """Return the SHA-256 of a file from its beginning, as hexadecimal text, and leave the file at its beginning."""
    content.seek(0)
    found = sha256()
    for piece in pieces_of(content):
        found.update(piece)
    content.seek(0)
    return found.hexdigest()


def pieces_of(content: BinaryIO) -> Iterator[bytes]:
    """Yield what is left of an open file, piece by piece."""
    while piece := content.read(CHUNK_BYTES):
        yield piece


def refuse_other(content: BinaryIO, digest: str) -> None:
    """Refuse a file whose content does not have a digest; otherwise leave it at its beginning.

    Raises:
        FileDamaged: It is another.
    """
    if digest_of(content) != digest:
        raise FileDamaged("The file of this document is damaged. Whoever looks after Reedbed has to restore it.")


def missing() -> FileMissing:
    """Return the refusal of a file that is not there."""
    return FileMissing("The file of this document is not there. Whoever looks after Reedbed has to restore it.")


def full() -> StorageBusy:
    """Return the refusal of a file for which there is no room."""
    return StorageBusy("The storage of files is full; nothing was changed. It works again once there is room.", code="storage-full")


@contextmanager
def as_refusals() -> Iterator[None]:
    """Raise what the system refuses while files are written or read as refusals."""
    try:
        yield
    except OSError as refused:
        raise _refusal_of(refused) from refused


def _refusal_of(refused: OSError) -> StorageBusy | StorageFailed:
    if refused.errno in {errno.ENOSPC, errno.EDQUOT}:
        return full()
    if refused.errno in {errno.EROFS, errno.EACCES, errno.EPERM}:
        return StorageBusy("Nothing may be written or read where files lie; nothing was changed.", code="storage-read-only")
    return StorageFailed("The storage of files failed. What was asked for was not confirmed.")
