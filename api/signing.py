"""The key that signs checkpoints of the journal (Ed25519, RFC 8032), and the second place where they are written down.

The second place is a folder that the database's keeper should not be able to change: a share, a mounted bucket, a medium written once. Each
organisation has a file there, one checkpoint a line, only ever appended to.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated

import msgspec
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from api.settings import openness
from domain.actions.checkpoints import IsSigned
from domain.actions.replay import Flaw
from domain.records.base import row_of
from domain.records.journal import JournalCheckpoint
from domain.records.statements import instant_text


class KeyUnusable(ValueError):  # noqa: N818 - said to whoever gave the file
    """A file holds no Ed25519 key of the kind that is needed, or others may read a private one."""


class _Line(msgspec.Struct, forbid_unknown_fields=True):
    """A checkpoint as it is written down in the second place."""

    organisation_id: int
    position: Annotated[int, msgspec.Meta(ge=1, le=2**63 - 1)]
    hash: str
    at: Annotated[datetime, msgspec.Meta(tz=True)]
    key_id: str
    signature: str


@dataclass(frozen=True, slots=True)
class Signer:
    """A private key and the name by which its signatures are known."""

    key: Ed25519PrivateKey

    @property
    def key_id(self) -> str:
        """The name of the key: the start of its public half's SHA-256."""
        return key_id_of(self.key.public_key())

    def sign(self, text: bytes) -> str:
        """Return the signature of a text, in Base64."""
        return base64.b64encode(self.key.sign(text)).decode()


def read_signer(path: Path) -> Signer:
    """Return the signer whose private key is in a PEM file.

    Raises:
        KeyUnusable: There is no Ed25519 private key in it, it is locked by a passphrase, or others than its owner may read it.
        OSError: The file cannot be read.
    """
    if fault := openness(path):
        raise KeyUnusable(fault[0].upper() + fault[1:])
    try:
        key: object = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise KeyUnusable(f"{path} holds no Ed25519 private key in PEM. Make one with: openssl genpkey -algorithm ed25519 -out FILE")
    return Signer(key)


def read_public_keys(paths: Sequence[Path]) -> Mapping[str, Ed25519PublicKey]:
    """Return public keys from PEM files, by name; of a file with a private key, its public half.

    Raises:
        KeyUnusable: One holds no Ed25519 key, or a private one that others may read.
        OSError: One cannot be read.
    """
    keys = [_public_key(path) for path in paths]
    return {key_id_of(key): key for key in keys}


def signed_by(keys: Mapping[str, Ed25519PublicKey]) -> IsSigned:
    """Return what tells whether a text was signed by one of these keys."""

    def is_signed(text: bytes, signature: str, key_id: str) -> bool:
        if key_id not in keys:
            return False
        try:
            keys[key_id].verify(base64.b64decode(signature, validate=True), text)
        except (InvalidSignature, ValueError):
            return False
        return True

    return is_signed


def key_id_of(key: Ed25519PublicKey) -> str:
    """Return the name of a public key."""
    return sha256(key.public_bytes_raw()).hexdigest()[:16]


def write_elsewhere(folder: Path, checkpoint: JournalCheckpoint) -> Path:
    """Append a checkpoint to its organisation's file in the second place, see that it is on the medium, and return the file.

    Raises:
        OSError: It cannot be written there.
    """
    path = _file_of(folder, checkpoint.organisation_id)
    line = msgspec.json.encode({**row_of(checkpoint), "at": instant_text(checkpoint.at)}) + b"\n"
    is_new = not path.exists()
    with path.open("ab") as file:
        file.write(line if _ends_a_line(path) else b"\n" + line)
        file.flush()
        os.fsync(file.fileno())
    if is_new:
        _settle(folder)
    return path


def read_elsewhere(folder: Path, organisation_id: int) -> tuple[list[JournalCheckpoint], list[Flaw]]:
    """Return the checkpoints of an organisation in the second place, and a flaw for each line that is none.

    Raises:
        OSError: The file cannot be read.
    """
    path, found, flaws = _file_of(folder, organisation_id), [], []
    lines = path.read_bytes().splitlines() if path.exists() else []
    for number, line in enumerate(lines, start=1):
        checkpoint = _checkpoint(line, organisation_id=organisation_id)
        if checkpoint is None:
            flaws.append(Flaw(None, f"{path}, line {number}: this is no checkpoint of this organisation."))
        else:
            found.append(checkpoint)
    return found, flaws


def _file_of(folder: Path, organisation_id: int) -> Path:
    return folder / f"{organisation_id}.jsonl"


def _ends_a_line(path: Path) -> bool:
    """Return whether a line that is appended is a line of its own; what was broken off in the middle stays one that is unreadable."""
    return path.stat().st_size == 0 or path.read_bytes().endswith(b"\n")


def _settle(folder: Path) -> None:
    """See that a new file's name is on the medium as well, where the system lets a folder be opened."""
    if os.name != "posix":
        return
    place = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(place)
    finally:
        os.close(place)


def _checkpoint(line: bytes, *, organisation_id: int) -> JournalCheckpoint | None:
    try:
        said = msgspec.json.decode(line, type=_Line)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    return JournalCheckpoint(**msgspec.structs.asdict(said)) if said.organisation_id == organisation_id else None


def _public_key(path: Path) -> Ed25519PublicKey:
    try:
        key: object = serialization.load_pem_public_key(path.read_bytes())
    except (ValueError, UnsupportedAlgorithm):
        return read_signer(path).key.public_key()
    if not isinstance(key, Ed25519PublicKey):
        raise KeyUnusable(f"{path} holds no Ed25519 key in PEM")
    return key
