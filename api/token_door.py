"""Other issuers' tokens: which issuer speaks for which organisation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Protocol

from api.settings import TokenIssuer
from api.tokens import Issuer, TokenChecker


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


class IssuersDoor:
    """Takes the tokens of some issuers, each of which speaks for one organisation."""

    def __init__(self, checker: TokenChecker, *, organisations: Mapping[str, int]) -> None:
        self._checker = checker
        self._organisations = organisations

    async def check(self, token: str, now: datetime) -> tuple[int, Identity]:
        """Return the organisation that a token is for, and who its bearer is; see ``TokenDoor``."""
        identity = await self._checker.check(token, now=now)
        return self._organisations[identity.issuer], identity


def door_of(stated: Sequence[TokenIssuer]) -> TokenDoor | None:
    """Return the door for the issuers of the settings, ``None`` where there are none.

    Issuers on this machine may be asked without TLS, but only where there are no others: what another one said could then lead here.
    """
    if not stated:
        return None
    checker = TokenChecker([_issuer(one) for one in stated], allow_loopback_http=all(one.is_local for one in stated))
    return IssuersDoor(checker, organisations={one.url: one.organisation_id for one in stated})


def _issuer(stated: TokenIssuer) -> Issuer:
    return Issuer(
        stated.url,
        stated.audience,
        algorithms=frozenset(stated.algorithms),
        keys_url=stated.keys_url,
        required_scope=stated.required_scope,
        types=frozenset(stated.types),
    )
