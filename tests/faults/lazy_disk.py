"""A disk that keeps only what it was told to keep: data lie in memory until fsync or fdatasync brings them to the folder behind it.

Losing power leaves of what was not synchronised a random part, in sectors of 512 bytes, so that a write may be torn. Not modelled: that
an entry of a folder is lost, and a drive that lies about its own cache. ``python -m tests.faults.lazy_disk FOLDER MOUNTPOINT`` serves
until its input ends; each line of input is a seed, upon which the power is lost.
"""

# ruff: noqa: ARG002 - the system calls with more than is needed here

from __future__ import annotations

import errno
import logging
import os
import random
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import mfusepy

SECTOR = 512
MOUNTED_WITHIN_S = 10


@dataclass
class Held:
    """A file as programs see it, and which of its sectors the folder behind does not have yet."""

    behind: Path
    seen: bytearray
    unsynced: set[int] = field(default_factory=set)

    def write(self, data: bytes, offset: int) -> None:
        """Take data; the folder behind does not have them yet."""
        end = offset + len(data)
        if offset > len(self.seen):
            self._touch(len(self.seen), offset)
            self.seen.extend(bytes(offset - len(self.seen)))
        self.seen[offset:end] = data
        self._touch(offset, end)

    def resize(self, length: int) -> None:
        """Cut the file or lengthen it with zeros."""
        if length < len(self.seen):
            self._touch(length, len(self.seen))
            del self.seen[length:]
        else:
            self.write(bytes(length - len(self.seen)), len(self.seen))

    def sync(self) -> None:
        """Bring everything to the folder behind."""
        self._keep(self.unsynced)
        os.truncate(self.behind, len(self.seen))
        self.unsynced.clear()

    def lose_power(self, chance: random.Random) -> None:
        """Bring a random part of what is not synchronised to the folder behind; forget the rest."""
        share = chance.choice((0.0, 0.1, 0.5, 0.9, 1.0))
        self._keep({sector for sector in self.unsynced if chance.random() < share})

    def _keep(self, sectors: set[int]) -> None:
        with self.behind.open("r+b") as file:
            for sector in sorted(sectors):
                file.seek(sector * SECTOR)
                file.write(self.seen[sector * SECTOR : (sector + 1) * SECTOR])

    def _touch(self, begin: int, end: int) -> None:
        self.unsynced.update(range(begin // SECTOR, (end + SECTOR - 1) // SECTOR))


class LazyFiles(mfusepy.Operations):  # type: ignore[misc]
    """The files of the disk, all in one folder."""

    use_ns = True
    lock = flock = None
    """Locks are the system's own affair."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.held: dict[str, Held] = {}
        self.turn = threading.Lock()

    def lose_power(self, seed: int) -> None:
        """Lose power."""
        chance = random.Random(seed)  # noqa: S311 - repeatable, not secret
        with self.turn:
            for name in sorted(self.held):
                self.held[name].lose_power(chance)
            self.held.clear()

    def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
        """Return what a file is."""
        if path == "/":
            return {"st_mode": stat.S_IFDIR | 0o755, "st_nlink": 2}
        return {"st_mode": stat.S_IFREG | 0o644, "st_nlink": 1, "st_size": len(self._file(path).seen)}

    def readdir(self, path: str, fh: int) -> list[str]:
        """Return the names of the files."""
        return [".", "..", *sorted(name.name for name in self.folder.iterdir())]

    def create(self, path: str, mode: int, fi: Any = None) -> int:
        """Make an empty file; its name is kept at once."""
        with self.turn:
            self._behind(path).write_bytes(b"")
            self.held[path] = Held(self._behind(path), bytearray())
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

    def fsync(self, path: str, datasync: int, fh: int) -> int:
        """Keep a file."""
        with self.turn:
            self._file(path).sync()
        return 0

    def fsyncdir(self, path: str, datasync: int, fh: int) -> int:
        """Do nothing: names are kept at once."""
        return 0

    def unlink(self, path: str) -> None:
        """Remove a file, at once."""
        with self.turn:
            self.held.pop(path, None)
            self._behind(path).unlink()

    def statfs(self, path: str) -> dict[str, int]:
        """Return what the folder behind has left."""
        found = os.statvfs(self.folder)
        return {name: getattr(found, name) for name in ("f_bavail", "f_bfree", "f_blocks", "f_bsize", "f_frsize", "f_namemax")}

    def _file(self, path: str) -> Held:
        if path not in self.held:
            behind = self._behind(path)
            if not behind.exists():
                raise mfusepy.FuseOSError(errno.ENOENT)
            self.held[path] = Held(behind, bytearray(behind.read_bytes()))
        return self.held[path]

    def _behind(self, path: str) -> Path:
        return self.folder / path[1:]


@dataclass
class LazyDisk:
    """A mounted disk: ``place`` is where programs see it, ``behind`` the folder with what it has kept."""

    place: Path
    behind: Path
    process: subprocess.Popen[str]

    def lose_power(self, seed: int) -> None:
        """Lose power; afterwards the folder behind is what a machine would find when it starts again."""
        self.process.stdin.write(f"{seed}\n")
        self.process.stdin.flush()
        assert self.process.stdout.readline() == "lost\n"


@contextmanager
def mounted(folder: Path, module: str = "tests.faults.lazy_disk") -> Iterator[LazyDisk]:
    """Yield a disk, served by a module of ours."""
    place, behind = folder / "lazy", folder / "behind"
    place.mkdir()
    behind.mkdir()
    command = [sys.executable, "-m", module, behind, place]
    process = subprocess.Popen(command, cwd=Path(__file__).parents[2], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        _wait_for_mount(place, process)
        yield LazyDisk(place, behind, process)
    finally:
        subprocess.run(["umount", "-l", place], check=True)
        process.stdin.close()
        process.wait(MOUNTED_WITHIN_S)
        process.stdout.close()


def _wait_for_mount(place: Path, process: subprocess.Popen[str]) -> None:
    last_at = time.monotonic() + MOUNTED_WITHIN_S
    while not place.is_mount():
        if process.poll() is not None or time.monotonic() > last_at:
            raise RuntimeError("the lazy disk could not be mounted")
        time.sleep(0.01)


def obey(files: Any) -> None:
    """Let a disk lose power whenever a line of input says so, until the input ends."""
    try:
        for line in sys.stdin:
            files.lose_power(int(line))
            sys.stdout.write("lost\n")
            sys.stdout.flush()
    finally:
        # Whoever waits for a word gets the end of the pipe instead.
        sys.stderr.flush()
        os._exit(0)


if __name__ == "__main__":
    logging.disable(logging.CRITICAL)
    lazy = LazyFiles(Path(sys.argv[1]))
    threading.Thread(target=obey, args=(lazy,), daemon=True).start()
    mfusepy.FUSE(lazy, sys.argv[2], foreground=True, nothreads=True, fsname="reedbed-lazy")
