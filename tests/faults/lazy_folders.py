"""A disk with folders that keeps only what it was told to keep: contents at fsync of the file, names at fsync of their folder.

Losing power leaves of the contents of a file that were not synchronised a random part, in sectors of 512 bytes; and of the names that were
made, changed or taken away in a folder since it was synchronised a random part too. ``python -m tests.faults.lazy_folders FOLDER
MOUNTPOINT`` serves until its input ends; each line of input is a seed, upon which the power is lost.
"""

# ruff: noqa: ARG002 - the system calls with more than is needed here

from __future__ import annotations

import errno
import logging
import os
import random
import shutil
import stat
import sys
import threading
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path, PurePosixPath
from typing import Any

import mfusepy

from tests.faults.lazy_disk import Held, obey


@dataclass
class Folder:
    """The names in a folder: as programs see them, and as the disk has them."""

    seen: dict[str, Held | Folder] = field(default_factory=dict)
    kept: dict[str, Held | Folder] = field(default_factory=dict)

    def sync(self) -> None:
        """Keep the names as they are."""
        self.kept = {**self.seen}

    def lose_power(self, chance: random.Random) -> None:
        """Leave of what changed since the last synchronisation a random part, and let the folders within do the same."""
        left = {**self.kept}
        for name in sorted(self.seen.keys() | self.kept.keys()):
            if self.seen.get(name) is not self.kept.get(name) and chance.random() < 0.5:
                left.pop(name, None)
                if name in self.seen:
                    left[name] = self.seen[name]
        self.seen, self.kept = left, {**left}
        for one in left.values():
            one.lose_power(chance)


class LazyFolders(mfusepy.Operations):  # type: ignore[misc]
    """The files and folders of the disk. While it is mounted, contents lie in files with numbers; losing power makes a tree of them."""

    use_ns = True
    lock = flock = None
    """Locks are the system's own affair."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.contents = folder.with_name(f"{folder.name}-contents")
        self.contents.mkdir()
        self.root = Folder()
        self.numbers = count()
        self.turn = threading.Lock()

    def lose_power(self, seed: int) -> None:
        """Lose power, and lay what is left into the folder behind."""
        with self.turn:
            self.root.lose_power(random.Random(seed))  # noqa: S311 - repeatable, not secret
            shutil.rmtree(self.folder)
            self._lay(self.root, self.folder)

    def _lay(self, folder: Folder, place: Path) -> None:
        place.mkdir()
        for name, one in folder.seen.items():
            if isinstance(one, Folder):
                self._lay(one, place / name)
            else:
                shutil.copyfile(one.behind, place / name)

    def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
        """Return what a file or folder is."""
        found = self._at(path)
        if isinstance(found, Folder):
            return {"st_mode": stat.S_IFDIR | 0o755, "st_nlink": 2}
        return {"st_mode": stat.S_IFREG | 0o644, "st_nlink": 1, "st_size": len(found.seen)}

    def readdir(self, path: str, fh: int) -> list[str]:
        """Return the names in a folder."""
        return [".", "..", *sorted(self._folder(path).seen)]

    def mkdir(self, path: str, mode: int) -> int:
        """Make a folder."""
        with self.turn:
            self._parent(path).seen[PurePosixPath(path).name] = Folder()
        return 0

    def create(self, path: str, mode: int, fi: Any = None) -> int:
        """Make an empty file."""
        with self.turn:
            behind = self.contents / str(next(self.numbers))
            behind.write_bytes(b"")
            self._parent(path).seen[PurePosixPath(path).name] = Held(behind, bytearray())
        return 0

    def open(self, path: str, flags: int) -> int:
        """Open a file."""
        self._file(path)
        return 0

    def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
        """Return what programs see, synchronised or not."""
        with self.turn:
            return bytes(self._file(path).seen[offset : offset + size])

    def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
        """Take data."""
        with self.turn:
            self._file(path).write(data, offset)
        return len(data)

    def truncate(self, path: str, length: int, fh: int | None = None) -> None:
        """Cut or lengthen a file."""
        with self.turn:
            self._file(path).resize(length)

    def chmod(self, path: str, mode: int) -> int:
        """Do nothing."""
        return 0

    def fsync(self, path: str, datasync: int, fh: int) -> int:
        """Keep a file's content; not its name."""
        with self.turn:
            self._file(path).sync()
        return 0

    def fsyncdir(self, path: str, datasync: int, fh: int) -> int:
        """Keep the names in a folder."""
        with self.turn:
            self._folder(path).sync()
        return 0

    def rename(self, old: str, new: str) -> int:
        """Give a file another name."""
        with self.turn:
            moved = self._parent(old).seen.pop(PurePosixPath(old).name)
            self._parent(new).seen[PurePosixPath(new).name] = moved
        return 0

    def unlink(self, path: str) -> None:
        """Take a name away."""
        with self.turn:
            self._file(path)
            del self._parent(path).seen[PurePosixPath(path).name]

    def statfs(self, path: str) -> dict[str, int]:
        """Return what the folder behind has left."""
        found = os.statvfs(self.folder)
        return {name: getattr(found, name) for name in ("f_bavail", "f_bfree", "f_blocks", "f_bsize", "f_frsize", "f_namemax")}

    def _at(self, path: str) -> Held | Folder:
        found: Held | Folder = self.root
        for name in PurePosixPath(path).parts[1:]:
            if not isinstance(found, Folder) or name not in found.seen:
                raise mfusepy.FuseOSError(errno.ENOENT)
            found = found.seen[name]
        return found

    def _folder(self, path: str) -> Folder:
        found = self._at(path)
        if not isinstance(found, Folder):
            raise mfusepy.FuseOSError(errno.ENOTDIR)
        return found

    def _file(self, path: str) -> Held:
        found = self._at(path)
        if isinstance(found, Folder):
            raise mfusepy.FuseOSError(errno.EISDIR)
        return found

    def _parent(self, path: str) -> Folder:
        return self._folder(str(PurePosixPath(path).parent))


if __name__ == "__main__":
    logging.disable(logging.CRITICAL)
    lazy = LazyFolders(Path(sys.argv[1]))
    threading.Thread(target=obey, args=(lazy,), daemon=True).start()
    mfusepy.FUSE(lazy, sys.argv[2], foreground=True, nothreads=True, fsname="reedbed-lazy")
