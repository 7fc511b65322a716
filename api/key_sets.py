"""The keys that other issuers publish: fetched with care, kept while they are fresh, and for a day while the issuer is away."""

from __future__ import annotations

import asyncio
import ipaddress
import logging
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import httpx
import jwt
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePublicKey
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey

from api.strict_json import read_json
from domain.errors import Refusal

log = logging.getLogger("reedbed.tokens")

FRESH_FOR = timedelta(minutes=10)
KEPT_FOR = timedelta(hours=24)
"""How long the keys of an issuer that is away are still believed."""
AGAIN_AFTER = timedelta(seconds=30)
"""Between two fetches, whatever tokens say: whoever invents key ids must not make us call the issuer each time."""
LARGEST_SET = 256 * 1024
"""Bytes."""
MOST_KEYS = 100
SMALLEST_RSA, LARGEST_RSA = 2048, 8192
"""Bits. Smaller ones are not safe (NIST SP 800-131A); larger ones only cost."""

_RSA = frozenset({"RS256", "RS384", "RS512", "PS256", "PS384", "PS512"})
_CURVES = {"secp256r1": "ES256", "secp384r1": "ES384", "secp521r1": "ES512"}
_EDWARDS = "EdDSA"
ALGORITHMS = frozenset({*_RSA, *_CURVES.values(), _EDWARDS})
"""The algorithms that an issuer may use: none in which we would share a secret with it."""

PublicKey = RSAPublicKey | EllipticCurvePublicKey | Ed25519PublicKey


class KeysAway(Exception):  # noqa: N818 - a state of the issuer, not a defect
    """An issuer's keys could not be had."""


@dataclass(frozen=True, slots=True)
class Key:
    """A public key, and the algorithms that it is for."""

    public: PublicKey
    algorithms: frozenset[str]


class Fetcher:
    """Fetches JSON from issuers: over TLS, without redirects or proxies of the environment, within a time [s] and a size."""

    def __init__(self, *, tls: ssl.SSLContext | None, allow_loopback_http: bool, within_s: float) -> None:
        self._tls = tls or httpx.create_ssl_context(trust_env=False)
        self._allow_loopback_http = allow_loopback_http
        self._within_s = within_s

    def refuse_address(self, url: str) -> None:
        """Refuse to fetch from an address over anything but TLS.

        Raises:
            ValueError: It is not https, nor http on this machine where that is allowed, or it names a user.
        """
        try:
            parsed = httpx.URL(url)
        except httpx.InvalidURL as wrong:
            raise ValueError(f"no address: {wrong}") from wrong
        secure = parsed.scheme == "https" or (parsed.scheme == "http" and self._allow_loopback_http and _is_loopback(parsed.host))
        if not secure or not parsed.host or parsed.userinfo:
            raise ValueError(f"not an https address: {url}")

    async def read(self, url: str) -> Any:  # noqa: ANN401 - any JSON value
        """Return what JSON is at an address.

        Raises:
            KeysAway: There is none, it is too large, or it did not come in time.
        """
        try:
            self.refuse_address(url)
            async with asyncio.timeout(self._within_s):
                return read_json(await self._bytes_at(url))
        except (httpx.HTTPError, ssl.SSLError, TimeoutError, ValueError, Refusal) as wrong:
            raise KeysAway(type(wrong).__name__) from wrong

    async def _bytes_at(self, url: str) -> bytes:
        settings: dict[str, Any] = {"verify": self._tls, "trust_env": False, "follow_redirects": False, "timeout": self._within_s}
        headers = {"accept": "application/json", "accept-encoding": "identity"}
        async with httpx.AsyncClient(**settings) as client, client.stream("GET", url, headers=headers) as answer:
            if answer.status_code != httpx.codes.OK:
                raise KeysAway(f"status {answer.status_code}")
            body = bytearray()
            # Raw, so that nothing small unpacks into something large.
            async for piece in answer.aiter_raw():
                body += piece
                if len(body) > LARGEST_SET:
                    raise KeysAway("too large")
            return bytes(body)


