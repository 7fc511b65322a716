"""A sheet as the one sequence of bytes that stands for it, and its fingerprint."""

import json
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from hashlib import sha256
from typing import Any


def canonical_json(sheet: Any) -> bytes:  # noqa: ANN401 - any sheet
    """Return a sheet as canonical JSON: sorted keys, no spaces, ASCII, ISO dates, instants in UTC with ``Z``.

    Raises:
        TypeError: It holds something that is no text, number, date, instant or sheet of such.
    """
    return json.dumps(sheet, sort_keys=True, separators=(",", ":"), ensure_ascii=True, default=plain).encode("ascii")


def record_hash(sheet: Any) -> str:  # noqa: ANN401 - any sheet
    """Return the SHA-256 [hex] of the sheet's canonical JSON; equal sheets have equal hashes."""
    return sha256(canonical_json(sheet)).hexdigest()


def plain(value: object) -> object:
    """Return what JSON knows no form of in the form that it is written in.

    Raises:
        TypeError: A sheet holds nothing of its kind.
    """
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: getattr(value, field.name) for field in fields(value)}
    raise TypeError(f"a sheet holds no {type(value).__name__}")
