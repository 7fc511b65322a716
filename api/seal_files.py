"""The file with the key and the certificate of a seal (PKCS#12, RFC 7292): read, and what is wrong with it said in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, SECP384R1, SECP521R1, EllipticCurvePrivateKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.serialization.pkcs12 import load_pkcs12
from cryptography.x509 import Certificate

SMALLEST_RSA: Final = 2048
WARNED_DAYS: Final = 30
"""How long before a certificate ends its keeper is warned [days]."""
CURVES: Final = (SECP256R1, SECP384R1, SECP521R1)
"""Of ECDSA, as readers of PDFs know them."""
LIBRARY: Final = "pyhanko"
NO_LIBRARY: Final = "papers are sealed by the extra seal, which is not installed: pip install 'reedbed[seal]'"


class CertificateLapsed(Exception):  # noqa: N818 - a state of the seal, not a defect
    """The seal's certificate, or one that vouches for it, is not good at the instant at which a paper is to be sealed."""


@dataclass(frozen=True, slots=True)
class SealFile:
    """What a seal's file holds; ``content`` is the file itself, ``chain`` the certificates that vouch for the seal's own."""

    content: bytes
    password: bytes | None
    certificate: Certificate
    chain: tuple[Certificate, ...] = ()


def read_seal_file(path: Path, password: str | None) -> SealFile:
    """Return what a seal's file holds.

    Raises:
        ValueError: It cannot be read or opened, or holds no fit key with its certificate; the sentence says which.
    """
    try:
        content = path.read_bytes()
    except OSError:
        raise ValueError(f"the file {path} cannot be read") from None
    secret = None if password is None else password.encode()
    try:
        opened = load_pkcs12(content, secret)
    except (ValueError, UnsupportedAlgorithm):
        raise ValueError(f"the file {path} is no PKCS#12 file, or its password is another") from None
    if opened.key is None or opened.cert is None:
        raise ValueError(f"the file {path} does not hold both a private key and a certificate")
    if fault := _unfit(opened.key):
        raise ValueError(f"the key in {path} {fault}")
    return SealFile(content, secret, opened.cert.certificate, tuple(one.certificate for one in opened.additional_certs))


def _unfit(key: object) -> str:
    if isinstance(key, RSAPrivateKey):
        return "" if key.key_size >= SMALLEST_RSA else f"has fewer than {SMALLEST_RSA} bits"
    if isinstance(key, EllipticCurvePrivateKey) and isinstance(key.curve, CURVES):
        return ""
    return f"is of a kind that readers of PDFs do not know; take RSA from {SMALLEST_RSA} bits, or ECDSA on P-256, P-384 or P-521"


def lapse_of(certificate: Certificate, chain: Sequence[Certificate], *, now: datetime) -> str:
    """Return in words that a seal's certificate, or one of its chain, is not good at an instant; nothing where all are."""
    for whose, one in _named(certificate, chain):
        if now < one.not_valid_before_utc:
            return f"{whose} is not good before {one.not_valid_before_utc:%Y-%m-%d}"
        if now > one.not_valid_after_utc:
            return f"{whose} expired on {one.not_valid_after_utc:%Y-%m-%d}"
    return ""


def _named(certificate: Certificate, chain: Sequence[Certificate]) -> list[tuple[str, Certificate]]:
    vouching = [(f"the certificate {one.subject.rfc4514_string()!a}, which vouches for the seal's,", one) for one in chain]
    return [("the seal's certificate", certificate), *vouching]


def fault_of(path: Path, password: str | None) -> str:
    """Return the sentence about a seal that a service must not start with; nothing where it may."""
    if not is_installed(LIBRARY):
        return NO_LIBRARY
    try:
        read_seal_file(path, password)
    except ValueError as unusable:
        return str(unusable)
    return ""


def warning_of(path: Path, password: str | None, *, now: datetime) -> str:
    """Return the sentence about a seal whose certificates are not good now or not for long; nothing where they are.

    A service starts with it, and papers that leave the house cannot be made while it lasts.

    Raises:
        ValueError: The file is not fit for a seal; ``fault_of`` says so before.
    """
    kept = read_seal_file(path, password)
    if lapse := lapse_of(kept.certificate, kept.chain, now=now):
        return f"{lapse}; papers that leave the house fail until it is renewed ({path})"
    soonest = min(_named(kept.certificate, kept.chain), key=lambda each: each[1].not_valid_after_utc)
    ends = soonest[1].not_valid_after_utc
    if ends - now > timedelta(days=WARNED_DAYS):
        return ""
    return f"{soonest[0]} expires on {ends:%Y-%m-%d}; papers that leave the house fail from then on until it is renewed ({path})"


def is_installed(library: str) -> bool:
    """Say whether a library is there to be imported."""
    return find_spec(library) is not None
