"""Documents: put on record with the file that is kept already, attached to records, ended, and their files proved and let go of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import Ending, corrected, current, ended, recorded, refuse_later_than, refuse_while_used
from domain.actions.replay import Flaw
from domain.actions.sites import today_at
from domain.errors import Conflict, NotFound, RuleBroken
from domain.records import journal
from domain.records.animals import Animal
from domain.records.approvals import Approval
from domain.records.base import Record, all_records, row_of, table_of
from domain.records.belonging import beyond_reach, leans_on, refuse_beyond_reach, site_of
from domain.records.documents import Attachment, AttachmentStated, Document, DocumentStated, MediaType
from domain.records.files import Files, flaw_of
from domain.records.marks import Mark
from domain.records.sites import Site
from domain.records.stated import merged
from domain.records.statements import Statement
from domain.records.unit import Unit

NO_SUBJECTS = (Document, Attachment, Approval)
"""What nothing is attached to: what is attached itself, and what is of no place."""
UNFINISHED_AFTER = timedelta(days=1)
"""When a file that was begun and is not finished will never be."""

_document, _attachment = table_of(Document), table_of(Attachment)
_organisation_id: sa.BindParameter[Any] = sa.bindparam("organisation_id")
_own = _attachment.c.organisation_id == _organisation_id
_kept = _attachment.c.ended_on.is_(None)
_in_order = (_attachment.c.created_at, _attachment.c.id)
ATTACHMENTS_OF = Statement(
    sa.select(_attachment).where(_own, _kept, _attachment.c.document_id == sa.bindparam("document_id")).order_by(*_in_order)
)
EVERY_ATTACHMENT_OF = Statement(
    sa.select(_attachment).where(_own, _attachment.c.document_id == sa.bindparam("document_id")).order_by(*_in_order)
)
SIZES_OF_FILES = Statement(sa.select(_document.c.sha256, _document.c.size_bytes).where(_document.c.organisation_id == _organisation_id))
FILES_ON_RECORD = Statement(
    sa.select(_document.c.sha256, _document.c.id)
    .where(_document.c.organisation_id == _organisation_id)
    .order_by(_document.c.sha256, _document.c.id)
)


@dataclass(frozen=True, slots=True)
class FileFacts:
    """A file that is kept: its name, what it is by its content, its size [bytes], its digest, and the digest of what came."""

    name: str
    media_type: MediaType
    size_bytes: int
    sha256: str
    received_sha256: str


def register_document(
    unit: Unit, stated: DocumentStated, file: FileFacts, *, first: AttachmentStated | None, record_id: UUID | None = None
) -> Document:
    """Put a document on record, attached to ``first`` where that is said, and return it. It is at the site of what it is attached to.

    Raises:
        RuleBroken: There is no such record, or the document's date has not come yet.
        NotAllowed: The record is at a site that the origin does not reach; without one, the origin does not reach the whole organisation.
    """
    site_id = place_of(unit, stated, first=first)
    made = recorded(
        unit,
        Document,
        stated,
        record_id=record_id,
        file_name=file.name,
        media_type=file.media_type,
        size_bytes=file.size_bytes,
        sha256=file.sha256,
        received_sha256=file.received_sha256,
        received_at=unit.origin.at,
        site_id=site_id,
    )
    if first is not None:
        recorded(unit, Attachment, first, record_id=None, document_id=made.id)
    return made


def change_document(unit: Unit, document_id: UUID, patch: Mapping[str, Any], *, expected_version: int) -> Document:
    """Apply a correction to what is said of a document and return it. Its file is never another: that would be another document."""
    found = current(unit, Document, document_id, expected_version=expected_version)
    stated = merged(DocumentStated, found, patch)
    refuse_later_than(_today(unit, found.site_id), field="dated_on", on=stated.dated_on)
    return corrected(unit, found, stated)


def end_document(unit: Unit, document_id: UUID, ending: Ending) -> Document:
    """End a document with its attachments and return it. Its file stays until the document is let go of.

    Raises:
        Conflict: It is the photograph of a mark.
    """
    found = unit.fetch(Document, document_id)
    refuse_while_used(unit, found, [(Mark, "document_id")])
    today = _today(unit, found.site_id)
    done = ended(unit, found, ending, today=today)
    for attachment in unit.all(Attachment, ATTACHMENTS_OF, document_id=document_id):
        ended(unit, attachment, Ending(reason=ending.reason, on=done.ended_on), today=today)
    return done


def record_attachment(unit: Unit, document_id: UUID, stated: AttachmentStated, *, record_id: UUID | None = None) -> Attachment:
    """Attach a document to one more record and return the attachment. One that was attached to nothing goes to that record's site.

    Raises:
        NotFound: There is no such document.
        RuleBroken: There is no such record.
        NotAllowed: The document or the record is at a site that the origin does not reach.
        Conflict: It is attached to that record already, or has ended.
    """
    document = unit.fetch_reached(Document, document_id)
    if document.ended_on is not None:
        raise Conflict(f"This document ended on {document.ended_on.isoformat()}; it is not attached to anything any more.", code="ended")
    subject_site(unit, stated)
    before = unit.all(Attachment, ATTACHMENTS_OF, document_id=document_id)
    if any((one.subject, one.subject_id) == (stated.subject, stated.subject_id) for one in before):
        raise Conflict("This document is attached to that record already.", code="attached")
    made = recorded(unit, Attachment, stated, record_id=record_id, document_id=document_id)
    _settle(unit, document)
    return made


def end_attachment(unit: Unit, attachment_id: UUID, ending: Ending, *, owner_id: UUID) -> Attachment:
    """Take a document off a record and return the attachment. It goes to the site of the first record that it is still attached to.

    Raises:
        NotFound: The document has no such attachment.
    """
    document = unit.fetch_reached(Document, owner_id)
    found = unit.fetch(Attachment, attachment_id)
    if found.document_id != owner_id:
        raise NotFound("There is no such attachment.")
    done = ended(unit, found, ending, today=_today(unit, document.site_id))
    _settle(unit, document)
    return done


def follow(unit: Unit, record_id: UUID, site_id: UUID | None, *, of: type[Record] = Animal) -> None:
    """Let the documents of a record follow it to another site: those first attached to the record, or to what is recorded of it.

    Raises:
        NotAllowed: They are, or would be, at a site that the origin does not reach.
    """
    for document in unit.all(Document, _documents_of(of), of_record_id=record_id):
        unit.change(document, {"site_id": site_id}, action="change_document")


def place_of(unit: Unit, stated: DocumentStated, *, first: AttachmentStated | None) -> UUID | None:
    """Return the site at which a document will be that can be put on record, ``None`` where it will be the whole organisation's.

    Raises:
        RuleBroken: There is no such record to attach it to, or the document's date has not come yet.
        NotAllowed: It would be where the origin does not reach.
    """
    site_id = None if first is None else subject_site(unit, first)
    if not unit.origin.reach.covers(site_id):
        raise beyond_reach(Document)
    refuse_later_than(_today(unit, site_id), field="dated_on", on=stated.dated_on)
    return site_id


def subject_site(unit: Unit, stated: AttachmentStated) -> UUID | None:
    """Return the site of what a document is to be attached to, ``None`` where it is the whole organisation's.

    Raises:
        RuleBroken: There is no such kind of record, or no such record in this organisation.
        NotAllowed: It is at a site that the origin does not reach.
    """
    record = subjects().get(stated.subject)
    if record is None:
        kinds = ", ".join(sorted(subjects()))
        raise RuleBroken(f"Documents are not attached to such records; but to: {kinds}.", code="kind-unknown", field="subject")
    found = unit.find(record, stated.subject_id)
    if found is None:
        raise RuleBroken(f"There is no such {record.noun.replace('_', ' ')}.", code="reference-unknown", field="subject_id")
    row = row_of(found)
    refuse_beyond_reach(unit, record, row)
    return site_of(unit, record, row)


def ever_attached_to(unit: Unit, document_id: UUID) -> Iterator[Record]:
    """Yield the records that a document is or was attached to, as far as they are on record."""
    for one in unit.all(Attachment, EVERY_ATTACHMENT_OF, document_id=document_id):
        found = unit.find(subjects()[one.subject], one.subject_id)
        if found is not None:
            yield found


@cache
def subjects() -> Mapping[str, type[Record]]:
    """Return the kinds of record that documents are attached to, by their nouns."""
    return {record.noun: record for record in all_records() if record not in NO_SUBJECTS}


def files_on_record(unit: Unit) -> Mapping[str, Sequence[UUID]]:
    """Return the files that documents on record have, by their digests in order, with the ids of these documents."""
    found: dict[str, list[UUID]] = {}
    for digest, document_id in unit.rows(FILES_ON_RECORD):
        found.setdefault(digest, []).append(document_id)
    return found


def flaws_of_files(files: Files, organisation_id: int, on_record: Mapping[str, Sequence[UUID]]) -> list[Flaw]:
    """Read every file that is on record and return a flaw for each document whose file is not there whole."""
    wrong = {digest: said for digest in on_record if (said := flaw_of(files, organisation_id, digest))}
    return [Flaw(None, f"The file {digest} of the document {one} {said}.") for digest, said in wrong.items() for one in on_record[digest]]


def let_go_of_files(unit: Unit, files: Files) -> int:
    """Remove every file that no document on record has, and return how many those were.

    While this goes on nobody else puts a document on record: ``hold_file`` makes sure that its file is there when that is over.
    """
    unit.row(journal.LOCK_HEAD)
    needed = files_on_record(unit)
    unneeded = [digest for digest in files.digests(unit.organisation_id) if digest not in needed]
    for digest in unneeded:
        files.let_go(unit.organisation_id, digest)
    return len(unneeded) + files.tidy(unit.organisation_id, before=unit.origin.at - UNFINISHED_AFTER)


def hold_file(unit: Unit, files: Files, digest: str) -> bool:
    """Return whether a file is there, and if so keep it from being let go of until the unit is committed or undone."""
    unit.row(journal.LOCK_HEAD)
    return files.holds(unit.organisation_id, digest)


def _settle(unit: Unit, document: Document) -> None:
    """Put a document to the site of the first record that it is attached to; without one it stays where it is."""
    first = next(iter(unit.all(Attachment, ATTACHMENTS_OF, document_id=document.id)), None)
    found = unit.find(subjects()[first.subject], first.subject_id) if first else None
    if found is not None:
        unit.change(document, {"site_id": site_of(unit, type(found), row_of(found))}, action="change_document")


def _today(unit: Unit, site_id: UUID | None) -> date:
    return unit.origin.at.date() if site_id is None else today_at(unit, unit.fetch(Site, site_id))


@cache
def _documents_of(record: type[Record]) -> Statement:
    """Return the statement for the documents first attached to the record of ``of_record_id``, or to a record that shares its site."""
    earlier = _attachment.alias("earlier")
    same = (earlier.c.organisation_id == _organisation_id, earlier.c.document_id == _attachment.c.document_id, earlier.c.ended_on.is_(None))
    is_later = sa.exists().where(*same, sa.tuple_(earlier.c.created_at, earlier.c.id) < sa.tuple_(*_in_order))
    # One look into the index for each kind of record: with "or" between them PostgreSQL would look at every attachment.
    about = _about(record, sa.bindparam("of_record_id", type_=_attachment.c.subject_id.type))
    first = sa.union_all(*(sa.select(_attachment.c.document_id).where(_own, _kept, one, ~is_later) for one in about))
    return Statement(
        sa.select(_document).where(_document.c.organisation_id == _organisation_id, _document.c.id.in_(first)).order_by(_document.c.id)
    )


def _about(record: type[Record], ids: Any) -> Iterator[sa.ColumnElement[bool]]:  # noqa: ANN401 - one id, or a statement for several
    """Yield the conditions that an attachment is to a record of these ids, or to one that is where such a record is."""
    among = _among(_attachment.c.subject_id, ids)
    yield sa.and_(_attachment.c.subject == record.noun, among)
    for part in subjects().values():
        whole = leans_on(part)
        if whole is not None and whole.record is record:
            table = table_of(part)
            own = table.c.organisation_id == _organisation_id
            yield from _about(part, sa.select(table.c.id).where(own, _among(table.c[whole.column], ids)))


def _among(column: sa.ColumnElement[Any], ids: Any) -> sa.ColumnElement[bool]:  # noqa: ANN401 - one id, or a statement for several
    return column.in_(ids) if isinstance(ids, sa.Select) else column == ids
