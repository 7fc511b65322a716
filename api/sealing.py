"""The seal of papers that leave the house: a signature in the PDF (PAdES, level B-B) that shows whether the file was changed since.

Imported only where a seal is set: it needs the extra ``seal``. The seal is the installation's and no person's; its time is the instant of
issue, which no authority attests, and it proves who issued a file only to those who know the certificate.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
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

FIELD: Final = "Seal"
READABLE: Final = "Seal of the installation that issued this file"
DIGEST: Final = "sha256"
SPARE: Final = 16
"""Bytes that are left for a signature to be longer than another by the same key: those of ECDSA differ by a few."""


@dataclass(frozen=True, slots=True)
class Seal:
    """A key and its certificate, loaded once; may be used by several threads at a time. ``chain`` are certificates that vouch for it."""

    certificate: Certificate
    chain: Sequence[Certificate]
    _signer: Any

    @classmethod
    def read(cls, path: Path, password: str | None) -> Seal:
        """Return the seal whose key a file holds.

        Raises:
            ValueError: The file is not fit for that.
        """
        kept = read_seal_file(path, password)
        signer = SimpleSigner.load_pkcs12_data(kept.content, [], passphrase=kept.password)
        return cls(kept.certificate, kept.chain, signer)

    @property
    def certificate_sha256(self) -> str:
        """The SHA-256 of the certificate [64 hex digits], as programs that read PDFs show it."""
        return sha256(self.certificate.public_bytes(Encoding.DER)).hexdigest()

    def sealed(self, pdf: bytes, *, at: datetime) -> bytes:
        """Return a PDF with the seal as the last thing written into it; no change to it is allowed for afterwards.

        The field is neither shown nor printed, so that it needs no place among the tags. The properties of the file stay as they are.

        Raises:
            CertificateLapsed: The certificate, or one that vouches for it, is not good ``at`` this instant.
        """
        if lapse := lapse_of(self.certificate, self.chain, now=at):
            raise CertificateLapsed(f"{lapse}; whoever keeps the service has to renew it")
        field = SigFieldSpec(
            FIELD,
            invis_sig_settings=InvisSigSettings(set_hidden_flag=True, set_print_flag=False),
            readable_field_name=READABLE,
        )
        writer = _Adding(BytesIO(pdf))
        writer.register_extension(ESIC_EXTENSION_1)
        room = 2 * (len(self._signature(bytes(sha256().digest_size))) + SPARE)
        placing = PdfCMSEmbedder(new_field_spec=field).write_cms(FIELD, writer)
        next(placing)
        empty = SignatureObject(timestamp=at.astimezone(UTC), subfilter=SigSeedSubFilter.PADES, bytes_reserved=room)
        placing.send(SigObjSetup(empty, SigMDPSetup(DIGEST, certify=True, docmdp_perms=MDPPerm.NO_CHANGES)))
        prepared, written = placing.send(SigIOSetup(DIGEST))
        placing.send(self._signature(prepared.document_digest))
        content: bytes = written.getvalue()
        return content

    def _signature(self, digest: bytes) -> bytes:
        """Return the signature of a digest [DER]."""
        signature: bytes = asyncio.run(self._signer.async_sign(digest, DIGEST, use_pades=True)).dump()
        return signature


class _Adding(IncrementalPdfFileWriter):
    """What writes behind the end of a PDF and leaves its properties alone: the library would put the machine's clock and zone there."""

    def _update_meta(self) -> None:
        pass
