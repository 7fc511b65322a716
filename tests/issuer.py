"""An issuer of tokens of our own on loopback, honest and otherwise, and the tokens that nobody may accept."""

from __future__ import annotations

import gzip
import hashlib
import hmac
import json
import threading
import time
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable
from datetime import datetime
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self

import jwt
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

AUDIENCE = "https://reedbed.test/api"
MINUTE = 60
CLAIM_ABSENT = object()


@cache
def rsa_key(name: str, *, bits: int = 2048) -> rsa.RSAPrivateKey:
    """Return the RSA key of a name, made once a run."""
    return rsa.generate_private_key(public_exponent=65537, key_size=bits)


@cache
def ec_key(name: str) -> ec.EllipticCurvePrivateKey:
    """Return the key of a name on the curve P-256, made once a run."""
    return ec.generate_private_key(ec.SECP256R1())


@cache
def ed_key(name: str) -> ed25519.Ed25519PrivateKey:
    """Return the Ed25519 key of a name, made once a run."""
    return ed25519.Ed25519PrivateKey.generate()


def b64(raw: bytes) -> str:
    return urlsafe_b64encode(raw).decode().rstrip("=")


def unb64(part: str) -> bytes:
    return urlsafe_b64decode(part + "=" * (-len(part) % 4))


def compact(header: Any, payload: Any, *, sign: Callable[[bytes], bytes]) -> str:
    """Return a token of whatever header and payload, JSON or bytes, that no honest library would put together."""
    parts = [b64(one if isinstance(one, bytes) else json.dumps(one).encode()) for one in (header, payload)]
    signed = ".".join(parts)
    return f"{signed}.{b64(sign(signed.encode()))}"


def signer(algorithm: str, key: Any) -> Callable[[bytes], bytes]:
    return lambda signed: jwt.get_algorithm_by_name(algorithm).sign(signed, key)


def published(kid: str, key: Any, *, algorithm: str) -> dict[str, Any]:
    """Return the public part of a key as a JSON Web Key."""
    return {**json.loads(jwt.get_algorithm_by_name(algorithm).to_jwk(key.public_key())), "kid": kid, "use": "sig", "alg": algorithm}


