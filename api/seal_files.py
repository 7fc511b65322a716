"""The file with the key and the certificate of a seal (PKCS#12, RFC 7292): read, and what is wrong with it said in a sentence."""

from __future__ import annotations

from collections.abc import Iterable
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
RENEWED_WITHIN: Final = timedelta(days=30)
"""How long before it expires a certificate should be renewed."""
CURVES: Final = (SECP256R1, SECP384R1, SECP521R1)
"""Of ECDSA, as readers of PDFs know them."""
LIBRARY: Final = "pyhanko"
NO_LIBRARY: Final = "papers are sealed by the extra seal, which is not installed: pip install 'reedbed[seal]'"


class CertificateLapsed(Exception):  # noqa: N818 - a state of the seal, not a defect
    """The seal's certificate is not good at the instant at which a paper is to be sealed."""


@dataclass(frozen=True, slots=True)
class SealFile:
    """What a seal's file holds; ``content`` is the file itself, ``issuers`` are the certificates of those who vouch for the seal's own."""

    content: bytes
    password: bytes | None
    certificate: Certificate
    issuers: tuple[Certificate, ...] = ()


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


def lapse_of(certificate: Certificate, issuers: Iterable[Certificate], *, now: datetime) -> str:
    """Return in words that a seal's certificate, or one that vouches for it, is not good at an instant; nothing where all are."""
    for whose, one in (("the seal's certificate", certificate), *(("a certificate that vouches for the seal's", one) for one in issuers)):
        if now < one.not_valid_before_utc:
            return f"{whose} is not good before {one.not_valid_before_utc:%Y-%m-%d}"
        if now > one.not_valid_after_utc:
            return f"{whose} expired on {one.not_valid_after_utc:%Y-%m-%d}"
    return ""


def fault_of(path: Path, password: str | None) -> str:
    """Return the sentence about a seal that a service must not start with; nothing where it may."""
    if not is_installed(LIBRARY):
        return NO_LIBRARY
    try:
        read_seal_file(path, password)
    except ValueError as unusable:
        return str(unusable)
    return ""


def warning_of(kept: SealFile, *, now: datetime) -> str:
    """Return the sentence about a seal that cannot be used now, or soon cannot; nothing where it can for a while."""
    if lapse := lapse_of(kept.certificate, kept.issuers, now=now):
        return f"{lapse}; until it is renewed no paper that leaves the house is made"
    first = min(one.not_valid_after_utc for one in (kept.certificate, *kept.issuers))
    if first - now > RENEWED_WITHIN:
        return ""
    return f"a certificate of the seal expires on {first:%Y-%m-%d}; renew it, since after that no paper that leaves the house is made"


def is_installed(library: str) -> bool:
    """Say whether a library is there to be imported."""
    return find_spec(library) is not None
