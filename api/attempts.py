"""An attempt to prove that one is the holder of an account: counted first, and refused in one and the same way whatever was wrong."""

from __future__ import annotations

import hmac
import logging
from dataclasses import dataclass
from datetime import datetime
from typing import NoReturn
from uuid import UUID

from api.errors import SignInNeeded
from api.limits import Kind
from api.visits import Visit
from domain.records.powers import ACCOUNT_AT_SIGN_IN
from domain.rules.text import same_name

log = logging.getLogger("reedbed")


class AttemptRefused(SignInNeeded):
    """What was shown proves nothing. ``reason`` is for the log and the metrics, never for whoever asked."""

    def __init__(self, detail: str, *, code: str = "sign-in-refused", reason: str = "") -> None:
        super().__init__(detail, code=code)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class KnownAccount:
    """An account in force, and what it is proved by."""

    account_id: UUID
    staff_id: UUID
    name: str
    password_hash: str | None
    code_sha256: str | None
    code_expires_at: datetime | None

    def takes(self, shown_sha256: str, *, now: datetime) -> bool:
        """Say whether a code whose digest is shown is the account's, and still good."""
        if self.code_sha256 is None or self.code_expires_at is None or self.code_expires_at <= now:
            return False
        return hmac.compare_digest(self.code_sha256, shown_sha256)


@dataclass(frozen=True, slots=True)
class Attempt:
    """What was said of whose account it is."""

    visit: Visit
    organisation_id: int
    sign_in_name: str

    @property
    def name_key(self) -> str:
        """The name in the form in which two spellings of it are equal."""
        return same_name(self.sign_in_name)

    @property
    def key(self) -> tuple[int, str, str]:
        """What attempts at one account are counted by, whether there is such an account or not.

        The address is part of it: whoever guesses from elsewhere does not keep the account's holder waiting.
        """
        return self.organisation_id, self.name_key, self.visit.address

    async def account(self) -> KnownAccount | None:
        """Count the attempt and return the account, ``None`` where there is none in force by that name.

        Raises:
            TooMany: There were too many of late, from this address or at this name.
        """
        limits, store = self.visit.house.limits, self.visit.house.store
        limits.refuse_excess(Kind.SIGN_IN_NAME, self.key)
        limits.refuse_excess(Kind.SIGN_IN_ADDRESS, self.visit.address)
        rows = await store.read(ACCOUNT_AT_SIGN_IN, organisation_id=self.organisation_id, sign_in_name_key=self.name_key)
        return KnownAccount(*ACCOUNT_AT_SIGN_IN.on(store.dialect).python_row(rows[0])) if rows else None

    def succeeded(self) -> None:
        """Grant the name all its attempts again, and the address this one; nobody clears an address with an account of their own."""
        self.visit.house.limits.forget(Kind.SIGN_IN_NAME, self.key)
        self.visit.house.limits.give_back(Kind.SIGN_IN_ADDRESS, self.visit.address)

    def refuse(self, detail: str, *, code: str, reason: str) -> NoReturn:
        """Log why and refuse.

        Raises:
            AttemptRefused: Always.
        """
        facts = {"organisation_id": self.organisation_id, "request_id": self.visit.request_id, "code": reason}
        log.info("an attempt at an account was refused", extra=facts)
        raise AttemptRefused(detail, code=code, reason=reason)
