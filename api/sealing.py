"""The seal of papers that leave the house: a signature in the PDF (PAdES, level B-B) that shows whether the file was changed since.

Imported only where a seal is set: it needs the extra ``seal``. The seal is the installation's and no person's; there is no authority that
attests its time, and it proves who issued a file only to those who know the certificate.
"""

from __future__ import annotations

import asyncio
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
from pyhanko.sign.signers import SimpleSigner
from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigMDPSetup, SigObjSetup
from pyhanko.sign.signers.constants import ESIC_EXTENSION_1
from pyhanko.sign.signers.pdf_byterange import SignatureObject

from api.seal_files import CertificateLapsed, lapse_of, read_seal_file

DIGEST: Final = "sha256"
VARIES: Final = 16
"""By how much one signature may be longer than another [bytes]: two numbers of ECDSA, of which leading zeros are left out."""
FIELD: Final = "Seal"
READABLE: Final = "Seal of the installation that issued this file"


@dataclass(frozen=True, slots=True)
class Seal:
    """A key and its certificate, loaded once; may be used by several threads at a time."""

    certificate: Certificate
    issuers: tuple[Certificate, ...]
    _signer: Any

    @classmethod
    def read(cls, path: Path, password: str | None) -> Seal:
        """Return the seal whose key a file holds.

        Raises:
            ValueError: The file is not fit for that.
        """
        kept = read_seal_file(path, password)
        signer = SimpleSigner.load_pkcs12_data(kept.content, [], passphrase=kept.password)
        return cls(kept.certificate, kept.issuers, signer)

    @property
    def certificate_sha256(self) -> str:
        """The SHA-256 of the certificate [64 hex digits], as programs that read PDFs show it."""
        return sha256(self.certificate.public_bytes(Encoding.DER)).hexdigest()

    def sealed(self, pdf: bytes, *, at: datetime) -> bytes:
        """Return a PDF with the seal as the last thing written into it; no change to it is allowed for afterwards.

        The field is neither shown nor printed, so that it needs no place among the tags.

        Raises:
            CertificateLapsed: The certificate, or one that vouches for it, is not good ``at`` this instant.
        """
        if lapse := lapse_of(self.certificate, self.issuers, now=at):
            raise CertificateLapsed(f"{lapse}; whoever keeps the service has to renew it")
        field = SigFieldSpec(
            FIELD,
            invis_sig_settings=InvisSigSettings(set_hidden_flag=True, set_print_flag=False),
            readable_field_name=READABLE,
        )
        writer = IncrementalPdfFileWriter(BytesIO(pdf))
        writer.register_extension(ESIC_EXTENSION_1)
        steps = PdfCMSEmbedder(new_field_spec=field).write_cms(FIELD, writer)
        next(steps)
        length = len(self._signature(bytes(32), for_size=True)) + VARIES
        room = SignatureObject(subfilter=SigSeedSubFilter.PADES, timestamp=at, bytes_reserved=2 * length)
        steps.send(SigObjSetup(room, mdp_setup=SigMDPSetup(DIGEST, certify=True, docmdp_perms=MDPPerm.NO_CHANGES)))
        prepared, written = steps.send(SigIOSetup(DIGEST))
        steps.send(self._signature(prepared.document_digest))
        content: bytes = written.getvalue()
        return content

    def _signature(self, digest: bytes, *, for_size: bool = False) -> bytes:
        """Return the signature of a digest; ``for_size`` one of about the same length that signs nothing.

        The embedder is told the instant, where the library's own way asks the machine's clock and its zone.
        """
        signing = self._signer.async_sign(digest, DIGEST, dry_run=for_size, use_pades=True)
        signature: bytes = asyncio.run(signing).dump()
        return signature
