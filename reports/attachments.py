"""Files within the file: what a paper says, for a machine to read, where every reader of PDFs shows attachments.

Source:
    ISO 32000-1:2008, sections 7.11.3 (file specifications), 7.11.4 (embedded file streams) and 7.7.4 (name dictionary).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFName, PDFStream


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file to be put into a paper; ``name`` is of ASCII letters, digits, hyphens and points, ``media_type`` as in HTTP."""

    name: str
    content: bytes
    media_type: str
    about: str
    made_at: datetime


def write_attachment(document: Any, one: Attachment) -> None:  # noqa: ANN401 - reportlab ships no types
    """Put a file into a PDF that has none yet and is about to be saved."""
    made = f"(D:{one.made_at.astimezone(UTC):%Y%m%d%H%M%S}Z)"
    size = f"<< /Size {len(one.content)} /ModDate {made} >>"
    kind = f"/{one.media_type.replace('/', '#2F')}"
    facts = PDFDictionary({"Type": PDFName("EmbeddedFile"), "Subtype": kind, "Params": size})
    stream = document.Reference(PDFStream(facts, one.content), "AttachedFile")
    described = f"<{one.about.encode('utf-16-be').hex().join(('feff', ''))}>"
    number = document.idToObjectNumberAndVersion[stream.name][0]
    specification = (
        f"<< /Type /Filespec /F ({one.name}) /UF ({one.name}) /Desc {described} /AFRelationship /Data "
        f"/EF << /F {number} 0 R /UF {number} 0 R >> >>"
    )
    document.Reference(specification.encode("ascii"), "AttachedFileSpecification")
    place = document.idToObjectNumberAndVersion["AttachedFileSpecification"][0]
    names = f"<< /EmbeddedFiles << /Names [({one.name}) {place} 0 R] >> >>"
    document.Catalog.Names = document.Reference(names.encode("ascii"), "NamesOfFile")
