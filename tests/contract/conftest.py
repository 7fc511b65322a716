"""The service with two organisations, each with a collection and a key, on either database."""

from __future__ import annotations

import io
from dataclasses import dataclass
from hashlib import sha256
from uuid import UUID

import pytest
from fastapi import FastAPI

from api.app import build_app
from api.settings import Settings
from domain.actions.documents import ATTACHMENTS_OF, FileFacts, register_document
from domain.records.documents import Attachment, AttachmentStated, DocumentStated, MediaType
from domain.records.engine import Store
from tests import makers
from tests.api.conftest import make_key
from tests.contract.collection import registered
from tests.memory_files import MemoryFiles
from tests.transfer_files import file_of

UNLIMITED = Settings(
    requests_per_minute=0,
    organisation_requests_per_minute=0,
    imports_per_hour=0,
    sign_ins_per_minute=0,
    address_sign_ins_per_minute=0,
)
"""Everything but the limits, which have tests of their own and would end a run early."""


@dataclass(frozen=True)
class Service:
    """A service that can be called by two organisations."""

    app: FastAPI
    keys: dict[str, str]
    known: dict[str, str]


@pytest.fixture
def database(store: Store) -> str:
    """Return which database the service is over."""
    return store.dialect


@pytest.fixture
def service(store: Store) -> Service:
    """Return the service over a database with two organisations; ``known`` are the ids of the first."""
    return service_over(store)


def service_over(store: Store) -> Service:
    first = makers.organisation(store)
    second = makers.organisation(store, organisation_id=makers.OTHER_ORGANISATION, name="Saltings Aquarium")
    keys = {"marshlight": make_key(store, organisation_id=first), "saltings": make_key(store, organisation_id=second)}
    known = registered(store, organisation_id=first)
    registered(store, organisation_id=second)
    app = build_app(store, settings=UNLIMITED, clock=lambda: makers.NOON)
    app.state.house.files = files = MemoryFiles()
    return Service(app, keys, {**known, **filed(store, files, known)})


def filed(store: Store, files: MemoryFiles, known: dict[str, str]) -> dict[str, str]:
    """Put a document of the first organisation on record with its file, the transfer file of somebody else without animals.

    Return its id, its attachment's, and that of another record.
    """
    content = file_of(animals=(), papers=())
    digest = sha256(content).hexdigest()
    files.keep(makers.ORGANISATION, digest, io.BytesIO(content))
    first = AttachmentStated(subject="site", subject_id=UUID(known["site_id"]))
    facts = FileFacts("paper.pdf", MediaType.PDF, len(content), digest, digest)
    with store.transaction(makers.origin()) as unit:
        document = register_document(unit, DocumentStated(title="A paper"), facts, first=first)
        [attachment] = unit.all(Attachment, ATTACHMENTS_OF, document_id=document.id)
    return {"document_id": str(document.id), "attachment_id": str(attachment.id), "subject_id": known["animal_id"]}
