"""The file with the key and the certificate of a seal (PKCS#12, RFC 7292): read, and what is wrong with it said in a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, SECP384R1, SECP521R1, EllipticCurvePrivateKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.serialization.pkcs12 import load_pkcs12
from cryptography.x509 import Certificate

SMALLEST_RSA: Final = 2048
CURVES: Final = (SECP256R1, SECP384R1, SECP521R1)
"""Of ECDSA, as readers of PDFs know them."""
LIBRARY: Final = "pyhanko"
NO_LIBRARY: Final = "papers are sealed by the extra seal, which is not installed: pip install 'reedbed[seal]'"


class CertificateLapsed(Exception):  # noqa: N818 - a state of the seal, not a defect
    """The seal's certificate is not good at the instant at which a paper is to be sealed."""


@dataclass(frozen=True, slots=True)
class SealFile:
    """What a seal's file holds; ``content`` is the file itself."""

    content: bytes
    password: bytes | None
    certificate: Certificate


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
    return SealFile(content, secret, opened.cert.certificate)


def _unfit(key: object) -> str:
    if isinstance(key, RSAPrivateKey):
        return "" if key.key_size >= SMALLEST_RSA else f"has fewer than {SMALLEST_RSA} bits"
    if isinstance(key, EllipticCurvePrivateKey) and isinstance(key.curve, CURVES):
        return ""
    return f"is of a kind that readers of PDFs do not know; take RSA from {SMALLEST_RSA} bits, or ECDSA on P-256, P-384 or P-521"


def lapse_of(certificate: Certificate, *, now: datetime) -> str:
    """Return in words that a certificate is not good at an instant; nothing where it is."""
    if now < certificate.not_valid_before_utc:
        return f"is not good before {certificate.not_valid_before_utc:%Y-%m-%d}"
    if now > certificate.not_valid_after_utc:
        return f"expired on {certificate.not_valid_after_utc:%Y-%m-%d}"
    return ""


def fault_of(path: Path, password: str | None, *, now: datetime) -> str:
    """Return the sentence about a seal that a service must not start with; nothing where it may."""
    if not is_installed(LIBRARY):
        return NO_LIBRARY
    try:
        kept = read_seal_file(path, password)
    except ValueError as unusable:
        return str(unusable)
    lapse = lapse_of(kept.certificate, now=now)
    return f"the certificate in {path} {lapse}" if lapse else ""


def is_installed(library: str) -> bool:
    """Say whether a library is there to be imported."""
    return find_spec(library) is not None
