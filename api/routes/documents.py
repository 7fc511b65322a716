"""Documents: a file is taken with what is said of it, found again by what it is attached to, and given out to be saved."""

from __future__ import annotations

import asyncio
import logging
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, BinaryIO

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from api.admission import in_time
from api.answers import created
from api.bodies.documents import (
    Attachment,
    AttachmentPage,
    ChangedDocument,
    Document,
    DocumentPage,
    NewAttachment,
    NewDocument,
)
from api.context import Call, House, Passing, origin_of, read_one, write
from api.doors import Door
from api.errors import Answer, Header, WrongMedia
from api.filing.giving import FileAnswer, digest_header, to_be_saved
from api.filing.receiving import Received, received
from api.nouns import IDEMPOTENCY_KEY, IF_NONE_MATCH, Noun, id_parameter
from api.parts import Part
from api.query import read_query
from domain.actions.documents import (
    change_document,
    end_attachment,
    end_document,
    hold_file,
    place_of,
    record_attachment,
    register_document,
)
from domain.errors import Fault, RuleBroken
from domain.records import documents as records
from domain.records.columns import NOTE_LENGTH
from domain.records.documents import MediaType
from domain.records.files import FileDamaged, FileMissing
from domain.records.lists import one
from domain.records.stated import read_stated
from domain.records.statements import json_text
from domain.records.unit import Unit

log = logging.getLogger("reedbed")

PATH = "/v1/documents"
MOST_IN_A_FIELD = 8 * NOTE_LENGTH
"""Bytes of one part that is no file: the longest note in the longest form of UTF-8, and some more."""
_FIELDS = tuple(NewDocument.model_fields)


def _form_schema() -> dict[str, Any]:
    """Return the form's parts as OpenAPI describes them: the facts, none of which can be null in a form, and the file."""
    facts = NewDocument.model_json_schema()["properties"]
    properties = {name: _without_null(stated) for name, stated in facts.items()}
    file = {"type": "string", "format": "binary", "description": "A PDF, or a picture in JPEG, PNG, WebP or TIFF, by its content."}
    return {
        "type": "object",
        "required": ["file", "title"],
        "additionalProperties": False,
        "properties": {"file": file, **properties},
    }


def _without_null(stated: dict[str, Any]) -> dict[str, Any]:
    kinds = [kind for kind in stated.get("anyOf", ()) if kind != {"type": "null"}]
    said = {name: value for name, value in stated.items() if name not in {"anyOf", "default", "title"}}
    return {**said, **kinds[0]} if kinds else said


@dataclass(frozen=True, slots=True)
class _Sent:
    """What a request brings: the facts, the file as it came, and under which name."""

    facts: NewDocument
    file: BinaryIO
    name: str

    @property
    def stated(self) -> records.DocumentStated:
        """What is said of the document itself."""
        return records.DocumentStated(**{name: getattr(self.facts, name) for name in records.DocumentStated.model_fields})

    @property
    def first(self) -> records.AttachmentStated | None:
        """What the document is attached to first."""
        facts = self.facts
        if facts.subject is None or facts.subject_id is None:
            return None
        return records.AttachmentStated(subject=facts.subject, subject_id=facts.subject_id, role=facts.role)


router = APIRouter(tags=["documents"])


@router.post(
    PATH,
    status_code=201,
    response_model=Document,
    operation_id="register_document",
    summary="Register document",
    openapi_extra={
        "parameters": [IDEMPOTENCY_KEY],
        "requestBody": {"required": True, "content": {"multipart/form-data": {"schema": _form_schema()}}},
    },
)
async def take_document(call: Annotated[Call, Depends(Passing("register_document"))], request: Request) -> Response:
    """Take a file, keep what is to be kept of it, and put the document on record."""
    call.query = read_query(request.scope["query_string"], {})
    if not call.headers.get(b"content-type", b"").lower().startswith(b"multipart/form-data"):
        raise WrongMedia("Content-Type should be multipart/form-data, with the file in the part named file.")
    house, loop = call.house, asyncio.get_running_loop()
    assert house.filing is not None  # noqa: S101 - the service has started
    with ExitStack() as stack:
        async with request.form(max_files=1, max_fields=len(_FIELDS), max_part_size=MOST_IN_A_FIELD) as form:
            sent = _sent(form)
            kept = await house.filing.compute(partial(in_time, partial(_keep, sent=sent, stack=stack)), call)
            call.body = b"%s\n%s" % (kept.facts.received_sha256.encode(), sent.facts.model_dump_json().encode())
            act = partial(write, act=partial(_on_record, house=house, sent=sent, kept=kept))
            return await loop.run_in_executor(house.writers, in_time, act, call)


