"""Shapes of documents and of what they are attached to."""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

from pydantic import AwareDatetime, Field, model_validator

from api.bodies.records import Kept, New, Page
from domain.records.columns import Id, Name
from domain.records.documents import AttachmentStated, DocumentStated, MediaType, Subject
from domain.records.stated import misstated


class NewDocument(New, DocumentStated):
    """A document that is put on record, and the first record that it is attached to: its noun and id, and what the document is to it."""

    subject: Subject | None = None
    subject_id: Id | None = None
    role: Name | None = None

    @model_validator(mode="after")
    def _belongs_to_one_thing(self) -> NewDocument:
        if self.subject is None and (self.subject_id is not None or self.role is not None):
            raise misstated("subject", "say which kind of record it is attached to", code="required")
        if self.subject is not None and self.subject_id is None:
            raise misstated("subject_id", "say which record it is attached to", code="required")
        return self


class ChangedDocument(DocumentStated):
    """What is said of a document, to be corrected."""


class Document(Kept, DocumentStated):
    """A document on file. Its file is one path further on, under ``file``."""

    file_name: str
    media_type: MediaType
    size_bytes: int
    sha256: Annotated[str, Field(description="Of the file as it is kept, and given out.")]
    received_sha256: Annotated[
        str, Field(description="Of the file as it came. It is another where a picture bore more than the picture: that is not kept.")
    ]
    received_at: AwareDatetime
    site_id: Annotated[UUID | None, Field(description="The site of what it was attached to first; null: the whole organisation.")]


class DocumentPage(Page[Document]):
    """One page of documents."""


class NewAttachment(New, AttachmentStated):
    """A further record that a document is attached to."""


class Attachment(Kept, AttachmentStated):
    """An attachment on file."""

    document_id: UUID


class AttachmentPage(Page[Attachment]):
    """One page of attachments."""
