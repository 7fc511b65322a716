"""Children that put documents on record through the whole service until they are killed, and note in a file what was confirmed to them."""

from __future__ import annotations

import os
import threading
import time
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import BinaryIO

from anyio.from_thread import start_blocking_portal

from api.app import build_app
from api.settings import Settings
from domain.records.engine import open_store
from domain.records.files.folder import FolderFiles
from domain.records.tables import make_ready
from tests import makers
from tests.api.conftest import Client
from tests.faults.serving import UNLIMITED
from tests.pictures import PDF

LATE_S = 0.02
FILLING = b"% reeds\n" * 4000
"""So that a file has many sectors."""


class LateFiles(FolderFiles):
    """A place that says a file is kept and keeps it a little later: a document is on record before its file is there."""

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:
        copy = content.read() if content.seek(0) == 0 else b""
        threading.Thread(target=self._keep_later, args=(organisation_id, digest, copy), daemon=True).start()

    def _keep_later(self, organisation_id: int, digest: str, copy: bytes) -> None:
        time.sleep(LATE_S)
        path = self._path(organisation_id, digest)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(copy)

    def holds(self, organisation_id: int, digest: str) -> bool:  # noqa: ARG002 - it says so of any
        return True


class ContentUnsaid(FolderFiles):
    """A place that does not have the disk keep what is in a file before the file has its name."""

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:
        real, os.fsync = os.fsync, lambda number: real(number) if os.path.isdir(f"/proc/self/fd/{number}") else None  # noqa: PTH112
        try:
            super().keep(organisation_id, digest, content)
        finally:
            os.fsync = real


class NameUnsaid(FolderFiles):
    """A place that does not have the disk keep the names of files."""

    def _keep_names(self, innermost: Path) -> None:
        pass


PLACES = {"shipped": FolderFiles, "late": LateFiles, "content unsaid": ContentUnsaid, "name unsaid": NameUnsaid}


def write_documents(url: str, key: str, folder: str, confirmed: str, place: str) -> None:
    """Put one document after another on record, and write the id and digest of each that was confirmed as a line of a file."""
    make_ready()
    store = open_store(url, pool_size=2)
    app = build_app(store, settings=Settings(document_folder=Path(folder), **UNLIMITED), clock=lambda: makers.NOON)
    app.state.house.files = PLACES[place](Path(folder))
    lines = os.open(confirmed, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        client = Client(app, portal, key=key)
        for number in count():
            content = PDF.replace(b"\n", b"\n%% %d of %d\n" % (number, os.getpid()), 1)
            content = content.replace(b"trailer", FILLING + b"trailer")
            said = client.request("POST", "/v1/documents", files={"file": ("a.pdf", content)}, data={"title": str(number)})
            assert said.status_code == 201, said.text
            os.write(lines, f"{said.json()['id']} {sha256(content).hexdigest()}\n".encode())
