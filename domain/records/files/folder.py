"""Files in a folder: ``ORGANISATION/AA/DIGEST``, where AA are the digest's first two digits."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from datetime import datetime
from pathlib import Path
from secrets import token_hex
from typing import BinaryIO

from domain.records.files import DIGEST, as_refusals, full, missing, pieces_of, refuse_other

FILE_MODE, FOLDER_MODE = 0o600, 0o700
UNFINISHED = "unfinished-"


class FolderFiles:
    """Files in a folder of the machine. It is made when the first file is kept; nobody but its owner may look into it.

    Where less than ``least_free_bytes`` would be left on its disk, no file is taken: others need room there as well.
    """

    def __init__(self, folder: Path, *, least_free_bytes: int = 0) -> None:
        self.folder = folder
        self.least_free_bytes = least_free_bytes

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:
        """Write a file under another name, have the disk keep it, give it its own, and have the disk keep the name."""
        path = self._path(organisation_id, digest)
        refuse_other(content, digest)
        assert path is not None  # noqa: S101 - a content has that digest
        with as_refusals():
            self._make(path.parent)
            self._refuse_too_little_room(content)
            unfinished = path.with_name(f"{UNFINISHED}{token_hex(8)}")
            try:
                _write(unfinished, content)
                unfinished.replace(path)
            except BaseException:
                with suppress(OSError):
                    unfinished.unlink(missing_ok=True)
                raise
            self._keep_names(path.parent)

    def take(self, organisation_id: int, digest: str) -> BinaryIO:
        """Return a file whose content was compared with its name. What is no plain file, such as a link, is none."""
        path = self._path(organisation_id, digest)
        with as_refusals(), ExitStack() as undo:
            if path is None or not _is_plain(path):
                raise missing()
            try:
                file = undo.enter_context(path.open("rb"))
            except FileNotFoundError:
                raise missing() from None
            refuse_other(file, digest)
            undo.pop_all()
        return file

    def holds(self, organisation_id: int, digest: str) -> bool:
        """Return whether there is a plain file of the digest's name."""
        path = self._path(organisation_id, digest)
        with as_refusals():
            return path is not None and _is_plain(path)

    def digests(self, organisation_id: int) -> Iterator[str]:
        """Yield the names of the files that are digests and lie where they belong."""
        with as_refusals():
            found = [path.name for path in self._of(organisation_id).glob("*/*") if path == self._path(organisation_id, path.name)]
        yield from sorted(found)

    def let_go(self, organisation_id: int, digest: str) -> None:
        """Remove a file, and have the disk keep that it is gone."""
        path = self._path(organisation_id, digest)
        if path is None:
            return
        with as_refusals(), suppress(FileNotFoundError):
            path.unlink()
            _sync_folder(path.parent)

    def tidy(self, organisation_id: int, *, before: datetime) -> int:
        """Remove what a crash left half written; a file that is just being written is younger."""
        with as_refusals():
            left = [path for path in self._of(organisation_id).glob(f"*/{UNFINISHED}*") if path.stat().st_mtime < before.timestamp()]
            for path in left:
                path.unlink(missing_ok=True)
        return len(left)

    def _of(self, organisation_id: int) -> Path:
        return self.folder / f"{organisation_id:d}"

    def _path(self, organisation_id: int, digest: str) -> Path | None:
        """Return where a file lies, ``None`` where what is said to be a digest is none: it could lead elsewhere."""
        return self._of(organisation_id) / digest[:2] / digest if DIGEST.fullmatch(digest) else None

    def _refuse_too_little_room(self, content: BinaryIO) -> None:
        size = content.seek(0, os.SEEK_END)
        content.seek(0)
        if shutil.disk_usage(self.folder).free < self.least_free_bytes + size:
            raise full()

    def _make(self, innermost: Path) -> None:
        self.folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        for folder in (innermost.parent, innermost):
            folder.mkdir(mode=FOLDER_MODE, exist_ok=True)

    def _keep_names(self, innermost: Path) -> None:
        """Have the disk keep the names of a new file and of the folders that were made for it."""
        for folder in (innermost, innermost.parent, self.folder, self.folder.absolute().parent):
            _sync_folder(folder)


def _write(path: Path, content: BinaryIO) -> None:
    number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), FILE_MODE)
    with os.fdopen(number, "wb") as file:
        for piece in pieces_of(content):
            file.write(piece)
        file.flush()
        os.fsync(number)


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
