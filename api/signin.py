"""Proof of identity: a program's key, a person's session, or another issuer's token, and the one ``Caller`` that each of them makes."""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any
from uuid import UUID

from api.errors import Malformed, SignInNeeded
from domain.records.engine import Store
from domain.records.entrance import KEY_AT_THE_DOOR
from domain.records.organisations import Access
from domain.records.powers import POWERS_OF_IDENTITY, POWERS_OF_SESSION, POWERS_OF_STAFF
from domain.records.statements import Row, Statement
from domain.rules.permissions import Grant, Powers, Scope

if TYPE_CHECKING:
    from api.context import House

PUBLIC_BYTES = 8
SECRET_BYTES = 32
"""256 bits: a fast hash is enough, because nobody guesses it."""
IDLE = timedelta(hours=12)
"""How long a session lasts without a request."""
LONGEST = timedelta(days=7)
"""How long a session lasts at most."""
ON_BEHALF_OF = b"reedbed-on-behalf-of"

_BEARER = re.compile(rb"(?i:bearer) +([!-~]+)")
_KEY = re.compile(rb"rbk_([A-Za-z0-9]{1,24})_([A-Za-z0-9_-]{1,200})")
_SESSION = re.compile(rb"rbs_([1-9][0-9]{0,18})_([A-Za-z0-9_-]{1,200})")
_TOKEN = re.compile(rb"[A-Za-z0-9_-]+\.[A-Za-z0-9_-]*\.[A-Za-z0-9_-]*(\.[A-Za-z0-9_.-]*)?")
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
    for_powers: Powers | None = None
    """What the member of staff may do for whom a program acts; the program then may no more than both may."""

    @property
    def session_id(self) -> UUID | None:
        """The session by whose token the caller came, if that is how."""
        kind, _, own_id = self.credential.partition(":")
        return UUID(own_id) if kind == "session" else None


def new_key_parts() -> tuple[str, str]:
    """Return the public part and the secret of a new key, at random."""
    return secrets.token_hex(PUBLIC_BYTES), secrets.token_urlsafe(SECRET_BYTES)


def key_text(public_id: str, secret: str) -> str:
    """Return a key as it is given to its holder, once."""
    return f"rbk_{public_id}_{secret}"


def session_text(organisation_id: int, secret: str) -> str:
    """Return a session's token as it is given to the person who signed in, once. The organisation in it is no secret."""
    return f"rbs_{organisation_id}_{secret}"


async def sign_in(house: House, headers: Mapping[bytes, bytes]) -> Caller:
    """Return who a request's headers stand for.

    Raises:
        SignInNeeded: There is no proof, or it is unknown, ended, or past its time; which of these is not said.
        Malformed: The member of staff for whom a program says that it acts is none.
    """
    proof = _proof(headers.get(b"authorization"))
    key, session = _KEY.fullmatch(proof), _SESSION.fullmatch(proof)
    if key is None and ON_BEHALF_OF in headers:
        raise Malformed("Only a program acts on behalf of somebody: leave Reedbed-On-Behalf-Of out.", code="on-behalf-of-unknown")
    if key is not None:
        return await _for_staff(house, await _by_key(house, key[1], key[2]), headers.get(ON_BEHALF_OF))
    if session is not None:
        return await _by_session(house, int(session[1]), proof)
    if house.tokens is not None and _TOKEN.fullmatch(proof):
        return await _by_token(house, proof.decode())
    raise SignInNeeded("The Authorization header bears neither a key nor a session's token.")


def brought_along(headers: Mapping[bytes, bytes]) -> str | None:
    """Return the digest of the token that a request bears, whatever it is, by which its session is on record; ``None`` without one."""
    found = _BEARER.fullmatch(headers.get(b"authorization", b""))
    return None if found is None else sha256(found[1]).hexdigest()


def _proof(authorization: bytes | None) -> bytes:
    if authorization is None:
        raise SignInNeeded("Sign in with a key or a session: Authorization: Bearer ...")
    found = _BEARER.fullmatch(authorization)
    if found is None:
        raise SignInNeeded("The Authorization header should be: Bearer, a blank, and a key or a session's token.")
    return found[1]


