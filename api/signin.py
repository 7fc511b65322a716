"""Proof of identity: the key that a program bears, and who stands behind it."""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from uuid import UUID

from api.errors import SignInNeeded
from domain.errors import NotAllowed
from domain.records.engine import Store
from domain.records.lists import KEY_BY_PUBLIC_ID
from domain.records.organisations import Access
from domain.rules.permissions import Powers, Scope

PUBLIC_BYTES = 8
SECRET_BYTES = 32
"""256 bits: a fast hash is enough, because nobody guesses it."""

_BEARER = re.compile(rb"(?i:bearer) +rbk_([A-Za-z0-9]{1,24})_([A-Za-z0-9_-]{1,200})")
_UNKNOWN = "0" * 64

READING = frozenset({Scope.RECORDS_READ, Scope.REPORTS_READ, Scope.IMPORTS_READ})
WRITING = frozenset({Scope.RECORDS_WRITE, Scope.REPORTS_WRITE, Scope.IMPORTS_WRITE})
SCOPES_OF = {Access.READ: READING, Access.WRITE: READING | WRITING}
"""The scopes of a key for which none were named one by one."""


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks, by whatever proof: a program with a key, or a member of staff with a session or another issuer's token.

    ``actor`` and ``credential`` are what the journal says about who did it and by what: ``key:...``, ``staff:...``, ``session:...``.
    """

    organisation_id: int
    actor: str
    credential: str
    name: str
    powers: Powers
    staff_id: UUID | None = None
    on_behalf_of: UUID | None = None


def new_key_parts() -> tuple[str, str]:
    """Return the public part and the secret of a new key, at random."""
    return secrets.token_hex(PUBLIC_BYTES), secrets.token_urlsafe(SECRET_BYTES)


def key_text(public_id: str, secret: str) -> str:
    """Return a key as it is given to its holder, once."""
    return f"rbk_{public_id}_{secret}"


async def sign_in(store: Store, authorization: bytes | None, *, clock: Callable[[], datetime]) -> Caller:
    """Return who a request's Authorization header stands for.

    A key is in force through its last day [date in UTC].

    Raises:
        SignInNeeded: There is no such header, or its key is unknown, ended or past its last day; which of these is not said.
    """
    if authorization is None:
        raise SignInNeeded("Sign in with a key: Authorization: Bearer rbk_...")
    found = _BEARER.fullmatch(authorization)
    if found is None:
        raise SignInNeeded("The Authorization header bears no key of the form rbk_..._...")
    rows = await store.read(KEY_BY_PUBLIC_ID, public_id=found[1].decode())
    row = rows[0] if rows else None
    known = row[4] if row else _UNKNOWN
    if not hmac.compare_digest(sha256(found[2]).hexdigest(), known) or row is None or row[6] is not None or _past(row[5], clock):
        raise SignInNeeded("This key is not in force.", code="key-refused")
    key_id = row[1] if isinstance(row[1], UUID) else UUID(bytes=row[1])
    return Caller(row[0], f"key:{key_id}", f"key:{key_id}", row[2], Powers(scopes=SCOPES_OF[Access(row[3])]))


def require_write(caller: Caller) -> None:
    """Refuse a caller whose key only reads.

    Raises:
        NotAllowed: It only reads.
    """
    if not WRITING & (caller.powers.scopes or frozenset()):
        raise NotAllowed("This key may read but not change anything.", code="key-reads-only")


def _past(expires_on: date | str | None, clock: Callable[[], datetime]) -> bool:
    if expires_on is None:
        return False
    last = expires_on if isinstance(expires_on, date) else date.fromisoformat(expires_on)
    return clock().date() > last
