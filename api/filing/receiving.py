"""A file on its way in: what it is, without what a camera has written into it, with the digests of what came and of what is kept."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from tempfile import SpooledTemporaryFile
from typing import BinaryIO, cast

from api.errors import TooLarge
from api.filing.pictures import redrawn
from api.settings import MEGABYTE, Settings
from domain.actions.documents import FileFacts
from domain.errors import RuleBroken
from domain.records.documents import SUFFIXES, MediaType
from domain.records.files import as_refusals, digest_of
from domain.rules.file_names import kept_file_name

KEPT_IN_MEMORY = MEGABYTE
PDF, PDF_END = (b"%PDF-1.", b"%PDF-2."), b"%%EOF"
PDF_TAIL_BYTES = 1024
"""Where the end of a PDF is looked for.

Source:
    ISO 32000-2, 7.5.2 and 7.5.5; readers look for it in the last 1024 bytes.
"""


@dataclass(frozen=True, slots=True)
class Received:
    """A file that may be kept: its content, to be read from its beginning, and what it is."""

    content: BinaryIO
    facts: FileFacts


@contextmanager
def received(file: BinaryIO, *, name: str, settings: Settings) -> Iterator[Received]:
    """Yield what is kept of a file that came under a name.

    Raises:
        TooLarge: It is longer than is taken.
        RuleBroken: It is empty, damaged, or none of the kinds that are taken.
        StorageBusy: There is no room to work on it.
    """
    size = file.seek(0, os.SEEK_END)
    if size > settings.max_document_bytes:
        raise TooLarge(f"A file may have at most {settings.max_document_bytes / MEGABYTE:g} MB. Save it smaller, or in several parts.")
    if size == 0:
        raise _refused("file-empty", "The file is empty.")
    with SpooledTemporaryFile(KEPT_IN_MEMORY) as spool:
        with as_refusals():
            made = cast("BinaryIO", spool)
            content, media = (file, MediaType.PDF) if _is_pdf(file) else (made, _drawn(file, made, settings))
            facts = FileFacts(
                name=kept_file_name(name, suffix=SUFFIXES[media]),
                media_type=media,
                size_bytes=content.seek(0, os.SEEK_END),
                sha256=digest_of(content),
                received_sha256=digest_of(file),
            )
        yield Received(content, facts)


def _is_pdf(file: BinaryIO) -> bool:
    """Return whether a file begins as a PDF does.

    Raises:
        RuleBroken: It does, and does not end as one.
    """
    file.seek(0)
    if not file.read(len(PDF[0])).startswith(PDF):
        return False
    file.seek(-min(PDF_TAIL_BYTES, file.seek(0, os.SEEK_END)), os.SEEK_END)
    if PDF_END not in file.read():
        raise _refused("file-damaged", "This PDF has no end; it may have been cut off on its way. Save it anew.")
    return True


def _drawn(file: BinaryIO, made: BinaryIO, settings: Settings) -> MediaType:
    file.seek(0)
    media = redrawn(file, made, most_pixels=settings.max_picture_pixels)
    if media is None:
        raise _refused(
            "file-kind-unknown",
            "By its content this is no PDF and no picture in JPEG, PNG, WebP or TIFF. Only these are taken, whatever the name.",
        )
    return media


def _refused(code: str, detail: str) -> RuleBroken:
    return RuleBroken(detail, code=code, field="file")