class LoopbackIssuer:
    """Serves its configuration and keys over HTTP, counts who asks, and can be away, slow, huge or somewhere else.

    ``mode`` is one of ``well``, ``failing``, ``dripping``, ``huge``, ``packed``, ``redirecting`` and ``babbling``.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.mode = "well"
        self.fetches: list[str] = []
        self.keys: dict[str, tuple[str, Any]] = {
            f"{name}-rsa": ("RS256", rsa_key(name)),
            f"{name}-ec": ("ES256", ec_key(name)),
            f"{name}-ed": ("EdDSA", ed_key(name)),
            f"{name}-short": ("RS256", rsa_key(f"{name}-short", bits=1024)),
        }
        self.others: list[Any] = []
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        self.configuration: dict[str, Any] = {"issuer": self.url, "jwks_uri": f"{self.url}/keys"}
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.01})

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *raised: object) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    @property
    def keys_url(self) -> str:
        return f"{self.url}/keys"

    def rotate(self, kid: str) -> None:
        """Replace all keys by a new RSA key of an id."""
        self.keys = {kid: ("RS256", rsa_key(kid))}

    def key_set(self) -> dict[str, Any]:
        return {"keys": [*self.others, *(published(kid, key, algorithm=name) for kid, (name, key) in self.keys.items())]}

    def claims(self, now: datetime, **changes: Any) -> dict[str, Any]:
        """Return good claims with some changed, or left out where they are ``CLAIM_ABSENT``."""
        at = int(now.timestamp())
        good = {"iss": self.url, "aud": AUDIENCE, "sub": "keeper-7", "iat": at, "exp": at + 5 * MINUTE, "client_id": "desk", "jti": "1"}
        return {name: value for name, value in {**good, **changes}.items() if value is not CLAIM_ABSENT}

    def header(self, kid: str, /, **changes: Any) -> dict[str, Any]:
        good = {"alg": self.keys[kid][0] if kid in self.keys else "RS256", "typ": "at+jwt", "kid": kid}
        return {name: value for name, value in {**good, **changes}.items() if value is not CLAIM_ABSENT}

    def token(self, now: datetime, *, kid: str = "", head: dict[str, Any] | None = None, payload: Any = None, **changes: Any) -> str:
        """Return a token signed with one of the keys, good except for what is changed in its header or claims."""
        kid = kid or next(iter(self.keys))
        said = self.claims(now, **changes) if payload is None else payload
        return compact(self.header(kid, **(head or {})), said, sign=signer(*self.keys[kid]))

    def _handler(issuer) -> type[BaseHTTPRequestHandler]:  # noqa: N805 - `self` is the handler's, inside
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                issuer.fetches.append(self.path)
                answer = getattr(issuer, f"_{issuer.mode}")
                try:
                    answer(self)
                except (BrokenPipeError, ConnectionResetError):
                    self.close_connection = True

            def log_message(self, *_: object) -> None:
                """Stay silent."""

        return Handler

    def _well(self, http: BaseHTTPRequestHandler) -> None:
        documents = {"/.well-known/openid-configuration": self.configuration, "/keys": self.key_set()}
        self._answer(http, json.dumps(documents[http.path]).encode())

    def _failing(self, http: BaseHTTPRequestHandler) -> None:
        self._answer(http, b"{}", status=500)

    def _babbling(self, http: BaseHTTPRequestHandler) -> None:
        self._answer(http, b"<html>Maintenance</html>")

    def _huge(self, http: BaseHTTPRequestHandler) -> None:
        self._answer(http, json.dumps(self.key_set()).encode() + b" " * 1_000_000)

    def _packed(self, http: BaseHTTPRequestHandler) -> None:
        self._answer(http, gzip.compress(json.dumps(self.key_set()).encode()), headers={"Content-Encoding": "gzip"})

    def _redirecting(self, http: BaseHTTPRequestHandler) -> None:
        if http.path == "/elsewhere":
            self._answer(http, json.dumps(self.key_set()).encode())
        else:
            self._answer(http, b"", status=302, headers={"Location": f"{self.url}/elsewhere"})

    def _dripping(self, http: BaseHTTPRequestHandler) -> None:
        """Send the keys so that each byte comes in good time and the whole never does."""
        body = json.dumps(self.key_set()).encode()
        http.send_response(200)
        http.send_header("Content-Length", str(len(body)))
        http.end_headers()
        for position in range(60):
            http.wfile.write(body[position : position + 1])
            http.wfile.flush()
            time.sleep(0.05)

    @staticmethod
    def _answer(http: BaseHTTPRequestHandler, body: bytes, *, status: int = 200, headers: dict[str, str] | None = None) -> None:
        http.send_response(status)
        for name, value in {"Content-Type": "application/json", "Content-Length": str(len(body)), **(headers or {})}.items():
            http.send_header(name, value)
        http.end_headers()
        http.wfile.write(body)


Forgery = Callable[[LoopbackIssuer, LoopbackIssuer, datetime], str]


def _signed_with_public_key(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    pem = rsa_key(issuer.name).public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    header = issuer.header(f"{issuer.name}-rsa", alg="HS256")
    return compact(header, issuer.claims(now), sign=lambda signed: hmac.digest(pem, signed, hashlib.sha256))


def _unsigned(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    return compact(issuer.header(f"{issuer.name}-rsa", alg="none"), issuer.claims(now), sign=lambda _: b"")


def _unsigned_with_filler(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    return compact(issuer.header(f"{issuer.name}-rsa", alg="none"), issuer.claims(now), sign=lambda _: b"none")


def _changed_payload(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    header, _, signature = issuer.token(now).split(".")
    return f"{header}.{b64(json.dumps(issuer.claims(now, sub='director-1')).encode())}.{signature}"


def _of_anothers_key(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    return other.token(now, iss=issuer.url)


def _anothers_signature_under_our_kid(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    return compact(issuer.header(f"{issuer.name}-rsa"), issuer.claims(now), sign=signer("RS256", rsa_key(other.name)))


def _own_key_brought_along(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    header = issuer.header("mine", jwk=published("mine", rsa_key("mine"), algorithm="RS256"))
    return compact(header, issuer.claims(now), sign=signer("RS256", rsa_key("mine")))


def _twice_the_subject(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    said = json.dumps(issuer.claims(now))[:-1] + ', "sub": "director-1"}'
    return issuer.token(now, payload=said.encode())


def _twice_the_algorithm(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    kid = f"{issuer.name}-rsa"
    header = b'{"alg": "none", ' + json.dumps(issuer.header(kid)).encode()[1:]
    return compact(header, issuer.claims(now), sign=signer("RS256", rsa_key(issuer.name)))


def _ec_key_under_rs256(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    return compact(issuer.header(f"{issuer.name}-ec", alg="RS256"), issuer.claims(now), sign=signer("RS256", rsa_key(issuer.name)))


def _wrapped_in_encryption(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    header = b64(json.dumps({"alg": "RSA-OAEP", "enc": "A256GCM", "cty": "JWT", "kid": f"{issuer.name}-rsa"}).encode())
    return ".".join([header, b64(b"key"), b64(b"iv"), b64(b"text"), b64(b"tag")])


def _wrapped_in_a_signature(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    return issuer.token(now, head={"cty": "JWT"}, payload=issuer.token(now).encode())


def _bad_base64(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    header, payload, signature = issuer.token(now).split(".")
    return f"{header}.!{payload}.{signature}"


def _not_canonical_base64(issuer: LoopbackIssuer, other: LoopbackIssuer, now: datetime) -> str:
    """Return a token whose last character has bits that no signature needs: 256 bytes leave four bits over."""
    token = issuer.token(now)
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    return token[:-1] + alphabet[alphabet.index(token[-1]) + 1]


def good(**changes: Any) -> Forgery:
    """Return what makes a token that is properly signed and yet not good."""
    return lambda issuer, _other, now: issuer.token(now, **changes)


def timed(*, head: dict[str, Any] | None = None, **offsets_s: int) -> Forgery:
    """Return what makes a token whose instants are at some seconds from now."""
    return lambda issuer, _other, now: issuer.token(now, **{name: int(now.timestamp()) + s for name, s in offsets_s.items()})


BAD_TOKENS: dict[str, Forgery] = {
    "a token with the algorithm none": _unsigned,
    "a token with the algorithm none and some signature": _unsigned_with_filler,
    "a token signed with the public key as a shared secret": _signed_with_public_key,
    "a token of an issuer that is not trusted": good(iss="https://issuer.example"),
    "a token of an issuer with one slash more": lambda issuer, _other, now: issuer.token(now, iss=f"{issuer.url}/"),
    "a token whose issuer is a list": lambda issuer, _other, now: issuer.token(now, iss=[issuer.url]),
    "a token for another audience": good(aud="https://elsewhere.test/api"),
    "a token for several audiences without us": good(aud=["https://elsewhere.test", "https://reedbed.test"]),
    "a token for our audience and a number": good(aud=[AUDIENCE, 7]),
    "a token for an audience that is an object": good(aud={AUDIENCE: True}),
    **{f"a token without {claim}": good(**{claim: CLAIM_ABSENT}) for claim in ("exp", "iat", "aud", "sub", "iss")},
    "a token that has expired": timed(iat=-10 * MINUTE, exp=-MINUTE),
    "a token that expires at the end of the leeway": timed(iat=-10 * MINUTE, exp=-30),
    "a token that is not valid yet": timed(nbf=2 * MINUTE),
    "a token issued in the future": timed(iat=2 * MINUTE, exp=10 * MINUTE),
    "a token whose end is text": good(exp="9999999999"),
    "a token whose beginning is true": good(iat=True),
    "a token whose end is beyond every calendar": good(exp=10**400),
    "a token whose nbf is null": good(nbf=None),
    "an ID token": good(head={"typ": "JWT"}, nonce="n-0S6_WzA2Mj"),
    "an ID token without typ": good(head={"typ": CLAIM_ABSENT}, nonce="n-0S6_WzA2Mj"),
    "a token of another type": good(head={"typ": "logout+jwt"}),
    "a token without a key id": good(head={"kid": CLAIM_ABSENT}),
    "a token whose key id is a number": good(head={"kid": 7}),
    "a token of an unknown key": good(head={"kid": "nobody"}),
    "a token of another issuer's key": _of_anothers_key,
    "a token of another issuer's signature under our key's id": _anothers_signature_under_our_kid,
    "a token that says where its key is (jku)": good(head={"jku": "https://issuer.example/keys"}),
    "a token that says where its certificate is (x5u)": good(head={"x5u": "https://issuer.example/certificate"}),
    "a token that brings its key along (jwk)": _own_key_brought_along,
    "a token that demands an extension (crit)": good(head={"crit": ["b64"], "b64": True}),
    "a token within encryption": _wrapped_in_encryption,
    "a token within a token": _wrapped_in_a_signature,
    "a token cut short": lambda issuer, _other, now: issuer.token(now)[:-9],
    "a token of two parts": lambda issuer, _other, now: issuer.token(now).rsplit(".", 1)[0],
    "a token that is no base64": _bad_base64,
    "a token with idle bits in its signature": _not_canonical_base64,
    "a token with a line break": lambda issuer, _other, now: issuer.token(now) + "\n",
    "a token whose payload was changed": _changed_payload,
    "a token whose signature was taken off": lambda issuer, _other, now: issuer.token(now).rsplit(".", 1)[0] + ".",
    "a token of nine kilobytes": good(note="x" * 9000),
    "a token that names its subject twice": _twice_the_subject,
    "a token that names its algorithm twice": _twice_the_algorithm,
    "a token of an RSA key of 1024 bits": lambda issuer, _other, now: issuer.token(now, kid=f"{issuer.name}-short"),
    "a token of a key for elliptic curves that says RS256": _ec_key_under_rs256,
    "a token of an algorithm that is not agreed, though valid": lambda issuer, _other, now: issuer.token(now, kid=f"{issuer.name}-ed"),
    "a token whose payload is a list": good(payload=["keeper-7"]),
    "a token nested deeper than anything": good(payload=b"[" * 3000),
    "a token whose subject is empty": good(sub=""),
    "a token whose subject is a number": good(sub=7),
    "a token whose subject has a control character": good(sub="keeper\x00-7"),
    "a token whose subject ends in a line break": good(sub="keeper-7\n"),
    "a token whose subject is longer than any": good(sub="k" * 256),
    "an empty token": lambda _issuer, _other, _now: "",
    "a token of dots": lambda _issuer, _other, _now: "..",
}
"""By its statement, what makes each of a trusted issuer, another trusted issuer and the instant."""

GOOD_TOKENS: dict[str, Forgery] = {
    "a token of an RSA key": good(),
    "a token of a key for elliptic curves": lambda issuer, _other, now: issuer.token(now, kid=f"{issuer.name}-ec"),
    "a token of the type in full": good(head={"typ": "application/at+jwt"}),
    "a token of the type in capitals": good(head={"typ": "AT+JWT"}),
    "a token for us among others": good(aud=["https://elsewhere.test", AUDIENCE]),
    "a token that was issued just now by a clock ahead": timed(iat=30, exp=MINUTE),
    "a token in the last second of the leeway": timed(iat=-MINUTE, exp=-29),
    "a token with fractions of seconds": lambda issuer, _other, now: issuer.token(now, exp=now.timestamp() + 0.5),
    "a token with a thumbprint of a certificate": good(head={"x5t": "MTIz"}),
    "a token with the longest subject": good(sub="k" * 255),
    "a token of seven kilobytes": good(note="x" * 5000),
}
