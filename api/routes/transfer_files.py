"""The transfer file of another installation is read as a draft: its document is opened apart, then all of it is kept or nothing."""

from __future__ import annotations

import asyncio
from functools import partial

from api.admission import in_time
from api.answers import created
from api.bodies.records import with_disclaimer
from api.bodies.transfer_files import ReadTransferFile
from api.bodies.transfers import Transfer
from api.context import Call, origin_of, stated_in, write
from api.doors import Door
from api.errors import Answer
from api.filing.attachments import attachment_in
from api.filing.opened_pdf import FILE_MOST
from api.nouns import IDEMPOTENCY_KEY
from api.routes.documents import taken
from api.routes.transfers import NOUN
from api.settings import MEGABYTE
from api.transfer_files import filed, transfer_file
from domain.actions.recording import referred_reached
from domain.actions.transfers.from_file import FiledTransfer, read_transfer_file
from domain.errors import RuleBroken
from domain.records.documents import Document, MediaType
from domain.records.sites import Site
from domain.records.unit import Unit
from reports.transfer_file.sheet import ATTACHMENT_NAME


async def read_file(call: Call) -> Answer:
    """Read a document's transfer file and answer with the draft that it became."""
    said = stated_in(call, ReadTransferFile)
    house = call.house
    assert house.filing is not None  # noqa: S101 - the service has started
    told = await house.filing.compute(partial(in_time, partial(_opened, said=said)), call)

    def kept(unit: Unit) -> Answer:
        return created(read_transfer_file(unit, said, told), at=NOUN.path)

    return await asyncio.get_running_loop().run_in_executor(house.writers, in_time, partial(write, act=kept), call)


def _opened(call: Call, *, said: ReadTransferFile) -> FiledTransfer:
    """Return what the document tells, once it is known that the caller reaches it and the site that the animals come to."""
    with call.house.store.snapshot(origin_of(call)) as unit:
        referred_reached(unit, Site, said.to_site_id, field="to_site_id")
        document = referred_reached(unit, Document, said.document_id, field="document_id")
    if document.media_type is not MediaType.PDF:
        raise RuleBroken("This document is no PDF, and so no transfer file.", code="no-transfer-file", field="document_id")
    if document.size_bytes > FILE_MOST:
        raise RuleBroken(f"A transfer file has at most {FILE_MOST / MEGABYTE:g} MB.", code="file-too-large", field="document_id")
    with taken(call, digest=document.sha256) as content:
        found = attachment_in(content.read(), name=ATTACHMENT_NAME)
    return filed(transfer_file(found.content), found, said, sha256=document.sha256)


DOORS = (
    Door(
        method="POST",
        path="/v1/transfer-files",
        action="read_transfer_file",
        operation_id="read_transfer_file",
        summary="Read the transfer file of another installation as a draft",
        tag=NOUN.plural,
        subject="transfer",
        answers=with_disclaimer(Transfer),
        attends=read_file,
        status=201,
        body=ReadTransferFile,
        parameters=[IDEMPOTENCY_KEY],
        headers=["ETag", "Location"],
    ),
)
