"""Keys and certificates of seals that tests make for themselves, and what two programs say of a sealed file."""

from __future__ import annotations

from datetime import timedelta
from functools import cache
from io import BytesIO

from asn1crypto import x509 as asn1
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, NoEncryption, pkcs12
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from tests import makers

PASSWORD = "a Password of the seal: zażółć"
NAME = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Seal of the tests")])
USE = x509.KeyUsage(
    digital_signature=True,
    content_commitment=True,
    key_encipherment=False,
    data_encipherment=False,
    key_agreement=False,
    key_cert_sign=False,
    crl_sign=False,
    encipher_only=False,
    decipher_only=False,
)


@cache
def key_of(curve=ec.SECP256R1):
    return ec.generate_private_key(curve())


def certificate_of(key, *, from_days=-100, until_days=1000, by=None):
    """Return a certificate that vouches for itself or is signed ``by`` another key, good for some days around ``makers.NOON``."""
    made = x509.CertificateBuilder().subject_name(NAME).issuer_name(NAME).public_key(key.public_key()).serial_number(7)
    made = made.not_valid_before(makers.NOON + timedelta(days=from_days)).not_valid_after(makers.NOON + timedelta(days=until_days))
    return made.add_extension(USE, critical=True).sign(by or key, hashes.SHA256())


def seal_file(folder, *, key=None, certificate=None, chain=None, password=PASSWORD, mode=0o600):
    """Write a seal's file and return its path; ``chain`` are certificates that lie in it beside the seal's own."""
    key = key or key_of()
    hidden = BestAvailableEncryption(password.encode()) if password else NoEncryption()
    path = folder / "seal.p12"
    path.write_bytes(pkcs12.serialize_key_and_certificates(b"seal", key, certificate or certificate_of(key), chain, hidden))
    path.chmod(mode)
    return path


def is_whole(pdf, certificate):
    """Return whether a receiver who has the certificate finds one seal over the whole of a file, and nothing changed or added since."""
    known = asn1.Certificate.load(certificate.public_bytes(Encoding.DER))
    context = ValidationContext(trust_roots=[known], moment=makers.NOON, allow_fetching=False)
    try:
        [seal] = PdfFileReader(BytesIO(pdf)).embedded_signatures
        found = validate_pdf_signature(seal, context)
    except Exception:  # noqa: BLE001 - what cannot be read is not whole
        return False
    return found.bottom_line and found.coverage.name == "ENTIRE_FILE"
