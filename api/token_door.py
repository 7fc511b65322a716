"""Other issuers' tokens: which issuer speaks for which organisation."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol


class Identity(Protocol):
    """Who a token says that its bearer is."""

    @property
    def issuer(self) -> str: ...  # noqa: D102
    @property
    def subject(self) -> str: ...  # noqa: D102


class TokenDoor(Protocol):
    """What takes a token and says whose it is."""

    async def check(self, token: str, now: datetime) -> tuple[int, Identity]:
        """Return the organisation that a token is for, and who its bearer is.

        Raises:
            SignInNeeded: The token is not taken.
        """
