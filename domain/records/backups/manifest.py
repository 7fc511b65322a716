"""What a backup says of itself, and whether its members are what it says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import BinaryIO

import msgspec

from domain.records.backups import archive
from domain.records.backups.archive import Damaged, Member, Tell

FORMAT = "reedbed-backup"
VERSION = 2
READ = (1, VERSION)
"""The versions that are read. The first has no files."""
MANIFEST, SEAL = "manifest.json", "manifest.sha256"


class Column(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A column of a table: ``kind`` says how its values are written."""

    name: str
    kind: str
    nullable: bool


class Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table, and the columns by which its rows are in order."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]


class Held(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An organisation, and where its journal ends."""

    organisation_id: int
    name: str
    journal_position: int
    journal_hash: str


class Content(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The rows that an organisation has in a table, and the member they lie in. There is none where there are no rows."""

    organisation_id: int
    table: str
    rows: int
    size_bytes: int
    sha256: str

    @property
    def member(self) -> str:
        """The member's name."""
        return f"organisations/{self.organisation_id}/{self.table}.jsonl"


class File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A file that documents of an organisation have, in the member of its name."""

    organisation_id: int
    sha256: str
    size_bytes: int

    @property
    def member(self) -> str:
        """The member's name."""
        return f"organisations/{self.organisation_id}/files/{self.sha256}"


class LostFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A file that documents of an organisation should have, and that was not there whole when the backup was taken.

    ``flaw`` says what was wrong with it: ``is missing`` or ``is damaged``.
    """

    organisation_id: int
    sha256: str
    flaw: str


class Manifest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a backup holds. ``taken_at`` is no later than the state that it shows; tables stand before those that refer to them."""

    format: str
    format_version: int
    product_version: str
    schema_revision: str
    taken_at: str
    tables: tuple[Table, ...]
    organisations: tuple[Held, ...]
    contents: tuple[Content, ...]
    files: tuple[File, ...] = ()
    lost_files: tuple[LostFile, ...] = ()


@dataclass(frozen=True, slots=True)
class Checked:
    """A backup whose every byte was read and found to be as written."""

    manifest: Manifest
    members: dict[str, Member]


class _Kind(msgspec.Struct):
    format: str
    format_version: int


def seal(file: BinaryIO, manifest: Manifest) -> None:
    """Write the manifest and its digest, and with them the archive's end."""
    text = msgspec.json.format(msgspec.json.encode(manifest), indent=1) + b"\n"
    with archive.added(file, MANIFEST) as growing:
        growing.write(text)
    with archive.added(file, SEAL) as growing:
        growing.write(_seal_of(text))
    archive.finish(file)


def check(file: BinaryIO, *, tell: Tell) -> Checked:
    """Read a backup whole and return what it holds.

    Raises:
        Damaged: Anything in it is not as it was written; what that is is named.
    """
    members = archive.members_of(file, tell=tell)
    by_name = {member.name: member for member in members}
    for needed in (MANIFEST, SEAL):
        if needed not in by_name:
            raise Damaged(f"The backup has no {needed}.")
    text = archive.content_of(file, by_name[MANIFEST])
    if archive.content_of(file, by_name[SEAL]) != _seal_of(text):
        raise Damaged(f"{MANIFEST} is not the one that {SEAL} is of.")
    manifest = _read(text)
    _compare(members, manifest)
    return Checked(manifest, by_name)


def _seal_of(text: bytes) -> bytes:
    return f"{sha256(text).hexdigest()}  {MANIFEST}\n".encode()


def _read(text: bytes) -> Manifest:
    try:
        kind = msgspec.json.decode(text, type=_Kind)
        if kind.format != FORMAT or kind.format_version not in READ:
            said = f"The backup is in version {kind.format_version} of the format {kind.format[:40]!a}"
            raise Damaged(f"{said}; this version of Reedbed reads version {VERSION} of {FORMAT}.")
        return msgspec.json.decode(text, type=Manifest)
    except msgspec.DecodeError as odd:
        raise Damaged(f"{MANIFEST} cannot be read: {odd}.") from odd


def _compare(members: Sequence[Member], manifest: Manifest) -> None:
    contents, files = manifest.contents, manifest.files
    found = [member.name for member in members]
    said = [*(content.member for content in contents), *(file.member for file in files), MANIFEST, SEAL]
    for name in said:
        if name not in found:
            raise Damaged(f"{name} is missing from the backup.")
    for name in found:
        if name not in said:
            raise Damaged(f"The backup holds {name}, of which its manifest knows nothing.")
    if found != said:
        raise Damaged("The backup's members are not in the order of its manifest.")
    for member, content in zip(members, contents, strict=False):
        if (member.lines, member.size, member.sha256) != (content.rows, content.size_bytes, content.sha256):
            raise _other_content(member)
    for member, file in zip(members[len(contents) :], files, strict=False):
        if (member.size, member.sha256) != (file.size_bytes, file.sha256):
            raise _other_content(member)


def _other_content(member: Member) -> Damaged:
    return Damaged(f"{member.name} does not have the content that it was written with.")
