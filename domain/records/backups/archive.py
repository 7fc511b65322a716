"""The outer form of a backup: a tar archive in which nothing is left to choice, so that what was changed in it is seen."""

from __future__ import annotations

import io
import os
import re
import tarfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, BinaryIO

from domain.errors import RuleBroken

BLOCK = tarfile.BLOCKSIZE
CHUNK_BYTES = 1 << 20
END = bytes(2 * BLOCK)
LINE_LIMIT_BYTES = 256_000_000
"""The longest row that is read."""
MEMBER_NAME = re.compile(r"organisations/(0|[1-9][0-9]{0,18})/([a-z][a-z0-9_]{0,62}\.jsonl|files/[0-9a-f]{64})|manifest\.(json|sha256)")
MODE = 0o600

Tell = Callable[[str], None]
"""What is told of the work as it goes on, for whoever waits."""


class Damaged(RuleBroken):
    """The file is no backup, or not the one that was written."""

    code = "backup-damaged"


@dataclass(frozen=True, slots=True)
class Member:
    """A member of an archive: its place in the file, its size [bytes], its lines and its SHA-256."""

    name: str
    start: int
    size: int
    lines: int
    sha256: str


class Growing:
    """A member that is being written."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self._digest = file, sha256()
        self.size = self.lines = 0

    def write(self, content: bytes) -> None:
        """Write what comes next."""
        self._file.write(content)
        self._digest.update(content)
        self.size += len(content)
        self.lines += content.count(b"\n")

    def sha256(self) -> str:
        """Return the SHA-256 of what was written, as hexadecimal text."""
        return self._digest.hexdigest()


@contextmanager
def added(file: BinaryIO, name: str) -> Iterator[Growing]:
    """Yield a new last member of an archive to write into."""
    start = file.tell()
    file.write(bytes(BLOCK))
    growing = Growing(file)
    yield growing
    file.write(bytes(-growing.size % BLOCK))
    end = file.tell()
    file.seek(start)
    file.write(_header(name, size=growing.size))
    file.seek(end)


def finish(file: BinaryIO) -> None:
    """Write the end of an archive."""
    file.write(END)


def members_of(file: BinaryIO, *, tell: Tell) -> list[Member]:
    """Read an archive from its first byte to its last and return its members, in their order.

    Raises:
        Damaged: It is none, or any byte outside the members' contents is not what ``added`` and ``finish`` write.
    """
    size = file.seek(0, os.SEEK_END)
    found: dict[str, Member] = {}
    at = 0
    while (block := _block(file, at)) != bytes(BLOCK):
        name, content_size = _read_header(block, at=at)
        if name in found:
            raise Damaged(f"The backup holds {name} twice.")
        if at + BLOCK + content_size + len(END) > size:
            raise Damaged(f"The backup is cut off, or {name} claims to be larger than it is.")
        tell(f"reading {name}")
        found[name] = _read_member(file, name, start=at + BLOCK, size=content_size)
        at += BLOCK + content_size + -content_size % BLOCK
    file.seek(at)
    if file.read(len(END) + 1) != END:
        raise Damaged("The backup does not end where its last member ends.")
    return [*found.values()]


def lines_of(file: BinaryIO, member: Member) -> Iterator[bytes]:
    """Yield a member's content in pieces of whole lines.

    Raises:
        Damaged: A line is longer than any row.
    """
    file.seek(member.start)
    left, carried = member.size, bytearray()
    while left:
        piece = file.read(min(CHUNK_BYTES, left))
        left -= len(piece)
        cut = piece.rfind(b"\n") + 1
        if cut:
            yield bytes(carried) + piece[:cut]
            carried.clear()
        carried += piece[cut:]
        if not piece or len(carried) > LINE_LIMIT_BYTES:
            raise Damaged(f"{member.name} has a row that is too long, or is cut off.")
    if carried:
        raise Damaged(f"{member.name} does not end with the end of a row.")


def content_of(file: BinaryIO, member: Member) -> bytes:
    """Return a small member's whole content.

    Raises:
        Damaged: It is too large to be one of these.
    """
    if member.size > LINE_LIMIT_BYTES:
        raise Damaged(f"{member.name} is too large.")
    file.seek(member.start)
    return file.read(member.size)


def excerpt_of(file: BinaryIO, member: Member) -> BinaryIO:
    """Return a member's content as an open file, to be read while the archive is open. Nobody else reads the archive meanwhile."""
    return io.BufferedReader(_Excerpt(file, member), CHUNK_BYTES)


class _Excerpt(io.RawIOBase):
    def __init__(self, file: BinaryIO, member: Member) -> None:
        self._file, self._member, self._at = file, member, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET, /) -> int:
        self._at = offset + {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._member.size}[whence]
        return self._at

    def readinto(self, buffer: Any, /) -> int:  # noqa: ANN401 - whatever bytes are read into
        self._file.seek(self._member.start + self._at)
        piece = self._file.read(max(0, min(len(buffer), self._member.size - self._at)))
        buffer[: len(piece)] = piece
        self._at += len(piece)
        return len(piece)


def _header(name: str, *, size: int) -> bytes:
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, MODE
    return member.tobuf(tarfile.GNU_FORMAT, "ascii", "strict")


def _block(file: BinaryIO, at: int) -> bytes:
    file.seek(at)
    block = file.read(BLOCK)
    if len(block) < BLOCK:
        raise Damaged("The file is no backup." if at == 0 else "The backup is cut off.")
    return block


def _read_header(block: bytes, *, at: int) -> tuple[str, int]:
    """Return a member's name and size; a path that leads elsewhere, a link or a folder has another header than ours."""
    try:
        read = tarfile.TarInfo.frombuf(block, "ascii", "strict")
    except (tarfile.HeaderError, ValueError) as odd:
        said = "The file is no backup." if at == 0 else f"The backup is damaged at byte {at}: there is no member's header."
        raise Damaged(said) from odd
    if not MEMBER_NAME.fullmatch(read.name) or read.size < 0:
        raise Damaged(f"The backup holds {read.name[:100]!a}, which belongs to none.")
    if _header(read.name, size=read.size) != block:
        raise Damaged(f"The header of {read.name} is not as it was written.")
    return read.name, read.size


def _read_member(file: BinaryIO, name: str, *, start: int, size: int) -> Member:
    digest, lines, left = sha256(), 0, size
    file.seek(start)
    while left:
        piece = file.read(min(CHUNK_BYTES, left))
        if not piece:
            raise Damaged(f"The backup is cut off in {name}.")
        digest.update(piece)
        lines += piece.count(b"\n")
        left -= len(piece)
    if any(file.read(-size % BLOCK)):
        raise Damaged(f"There is something between {name} and what follows it.")
    return Member(name, start, size, lines, digest.hexdigest())
