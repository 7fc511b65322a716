"""A place for the files of documents in the memory of the test."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import datetime
from typing import BinaryIO

from domain.records.files import missing, refuse_other


class MemoryFiles:
    """Files by the number of their organisation and their digest."""

    def __init__(self) -> None:
        self.kept: dict[tuple[int, str], bytes] = {}

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:
        refuse_other(content, digest)
        self.kept[organisation_id, digest] = content.read()

    def take(self, organisation_id: int, digest: str) -> BinaryIO:
        if (organisation_id, digest) not in self.kept:
            raise missing()
        return io.BytesIO(self.kept[organisation_id, digest])

    def holds(self, organisation_id: int, digest: str) -> bool:
        return (organisation_id, digest) in self.kept

    def digests(self, organisation_id: int) -> Iterator[str]:
        yield from sorted(digest for number, digest in self.kept if number == organisation_id)

    def let_go(self, organisation_id: int, digest: str) -> None:
        self.kept.pop((organisation_id, digest), None)

    def tidy(self, organisation_id: int, *, before: datetime) -> int:  # noqa: ARG002 - nothing is ever left unfinished
        return 0
