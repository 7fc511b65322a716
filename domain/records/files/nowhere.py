"""Where files lie while no place for them is set: nowhere. None is taken, and none is there."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import BinaryIO

from domain.errors import StorageFailed
from domain.records.files import missing


class NoFiles:
    """No place for files."""

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:  # noqa: ARG002 - as every place takes it
        """Refuse a file.

        Raises:
            StorageFailed: Always.
        """
        raise StorageFailed(
            "No place for the files of documents is set. Whoever looks after Reedbed has to name one.", code="no-place-for-files"
        )

    def take(self, organisation_id: int, digest: str) -> BinaryIO:  # noqa: ARG002 - as every place takes it
        """Find no file.

        Raises:
            FileMissing: Always.
        """
        raise missing()

    def holds(self, organisation_id: int, digest: str) -> bool:  # noqa: ARG002 - as every place takes it
        """Return that there is none."""
        return False

    def digests(self, organisation_id: int) -> Iterator[str]:  # noqa: ARG002 - as every place takes it
        """Yield none."""
        yield from ()

    def let_go(self, organisation_id: int, digest: str) -> None:
        """Remove nothing."""

    def tidy(self, organisation_id: int, *, before: datetime) -> int:  # noqa: ARG002 - as every place takes it
        """Remove nothing."""
        return 0
