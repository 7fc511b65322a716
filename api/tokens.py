"""Proof by another issuer's token: signed access tokens of OpenID Connect, checked against the keys that their issuer publishes."""

from __future__ import annotations

import logging
import re
import ssl
from base64 import urlsafe_b64decode
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any, NoReturn

import jwt
from jwt.exceptions import InvalidSubjectError
from jwt.types import Options

from api.errors import TokenRefused
from api.key_sets import ALGORITHMS, Fetcher, KeysAway, KeySet
from api.strict_json import read_json
from domain.errors import Refusal

log = logging.getLogger("reedbed.tokens")

LARGEST_TOKEN = 8192
"""Characters; longer ones are not read at all."""
LEEWAY = timedelta(seconds=30)
"""How far the issuer's clock may be from ours, either way (RFC 8725 and RFC 9068 leave it open; more than a minute is too much)."""
ACCESS_TOKENS = frozenset({"at+jwt", "application/at+jwt"})
"""What an access token says it is (RFC 9068, section 2.1)."""
PLAIN_JWT = "JWT"
"""What issuers say that do not follow it."""

_COMPACT = re.compile(r"[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+")
_SUBJECT = re.compile(r"[!-~]{1,255}")
"""Source: OpenID Connect Core 1.0, section 2: at most 255 characters of ASCII. Kept with neither spaces nor controls."""
_PARTS_OF_ENCRYPTED = 5
_HEADERS_REFUSED = frozenset({"jku", "x5u", "jwk", "crit", "enc", "zip", "cty", "b64"})
"""They name keys elsewhere or bring them along, demand what is not understood here, or wrap something else."""
_OF_ID_TOKENS = frozenset({"nonce", "at_hash", "c_hash", "s_hash"})
"""Claims that tell a client who signed in to it, and have no business in a token for us."""
_OPTIONS: Options = {
    "require": ["exp", "iat", "iss", "aud", "sub"],
    "enforce_minimum_key_length": True,
    # With these the library would read the clock; see _refuse_times.
    "verify_exp": False,
    "verify_iat": False,
    "verify_nbf": False,
}


class Reason(StrEnum):
    """Which check a token failed."""

    SIZE = "size"
    FORM = "form"
    ENCRYPTED = "encrypted"
    HEADER = "header"
    TYPE = "type"
    ALGORITHM = "algorithm"
    ISSUER = "issuer"
    KEY_UNKNOWN = "key-unknown"
    KEY_UNFIT = "key-unfit"
    KEYS_AWAY = "keys-away"
    SIGNATURE = "signature"
    CLAIMS = "claims"
    AUDIENCE = "audience"
    EXPIRED = "expired"
    NOT_YET = "not-yet"
    SUBJECT = "subject"
    SCOPE = "scope"


@dataclass(frozen=True, slots=True)
class Issuer:
    """An issuer whose access tokens are accepted, and on which conditions.

    ``url`` is what its tokens say in ``iss``, to the letter; ``audience`` is what it calls this service, which no other service may be
    called. Without ``keys_url`` that is asked of the issuer (OpenID Connect Discovery 1.0). ``types`` are values of the header's ``typ``;
    with ``PLAIN_JWT`` among them a token without ``typ`` is accepted too, and one with a claim of ID tokens is not.

    Raises:
        ValueError: An algorithm is not of the asymmetric ones that are known here, or something is empty.
    """

    url: str
    audience: str
    algorithms: frozenset[str] = frozenset({"RS256", "ES256"})
    keys_url: str | None = None
    required_scope: str | None = None
    types: frozenset[str] = ACCESS_TOKENS

    def __post_init__(self) -> None:
        """Refuse what could never be meant."""
        if not (self.url and self.audience and self.algorithms and self.types):
            raise ValueError("an issuer needs a URL, an audience, algorithms and types of token")
        if not self.algorithms <= ALGORITHMS:
            raise ValueError(f"not among the asymmetric algorithms {sorted(ALGORITHMS)}: {sorted(self.algorithms - ALGORITHMS)}")


@dataclass(frozen=True, slots=True)
class Identity:
    """Who a token stands for: what an issuer calls somebody. Never an address of mail, which the issuer may give to another."""

    issuer: str
    subject: str


