"""A store that speaks S3 on this machine's loopback, for the tests."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from uuid import uuid4

import boto3
from moto.server import ThreadedMotoServer

from domain.records.files.bucket import Bucket

BUCKET = Bucket(name="documents", endpoint=None, region="eu-west-1", access_key_id="reedbed", secret_key="reedbed-secret")


@contextmanager
def bucket_server() -> Iterator[Bucket]:
    """Yield an empty bucket of a server that runs in a thread until the block ends."""
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    try:
        host, port = server.get_host_and_port()
        # All servers of a process share what they hold.
        bucket = replace(BUCKET, endpoint=f"http://{host}:{port}", name=f"documents-{uuid4().hex}")
        client_of(bucket).create_bucket(Bucket=bucket.name, CreateBucketConfiguration={"LocationConstraint": bucket.region})
        yield bucket
    finally:
        server.stop()


def client_of(bucket: Bucket) -> Any:
    """Return a client of the bucket's server that is not ours."""
    return boto3.session.Session().client(
        "s3",
        endpoint_url=bucket.endpoint,
        region_name=bucket.region,
        aws_access_key_id=bucket.access_key_id,
        aws_secret_access_key=bucket.secret_key,
    )