class KeySet:
    """One issuer's keys by their ids, as last fetched."""

    def __init__(self, issuer_url: str, *, keys_url: str | None, fetcher: Fetcher) -> None:
        fetcher.refuse_address(keys_url or issuer_url)
        self._issuer_url = issuer_url
        self._keys_url = keys_url
        self._fetcher = fetcher
        self._keys: Mapping[str, tuple[Key, ...]] = {}
        self._fetched_at: datetime | None = None
        self._tried_at: datetime | None = None
        self._fetching: asyncio.Task[None] | None = None

    async def named(self, kid: str, *, now: datetime) -> tuple[Key, ...]:
        """Return the keys with an id; none when the issuer does not have it, as far as may be known.

        Whoever asks while keys are being fetched waits for that fetch.

        Raises:
            KeysAway: They were never fetched, or more than ``KEPT_FOR`` ago.
        """
        if kid not in self._keys or not _within(FRESH_FOR, self._fetched_at, now=now):
            await self._refresh(now=now)
        if not _within(KEPT_FOR, self._fetched_at, now=now):
            raise KeysAway("never fetched, or too long ago")
        return self._keys.get(kid, ())

    async def _refresh(self, *, now: datetime) -> None:
        if self._fetching is None:
            if _within(AGAIN_AFTER, self._tried_at, now=now):
                return
            self._tried_at = now
            self._fetching = asyncio.create_task(self._fetch(now=now))
        # Whoever began it may go away; the others still wait for it.
        await asyncio.shield(self._fetching)

    async def _fetch(self, *, now: datetime) -> None:
        try:
            self._keys = _keys_in(await self._fetcher.read(self._keys_url or await self._discovered()))
            self._fetched_at = now
        except KeysAway as away:
            log.warning("the keys of %s could not be fetched: %s", self._issuer_url, away)
        finally:
            self._fetching = None

    async def _discovered(self) -> str:
        """Return where the issuer says its keys are (OpenID Connect Discovery 1.0, section 4)."""
        stated = await self._fetcher.read(f"{self._issuer_url.rstrip('/')}/.well-known/openid-configuration")
        if not isinstance(stated, dict) or stated.get("issuer") != self._issuer_url or not isinstance(stated.get("jwks_uri"), str):
            raise KeysAway("its configuration is not its own")
        return str(stated["jwks_uri"])


def _within(span: timedelta, since: datetime | None, *, now: datetime) -> bool:
    # A clock that was set back makes a time to come; that is as long ago as it is ahead.
    return since is not None and abs(now - since) < span


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _keys_in(stated: Any) -> dict[str, tuple[Key, ...]]:  # noqa: ANN401 - whatever the issuer answered
    """Return the usable keys of a set by id; one that cannot be used does not spoil the others (RFC 7517, section 5)."""
    listed = stated.get("keys") if isinstance(stated, dict) else None
    if not isinstance(listed, list) or len(listed) > MOST_KEYS:
        raise KeysAway("not a set of keys")
    found: dict[str, tuple[Key, ...]] = {}
    for one in listed:
        key = _key_of(one)
        if key is not None:
            found[one["kid"]] = (*found.get(one["kid"], ()), key)
    if not found:
        raise KeysAway("no key in it can be used")
    return found


def _key_of(stated: Any) -> Key | None:  # noqa: ANN401 - whatever the issuer answered
    if not isinstance(stated, dict) or not isinstance(stated.get("kid"), str) or not _is_for_verifying(stated):
        return None
    try:
        public = jwt.PyJWK(stated).key
    except (jwt.PyJWTError, UnsupportedAlgorithm, ValueError, TypeError, AttributeError, KeyError):
        return None
    algorithms = frozenset(one for one in _algorithms_of(public) if stated.get("alg", one) == one)
    return Key(public, algorithms) if algorithms else None


def _is_for_verifying(stated: Mapping[str, Any]) -> bool:
    uses = stated.get("key_ops", ["verify"])
    return stated.get("use", "sig") == "sig" and isinstance(uses, list) and "verify" in uses


def _algorithms_of(public: PublicKey) -> frozenset[str]:
    """Return what a key is for: nothing where it is weak, shared, or private, since a private key that was published is given away."""
    if isinstance(public, RSAPublicKey):
        return _RSA if SMALLEST_RSA <= public.key_size <= LARGEST_RSA else frozenset()
    if isinstance(public, EllipticCurvePublicKey):
        return frozenset({_CURVES[public.curve.name]} if public.curve.name in _CURVES else ())
    return frozenset({_EDWARDS} if isinstance(public, Ed25519PublicKey) else ())