async def _by_key(house: House, public_id: bytes, secret: bytes) -> Caller:
    """Return a key's caller. A key is in force through its last day [date in UTC]."""
    rows = await house.store.enter(KEY_AT_THE_DOOR, public_id=public_id.decode())
    row = rows[0] if rows else None
    known = row[4] if row else _UNKNOWN
    if not hmac.compare_digest(sha256(secret).hexdigest(), known) or row is None or row[6] is not None or _past(row[5], house.clock()):
        raise SignInNeeded("This key is not in force.", code="key-refused")
    organisation_id, key_id = row[0], row[1] if isinstance(row[1], UUID) else UUID(bytes=row[1])
    house.uses.of_key(organisation_id, key_id, at=house.clock())
    powers = _POWERS_OF_ACCESS[row[3]] if row[7] is None and row[8] is None else _powers_of_key(house.store, row)
    return Caller(organisation_id, f"key:{key_id}", f"key:{key_id}", row[2], powers)


def _powers_of_key(store: Store, row: Row) -> Powers:
    *_, scopes, site_ids = KEY_AT_THE_DOOR[store.dialect].on(store.dialect).python_row(row)
    known = SCOPES_OF[Access(row[3])] if scopes is None else frozenset(Scope(one) for one in scopes)
    return Powers(scopes=known, site_ids=None if site_ids is None else frozenset(UUID(one) for one in site_ids))


async def _for_staff(house: House, caller: Caller, said: bytes | None) -> Caller:
    """Return the caller of a program that acts for a member of staff."""
    if said is None:
        return caller
    try:
        staff_id = UUID(said.decode("ascii", errors="replace"))
    except ValueError:
        staff_id = None
    rows = [] if staff_id is None else await _rows(house.store, POWERS_OF_STAFF, organisation_id=caller.organisation_id, id=staff_id)
    if not rows:
        raise Malformed("Reedbed-On-Behalf-Of should be the id of a member of staff.", code="on-behalf-of-unknown")
    return replace(caller, on_behalf_of=staff_id, for_powers=Powers(grants=grants_in(rows)))


async def _by_session(house: House, organisation_id: int, token: bytes) -> Caller:
    now = house.clock()
    rows = []
    if organisation_id < 1 << 63:
        asked = {"token_sha256": sha256(token).hexdigest(), "now": now, "idle_since": now - IDLE}
        rows = await _rows(house.store, POWERS_OF_SESSION, organisation_id=organisation_id, **asked)
    if not rows:
        raise SignInNeeded("This session has ended. Please sign in again.", code="session-ended")
    session_id, last_seen_at = rows[0][6:]
    house.uses.of_session(organisation_id, session_id, at=now, last_at=last_seen_at)
    return _caller_of_staff(organisation_id, rows, credential=f"session:{session_id}")


async def _by_token(house: House, token: str) -> Caller:
    """Return the caller of another issuer's token, whose holder has to have an account here that is in force."""
    assert house.tokens is not None  # noqa: S101 - asked by the caller of this function
    organisation_id, identity = await house.tokens.check(token, house.clock())
    who = {"issuer": identity.issuer, "subject": identity.subject}
    rows = await _rows(house.store, POWERS_OF_IDENTITY, organisation_id=organisation_id, **who)
    if not rows:
        raise SignInNeeded("This token is not taken here.", code="token-refused")
    return _caller_of_staff(organisation_id, rows, credential=f"identity:{rows[0][6]}")


def _caller_of_staff(organisation_id: int, rows: Sequence[Row], *, credential: str) -> Caller:
    staff_id, name = rows[0][:2]
    return Caller(organisation_id, f"staff:{staff_id}", credential, name, Powers(grants=grants_in(rows)), staff_id=staff_id)


def grants_in(rows: Sequence[Row]) -> tuple[Grant, ...]:
    """Return the grants in rows that begin with a member of staff and go on with a grant, as ``records.powers`` reads them."""
    own = Grant(rows[0][2], rows[0][3])
    return (own, *(Grant(row[4], row[5]) for row in rows if row[4] is not None))


async def _rows(store: Store, statement: Statement, **parameters: Any) -> list[Row]:  # noqa: ANN401 - column values
    compiled = statement.on(store.dialect)
    return [compiled.python_row(row) for row in await store.read(statement, **parameters)]


def _past(expires_on: date | str | None, now: datetime) -> bool:
    if expires_on is None:
        return False
    last = expires_on if isinstance(expires_on, date) else date.fromisoformat(expires_on)
    return now.date() > last


_POWERS_OF_ACCESS = {access.value: Powers(scopes=scopes) for access, scopes in SCOPES_OF.items()}
