"""The seal of papers that leave the house: a signature in the PDF (PAdES, level B-B) that shows whether the file was changed since.

Imported only where a seal is set: it needs the extra ``seal``. The seal is the installation's and no person's; there is no authority that
attests its time, and it proves who issued a file only to those who know the certificate.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import Certificate
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import InvisSigSettings, MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner

from api.seal_files import CertificateLapsed, lapse_of, read_seal_file

FIELD: Final = "Seal"
READABLE: Final = "Seal of the installation that issued this file"


@dataclass(frozen=True, slots=True)
class Seal:
    """A key and its certificate, loaded once; may be used by several threads at a time."""

    certificate: Certificate
    _signer: Any

    @classmethod
    def read(cls, path: Path, password: str | None) -> Seal:
        """Return the seal whose key a file holds.

        Raises:
            ValueError: The file is not fit for that.
        """
        kept = read_seal_file(path, password)
        signer = SimpleSigner.load_pkcs12_data(kept.content, [], passphrase=kept.password)
        return cls(kept.certificate, signer)

    @property
    def certificate_sha256(self) -> str:
        """The SHA-256 of the certificate [64 hex digits], as programs that read PDFs show it."""
        return sha256(self.certificate.public_bytes(Encoding.DER)).hexdigest()

    def sealed(self, pdf: bytes, *, at: datetime) -> bytes:
        """Return a PDF with the seal as the last thing written into it; no change to it is allowed for afterwards.

        The field is neither shown nor printed, so that it needs no place among the tags.

        Raises:
            CertificateLapsed: The certificate is not good ``at`` this instant.
        """
        if lapse := lapse_of(self.certificate, now=at):
            raise CertificateLapsed(f"the seal's certificate {lapse}; whoever keeps the service has to renew it")
        stated = PdfSignatureMetadata(
            field_name=FIELD,
            md_algorithm="sha256",
            subfilter=SigSeedSubFilter.PADES,
            certify=True,
            docmdp_permissions=MDPPerm.NO_CHANGES,
        )
        field = SigFieldSpec(
            FIELD,
            invis_sig_settings=InvisSigSettings(set_hidden_flag=True, set_print_flag=False),
            readable_field_name=READABLE,
        )
        writer = IncrementalPdfFileWriter(BytesIO(pdf))
        written: BytesIO = PdfSigner(stated, signer=self._signer, new_field_spec=field).sign_pdf(writer)
        return written.getvalue()
