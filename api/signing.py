"""The key that signs checkpoints of the journal (Ed25519, RFC 8032), and the second place where they are written down.

The second place is a folder that the database's keeper should not be able to change: a share, a mounted bucket, a medium written once. Each
organisation has a file there, one checkpoint a line, only ever appended to.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import msgspec
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from domain.actions.checkpoints import IsSigned
from domain.records.base import row_of
from domain.records.journal import JournalCheckpoint
from domain.records.statements import instant_text


class KeyUnusable(ValueError):  # noqa: N818 - said to whoever gave the file
    """A file holds no Ed25519 key of the kind that is needed."""


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
        KeyUnusable: There is no Ed25519 private key in it, or it is locked by a passphrase.
        OSError: The file cannot be read.
    """
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (ValueError, TypeError):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise KeyUnusable(f"{path} holds no Ed25519 private key in PEM. Make one with: openssl genpkey -algorithm ed25519 -out FILE")
    return Signer(key)


def read_public_keys(paths: list[Path]) -> Mapping[str, Ed25519PublicKey]:
    """Return public keys from PEM files, by name; of a file with a private key, its public half.

    Raises:
        KeyUnusable: One holds no Ed25519 key.
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
    path = folder / f"{checkpoint.organisation_id}.jsonl"
    line = msgspec.json.encode({**row_of(checkpoint), "at": instant_text(checkpoint.at)}) + b"\n"
    with path.open("ab") as file:
        file.write(line)
        file.flush()
        os.fsync(file.fileno())
    return path


def read_elsewhere(folder: Path, organisation_id: int) -> Iterator[JournalCheckpoint]:
    """Yield the checkpoints of an organisation in the second place, in the order in which they were written.

    Raises:
        ValueError: A line is no checkpoint; the line is named.
    """
    path = folder / f"{organisation_id}.jsonl"
    if not path.exists():
        return
    for number, line in enumerate(path.read_bytes().splitlines(), start=1):
        yield _checkpoint(line, where=f"{path}, line {number}")


def _checkpoint(line: bytes, *, where: str) -> JournalCheckpoint:
    try:
        said: dict[str, Any] = msgspec.json.decode(line, type=dict[str, Any])
        said["at"] = datetime.fromisoformat(said["at"])
        if said.keys() == set(JournalCheckpoint.model_fields):
            return JournalCheckpoint(**said)
    except (KeyError, TypeError, ValueError) as unread:
        raise ValueError(f"{where}: this is no checkpoint") from unread
    raise ValueError(f"{where}: this is no checkpoint")


def _public_key(path: Path) -> Ed25519PublicKey:
    content = path.read_bytes()
    for load in (serialization.load_pem_public_key, lambda pem: read_signer(path).key.public_key() if pem else None):
        try:
            key = load(content)
        except ValueError:
            continue
        if isinstance(key, Ed25519PublicKey):
            return key
    raise KeyUnusable(f"{path} holds no Ed25519 key in PEM")
