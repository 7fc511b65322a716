"""Files in a bucket of a store that speaks S3: ``ORGANISATION/AA/DIGEST``. Needs the extra ``s3``.

A file is put there in one request, with its digest for the store to compare, and appears whole or not at all. It is put there even where
there is one of that name: the content is the same, one that was damaged is whole again, and no store has to know conditions.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from tempfile import SpooledTemporaryFile
from typing import Any, BinaryIO, cast

from domain.errors import StorageBusy, StorageFailed
from domain.records.files import CHUNK_BYTES, DIGEST, FileMissing, as_refusals, missing, refuse_other

CONNECT_WITHIN_S, ANSWER_WITHIN_S = 3, 20
TRIES = 3
KEPT_IN_MEMORY = 4 * CHUNK_BYTES
"""Of a file on its way, before it goes by way of a temporary file."""
_ABSENT = frozenset({"NoSuchKey", "404", "NotFound"})
_PASSING = frozenset({"InternalError", "RequestTimeout", "ServiceUnavailable", "SlowDown", "500", "502", "503", "504"})


@dataclass(frozen=True, slots=True)
class Bucket:
    """Which bucket, where, and by which key. Without an ``endpoint`` it is the cloud's own address of the ``region``."""

    name: str
    endpoint: str | None
    region: str
    access_key_id: str
    secret_key: str = field(repr=False)


class BucketFiles:
    """Files in a bucket."""

    def __init__(self, bucket: Bucket) -> None:
        """Make the client; nothing is asked of the store yet.

        Raises:
            ImportError: The extra ``s3`` is not installed.
        """
        import boto3  # noqa: PLC0415 - an extra; absent where files lie in a folder
        from botocore.config import Config  # noqa: PLC0415 - the same
        from botocore.exceptions import BotoCoreError, ClientError  # noqa: PLC0415 - the same

        self.bucket = bucket
        self._refused, self._away = ClientError, BotoCoreError
        config = Config(
            connect_timeout=CONNECT_WITHIN_S,
            read_timeout=ANSWER_WITHIN_S,
            retries={"mode": "standard", "total_max_attempts": TRIES},
            signature_version="s3v4",
            proxies={},
            # Checksums that others than the cloud may not know are sent where a request says so, and asked for nowhere.
            request_checksum_calculation="when_required",
            response_checksum_validation="when_required",
            s3={"addressing_style": "path" if bucket.endpoint else "auto"},
        )
        self._client: Any = boto3.session.Session().client(
            "s3",
            endpoint_url=bucket.endpoint,
            region_name=bucket.region,
            aws_access_key_id=bucket.access_key_id,
            aws_secret_access_key=bucket.secret_key,
            config=config,
        )

    def keep(self, organisation_id: int, digest: str, content: BinaryIO) -> None:
        """Put a file into the bucket."""
        refuse_other(content, digest)
        checksum = base64.b64encode(bytes.fromhex(digest)).decode()
        with self._as_refusals():
            self._client.put_object(**self._at(organisation_id, digest), Body=content, ChecksumSHA256=checksum)

    def take(self, organisation_id: int, digest: str) -> BinaryIO:
        """Bring a file here and return it once its content was compared with its name."""
        if not DIGEST.fullmatch(digest):
            raise missing()
        with as_refusals(), self._as_refusals(), ExitStack() as undo:
            file = cast("BinaryIO", undo.enter_context(SpooledTemporaryFile(KEPT_IN_MEMORY)))
            with closing(self._client.get_object(**self._at(organisation_id, digest))["Body"]) as body:
                for piece in body.iter_chunks(CHUNK_BYTES):
                    file.write(piece)
            refuse_other(file, digest)
            undo.pop_all()
        return file

    def holds(self, organisation_id: int, digest: str) -> bool:
        """Return whether there is an object of the digest's name."""
        if not DIGEST.fullmatch(digest):
            return False
        try:
            with self._as_refusals():
                self._client.head_object(**self._at(organisation_id, digest))
        except FileMissing:
            return False
        return True

    def digests(self, organisation_id: int) -> Iterator[str]:
        """Yield the names of the objects that are digests and lie where they belong, in order, as the store lists them."""
        with self._as_refusals():
            pages = self._client.get_paginator("list_objects_v2").paginate(Bucket=self.bucket.name, Prefix=f"{organisation_id:d}/")
            keys = [one["Key"] for page in pages for one in page.get("Contents", ())]
        named = ((key, key.rpartition("/")[2]) for key in keys)
        yield from sorted(name for key, name in named if DIGEST.fullmatch(name) and key == self._at(organisation_id, name)["Key"])

    def let_go(self, organisation_id: int, digest: str) -> None:
        """Remove an object."""
        if DIGEST.fullmatch(digest):
            with self._as_refusals():
                self._client.delete_object(**self._at(organisation_id, digest))

    def tidy(self, organisation_id: int, *, before: datetime) -> int:  # noqa: ARG002 - an object is there whole or not at all
        """Remove nothing: what was not finished is not there."""
        return 0

    def _at(self, organisation_id: int, digest: str) -> dict[str, str]:
        return {"Bucket": self.bucket.name, "Key": f"{organisation_id:d}/{digest[:2]}/{digest}"}

    @contextmanager
    def _as_refusals(self) -> Iterator[None]:
        """Raise what the store or the way to it refuses as refusals. Neither the address nor the key is in a sentence."""
        try:
            yield
        except self._refused as refused:
            raise _refusal_of(str(refused.response.get("Error", {}).get("Code", ""))) from refused
        except self._away as away:
            raise StorageBusy("The storage of files cannot be reached in time. Please try again.") from away


def _refusal_of(code: str) -> StorageBusy | StorageFailed:
    if code in _ABSENT:
        return missing()
    if code in _PASSING:
        return StorageBusy("The storage of files cannot be reached in time. Please try again.")
    return StorageFailed("The storage of files refuses what is asked of it. What was asked for was not confirmed.")
