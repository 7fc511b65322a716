"""Documents: scans and photographs, kept by their content, and what they are attached to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from typing import Annotated, ClassVar

import sqlalchemy as sa
from pydantic import StringConstraints
from sqlmodel import Field

from domain.records.base import Record, Stated, owned_by_organisation, refers_to
from domain.records.columns import Day, Id, InstantColumn, Name, Note, UuidColumn, words_of


class MediaType(StrEnum):
    """What a file is, read from its content."""

    PDF = "application/pdf"
    JPEG = "image/jpeg"
    PNG = "image/png"
    WEBP = "image/webp"
    TIFF = "image/tiff"


SUFFIXES: Mapping[MediaType, str] = {
    MediaType.PDF: ".pdf",
    MediaType.JPEG: ".jpg",
    MediaType.PNG: ".png",
    MediaType.WEBP: ".webp",
    MediaType.TIFF: ".tif",
}
"""What the name of a file ends in."""


Subject = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z_]{0,31}$", max_length=32)]


class DocumentStated(Stated):
    """A document: what it is, when it was made or signed, and the number that it bears."""

    title: Name
    dated_on: Day | None = None
    reference: Name | None = None
    note: Note = ""


class Document(Record, DocumentStated, table=True):
    """A stored document. Its file lies under ``sha256``, the digest of the bytes that are kept; equal files lie there once.

    ``received_sha256`` is the digest of the file as it came, before what a camera had written into it was taken out. ``site_id`` is the
    site of what it is attached to.
    """

    __tablename__ = "document"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("site", "site_id"),
        sa.Index("ix_document_sha256", "organisation_id", "sha256"),
    )
    noun: ClassVar[str] = "document"

    file_name: str = Field(max_length=120)
    media_type: MediaType = Field(sa_type=words_of(MediaType))
    size_bytes: int = Field(sa_type=sa.BigInteger)
    sha256: str = Field(max_length=64)
    received_sha256: str = Field(max_length=64)
    received_at: datetime = Field(sa_type=InstantColumn)
    site_id: Id | None = Field(default=None, sa_type=UuidColumn)


class AttachmentStated(Stated):
    """That a document belongs to a record: the noun of the record, its id, and what the document is to it."""

    subject: Subject
    subject_id: Id = Field(sa_type=UuidColumn)
    role: Name | None = None
    note: Note = ""


class Attachment(Record, AttachmentStated, table=True):
    """A stored attachment."""

    __tablename__ = "attachment"
    __table_args__ = (
        owned_by_organisation(),
        refers_to("document", "document_id"),
        sa.Index("ix_attachment_subject", "organisation_id", "subject", "subject_id"),
        sa.Index("ix_attachment_document", "organisation_id", "document_id"),
    )
    noun: ClassVar[str] = "attachment"

    document_id: Id = Field(sa_type=UuidColumn)