async def get_file(call: Call) -> Answer:
    """Answer with a document's file, to be saved, once all of it was found to be as it was kept."""
    house = call.house
    assert house.filing is not None  # noqa: S101 - the service has started
    row = await read_one(call, records.Document, call.ids[0], subject="document")
    compiled = one(records.Document).on(house.store.dialect)
    found = dict(zip(compiled.keys, compiled.python_row(row), strict=True))
    tag = f'"{found["sha256"]}"'.encode()
    if call.headers.get(b"if-none-match", b"").strip() == tag:
        return Answer(status=304, headers=[(b"etag", tag)])
    file = await house.filing.compute(partial(taken, digest=found["sha256"]), call)
    headers: list[Header] = [(b"etag", tag), to_be_saved(found["file_name"]), digest_header(found["sha256"])]
    return FileAnswer(file, size_bytes=found["size_bytes"], headers=headers, media=MediaType(found["media_type"]).value.encode())


def _sent(form: FormData) -> _Sent:
    unknown = [name for name in form if name != "file" and name not in _FIELDS]
    repeated = [name for name in form if len(form.getlist(name)) > 1]
    if unknown:
        raise _refused(f"/{unknown[0]}", "unknown-field", "There is no such part here.")
    if repeated:
        raise _refused(f"/{repeated[0]}", "repeated", "This part may be said once.")
    upload = form.get("file")
    if not isinstance(upload, UploadFile):
        raise _refused("/file", "required", "One file is wanted in this part.")
    facts = read_stated(NewDocument, json_text({name: value for name, value in form.items() if name != "file"}))
    return _Sent(facts, upload.file, upload.filename or "")


def _keep(call: Call, *, sent: _Sent, stack: ExitStack) -> Received:
    """Keep the file, once it is known that its document could be put on record; ``stack`` closes what is left open of it."""
    with call.house.store.snapshot(origin_of(call)) as unit:
        place_of(unit, sent.stated, first=sent.first)
    found = stack.enter_context(received(sent.file, name=sent.name, settings=call.house.settings))
    call.house.files.keep(call.caller.organisation_id, found.facts.sha256, found.content)
    return found


def _on_record(unit: Unit, *, house: House, sent: _Sent, kept: Received) -> Answer:
    made = register_document(unit, sent.stated, kept.facts, first=sent.first, record_id=sent.facts.id)
    if not hold_file(unit, house.files, kept.facts.sha256):
        # No document had it, so that it was let go of just now.
        house.files.keep(unit.organisation_id, kept.facts.sha256, kept.content)
    return created(made, at=PATH)


def taken(call: Call, *, digest: str) -> BinaryIO:
    """Return a document's file, to be closed by the caller, once all of it was found to be as it was kept.

    Raises:
        FileMissing: It is not there.
        FileDamaged: It is another.
    """
    try:
        return call.house.files.take(call.caller.organisation_id, digest)
    except (FileMissing, FileDamaged):
        log.exception("the file of a document is missing or damaged; reedbed verify names it")
        raise


def _refused(pointer: str, code: str, detail: str) -> RuleBroken:
    return RuleBroken(detail, code=code, faults=(Fault(pointer, code, detail),))


NOUN = Noun(
    path=PATH,
    singular="document",
    plural="documents",
    parameter="document_id",
    record=records.Document,
    new=NewDocument,
    changed=ChangedDocument,
    kept=Document,
    page=DocumentPage,
    register=register_document,
    change=change_document,
    end=end_document,
    filters=("subject", "subject_id", "sha256", "media_type"),
)
ATTACHMENTS = Part(
    owner=records.Document,
    owner_path=PATH,
    owner_parameter=NOUN.parameter,
    within="document_id",
    path="attachments",
    parameter="attachment_id",
    singular="attachment",
    plural="attachments",
    record=records.Attachment,
    new=NewAttachment,
    kept=Attachment,
    page=AttachmentPage,
    make=record_attachment,
    end=end_attachment,
)
FILE = Door(
    method="GET",
    path=f"{NOUN.one_path}/file",
    action="get_document_file",
    operation_id="get_document_file",
    summary="Get a document's file",
    tag="documents",
    subject="document",
    answers=Document,
    files=[media.value for media in MediaType],
    reads=get_file,
    parameters=[id_parameter(NOUN.parameter), IF_NONE_MATCH],
    headers=["ETag", "Content-Disposition"],
)
DOORS = (NOUN.list_door(), NOUN.get_door(), NOUN.change_door(), NOUN.end_door(), FILE, *ATTACHMENTS.doors())