class TokenChecker:
    """Checks tokens of some issuers; keeps their keys. It belongs to one event loop.

    ``tls`` says which authorities are trusted, otherwise those that come with httpx. ``allow_loopback_http`` is for issuers on the same
    machine. A fetch of keys takes at most ``fetch_within_s`` [s].

    Raises:
        ValueError: Two issuers have one URL, or a URL is not https.
    """

    def __init__(
        self,
        issuers: Iterable[Issuer],
        *,
        tls: ssl.SSLContext | None = None,
        allow_loopback_http: bool = False,
        fetch_within_s: float = 3.0,
    ) -> None:
        fetcher = Fetcher(tls=tls, allow_loopback_http=allow_loopback_http, within_s=fetch_within_s)
        self._trusted: dict[str, tuple[Issuer, KeySet]] = {}
        for issuer in issuers:
            if issuer.url in self._trusted:
                raise ValueError(f"two issuers have the URL {issuer.url}")
            self._trusted[issuer.url] = (issuer, KeySet(issuer.url, keys_url=issuer.keys_url, fetcher=fetcher))

    async def check(self, token: str, *, now: datetime) -> Identity:
        """Return who a token stands for at an instant.

        The token is in force until ``LEEWAY`` after its ``exp``, from ``LEEWAY`` before its ``iat`` and ``nbf``.

        Raises:
            TokenRefused: Any check failed; which one is logged and in its ``reason``, not in its sentence.

        Source:
            RFC 8725 (JSON Web Token Best Current Practices); RFC 9068, section 4 (access tokens).
        """
        try:
            return await self._checked(token, now=now)
        except TokenRefused as refused:
            log.info("a token was refused: %s", refused.reason)
            raise

    async def _checked(self, token: str, *, now: datetime) -> Identity:
        header, claimed = _read(token)
        issuer, key_set = self._issuer_of(claimed)
        kid = _kid_of(header, claimed=claimed, issuer=issuer)
        try:
            keys = await key_set.named(kid, now=now)
        except KeysAway:
            _refuse(Reason.KEYS_AWAY)
        if not keys:
            _refuse(Reason.KEY_UNKNOWN)
        fitting = [key for key in keys if header["alg"] in key.algorithms]
        if not fitting:
            _refuse(Reason.KEY_UNFIT)
        claims = _verified(token, key=fitting[0].public, issuer=issuer)
        _refuse_times(claims, now=now)
        if issuer.required_scope is not None and issuer.required_scope not in str(claims.get("scope", "")).split():
            _refuse(Reason.SCOPE)
        return Identity(issuer.url, claims["sub"])

    def _issuer_of(self, claimed: Mapping[str, Any]) -> tuple[Issuer, KeySet]:
        said = claimed.get("iss")
        if not isinstance(said, str) or said not in self._trusted:
            _refuse(Reason.ISSUER)
        return self._trusted[said]


def _refuse(reason: Reason) -> NoReturn:
    raise TokenRefused(reason=reason)


def _read(token: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the header and the claims as the token states them, before anything is proved."""
    if len(token) > LARGEST_TOKEN:
        _refuse(Reason.SIZE)
    if token.count(".") == _PARTS_OF_ENCRYPTED - 1:
        _refuse(Reason.ENCRYPTED)
    if _COMPACT.fullmatch(token) is None:
        _refuse(Reason.FORM)
    header, claims, _ = token.split(".")
    return _object(header), _object(claims)


def _object(part: str) -> dict[str, Any]:
    """Return one part's JSON object. A member that is there twice could be read two ways, so that neither is."""
    try:
        value = read_json(urlsafe_b64decode(part + "=" * (-len(part) % 4)))
    except (ValueError, Refusal):
        _refuse(Reason.FORM)
    if not isinstance(value, dict):
        _refuse(Reason.FORM)
    return value


def _kid_of(header: Mapping[str, Any], *, claimed: Mapping[str, Any], issuer: Issuer) -> str:
    """Return which key a header names, once all else that it says has been found good."""
    kid, said_type, algorithm = header.get("kid"), header.get("typ", PLAIN_JWT), header.get("alg")
    if _HEADERS_REFUSED & header.keys() or not isinstance(kid, str) or not kid:
        _refuse(Reason.HEADER)
    if not isinstance(said_type, str) or said_type.lower() not in {one.lower() for one in issuer.types}:
        _refuse(Reason.TYPE)
    if said_type.lower() == PLAIN_JWT.lower() and _OF_ID_TOKENS & claimed.keys():
        _refuse(Reason.TYPE)
    if not isinstance(algorithm, str) or algorithm not in issuer.algorithms:
        _refuse(Reason.ALGORITHM)
    return kid


def _verified(token: str, *, key: Any, issuer: Issuer) -> dict[str, Any]:  # noqa: ANN401 - one of the library's kinds of key
    try:
        claims: dict[str, Any] = jwt.decode(
            token, key, algorithms=sorted(issuer.algorithms), options=_OPTIONS, audience=issuer.audience, issuer=issuer.url
        )
    except jwt.InvalidSignatureError:
        _refuse(Reason.SIGNATURE)
    except jwt.InvalidAudienceError:
        _refuse(Reason.AUDIENCE)
    except InvalidSubjectError:
        _refuse(Reason.SUBJECT)
    except jwt.PyJWTError:
        _refuse(Reason.CLAIMS)
    if _SUBJECT.fullmatch(claims["sub"]) is None:
        _refuse(Reason.SUBJECT)
    return claims


def _refuse_times(claims: Mapping[str, Any], *, now: datetime) -> None:
    at, leeway = now.timestamp(), LEEWAY.total_seconds()
    if at >= _seconds(claims["exp"]) + leeway:
        _refuse(Reason.EXPIRED)
    if max(_seconds(claims["iat"]), _seconds(claims.get("nbf", 0))) > at + leeway:
        _refuse(Reason.NOT_YET)


def _seconds(said: Any) -> float:  # noqa: ANN401 - whatever the token says
    if isinstance(said, bool) or not isinstance(said, int | float):
        _refuse(Reason.CLAIMS)
    return said
