"""Files are kept by their content, wherever they lie, and what comes out is what went in or a refusal."""

from __future__ import annotations

import errno
import io
import os
import shutil
import stat
from base64 import b64encode
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from domain.errors import StorageBusy, StorageFailed
from domain.records.files import FileDamaged, FileMissing, Files, as_refusals, flaw_of
from domain.records.files.bucket import Bucket, BucketFiles
from domain.records.files.folder import UNFINISHED, FolderFiles
from domain.records.files.nowhere import NoFiles
from tests import makers
from tests.bucket_server import bucket_server, client_of

HOUSE, OTHER = 7, 71
"""The number of one organisation begins as the other's."""
PAPER = b"a paper of two lines\n" * 2
NOBODYS = "0" * 64


class Place:
    """Where files lie, and how somebody damages one there behind our back."""

    def __init__(self, files: Files, overwrite: Callable[[int, str, bytes], Any]) -> None:
        self.files, self.overwrite = files, overwrite

    def keep(self, content: bytes = PAPER, *, organisation_id: int = HOUSE) -> str:
        digest = sha256(content).hexdigest()
        self.files.keep(organisation_id, digest, io.BytesIO(content))
        return digest

    def take(self, digest: str, *, organisation_id: int = HOUSE) -> bytes:
        with self.files.take(organisation_id, digest) as file:
            return file.read()


@pytest.fixture(scope="module")
def bucket() -> Iterator[Bucket]:
    with bucket_server() as made:
        yield made


@pytest.fixture(params=["folder", "bucket"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    if request.param == "folder":
        root = tmp_path / "documents"
        return Place(FolderFiles(root), lambda number, digest, content: (root / f"{number}/{digest[:2]}/{digest}").write_bytes(content))
    bucket = request.getfixturevalue("bucket")
    client = client_of(bucket)
    for one in client.list_objects_v2(Bucket=bucket.name).get("Contents", ()):
        client.delete_object(Bucket=bucket.name, Key=one["Key"])
    put = lambda number, digest, content: client.put_object(Bucket=bucket.name, Key=f"{number}/{digest[:2]}/{digest}", Body=content)  # noqa: E731
    return Place(BucketFiles(bucket), put)


def test_what_was_kept_comes_out_as_it_went_in(place):
    large = os.urandom(3_000_000)

    assert place.take(place.keep()) == PAPER
    assert place.take(place.keep(large)) == large
    assert place.take(place.keep(b"")) == b""


def test_a_file_that_is_read_to_its_end_before_it_is_kept_is_kept_whole(place):
    file = io.BytesIO(PAPER)
    file.read()
    digest = sha256(PAPER).hexdigest()

    place.files.keep(HOUSE, digest, file)

    assert place.take(digest) == PAPER


def test_keeping_it_again_changes_nothing_and_heals_what_was_damaged(place):
    digest = place.keep()
    place.keep()
    assert [*place.files.digests(HOUSE)] == [digest]

    place.overwrite(HOUSE, digest, b"other")
    place.keep()

    assert place.take(digest) == PAPER


def test_what_does_not_have_the_digest_it_should_have_is_not_kept(place):
    with pytest.raises(FileDamaged):
        place.files.keep(HOUSE, NOBODYS, io.BytesIO(PAPER))

    assert not place.files.holds(HOUSE, NOBODYS)
    assert [*place.files.digests(HOUSE)] == []


def test_a_file_is_one_organisations(place):
    digest = place.keep()

    assert (place.files.holds(HOUSE, digest), place.files.holds(OTHER, digest)) == (True, False)
    with pytest.raises(FileMissing):
        place.take(digest, organisation_id=OTHER)
    assert [*place.files.digests(OTHER)] == []
    place.keep(organisation_id=OTHER)
    place.files.let_go(OTHER, digest)
    assert place.take(digest) == PAPER


@pytest.mark.parametrize("other", [b"", PAPER[:-1], PAPER + b"x", PAPER.replace(b"two", b"twO")])
def test_a_damaged_file_is_not_given_out(place, other):
    digest = place.keep()
    place.overwrite(HOUSE, digest, other)

    with pytest.raises(FileDamaged):
        place.take(digest)
    assert flaw_of(place.files, HOUSE, digest) == "is damaged"


def test_a_missing_file_is_said_to_be_missing(place):
    digest = place.keep()
    assert flaw_of(place.files, HOUSE, digest) == ""
    place.files.let_go(HOUSE, digest)
    place.files.let_go(HOUSE, digest)

    assert flaw_of(place.files, HOUSE, digest) == "is missing"
    assert not place.files.holds(HOUSE, digest)


@pytest.mark.parametrize(
    "digest", ["../../../etc/passwd", "", "..", f"..{'0' * 62}", "A" * 64, "0" * 63, f"{'0' * 64}\n", f"{'0' * 31}/{'0' * 32}"]
)
def test_what_is_no_digest_leads_nowhere(place, digest):
    assert not place.files.holds(HOUSE, digest)
    with pytest.raises(FileMissing):
        place.files.take(HOUSE, digest)
    with pytest.raises(FileDamaged):
        place.files.keep(HOUSE, digest, io.BytesIO(PAPER))
    place.files.let_go(HOUSE, digest)


def test_digests_are_listed_in_order_and_strangers_are_not(place):
    digests = {place.keep(b"%d" % number) for number in range(20)}
    place.overwrite(HOUSE, min(digests)[:2] + "stranger", b"x") if hasattr(place.files, "bucket") else None

    assert [*place.files.digests(HOUSE)] == sorted(digests)


def test_many_keep_the_same_file_at_once(place):
    with ThreadPoolExecutor(4) as at_once:
        digests = {*at_once.map(lambda _: place.keep(), range(12))}

    assert {place.take(digest) for digest in digests} == {PAPER}
    assert [*place.files.digests(HOUSE)] == [*digests]


def test_nowhere_nothing_is_kept_and_nothing_is_there():
    nowhere = NoFiles()

    with pytest.raises(StorageFailed) as refused:
        nowhere.keep(HOUSE, sha256(PAPER).hexdigest(), io.BytesIO(PAPER))
    assert refused.value.code == "no-place-for-files"
    assert flaw_of(nowhere, HOUSE, NOBODYS) == "is missing"
    assert (nowhere.holds(HOUSE, NOBODYS), [*nowhere.digests(HOUSE)], nowhere.tidy(HOUSE, before=makers.NOON)) == (False, [], 0)


class Recorded:
    """What was asked of the system, in order."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.calls: list[str] = []
        self._fsync_for_real, self._rename_for_real = os.fsync, Path.replace
        recorded = self

        def rename(path: Path, other: Path) -> Path:
            recorded.calls.append("rename")
            return recorded._rename_for_real(path, other)

        monkeypatch.setattr(os, "fsync", self._fsync)
        monkeypatch.setattr(Path, "replace", rename)

    def _fsync(self, number: int) -> None:
        path = Path(f"/proc/self/fd/{number}").readlink()
        kind = "folder" if stat.S_ISDIR(os.fstat(number).st_mode) else "file"
        self.calls.append(f"fsync {kind} {path.name if kind == 'folder' else path.name.partition('-')[0]}")
        self._fsync_for_real(number)


def test_the_content_is_on_the_disk_before_it_has_its_name_and_the_name_before_anything_is_confirmed(tmp_path, monkeypatch):
    recorded = Recorded(monkeypatch)
    files = FolderFiles(tmp_path / "documents")
    digest = sha256(PAPER).hexdigest()

    files.keep(HOUSE, digest, io.BytesIO(PAPER))

    assert recorded.calls == [
        "fsync file unfinished",
        "rename",
        f"fsync folder {digest[:2]}",
        f"fsync folder {HOUSE}",
        "fsync folder documents",
        f"fsync folder {tmp_path.name}",
    ]


def test_nobody_else_may_look_into_the_folder(tmp_path):
    before = os.umask(0)
    try:
        digest = Place(FolderFiles(tmp_path / "documents"), lambda *_: None).keep()
    finally:
        os.umask(before)

    below = [tmp_path / "documents", *(tmp_path / "documents").rglob("*")]
    assert below[-1].name == digest
    assert {stat.S_IMODE(path.stat().st_mode) for path in below if path.is_dir()} == {0o700}
    assert stat.S_IMODE(below[-1].stat().st_mode) == 0o600


def test_a_link_or_a_folder_in_a_files_place_is_no_file(tmp_path):
    files = FolderFiles(tmp_path / "documents")
    digest = Place(files, lambda *_: None).keep()
    path = next((tmp_path / "documents").rglob(digest))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_bytes(PAPER)
    for make in (lambda: path.symlink_to(elsewhere), path.mkdir, lambda: os.mkfifo(path)):
        path.rmdir() if path.is_dir() else path.unlink()
        make()
        assert not files.holds(HOUSE, digest)
        with pytest.raises(FileMissing):
            files.take(HOUSE, digest)


def test_what_was_never_finished_is_tidied_away_once_it_is_old_and_never_listed(tmp_path):
    files = FolderFiles(tmp_path / "documents")
    digest = Place(files, lambda *_: None).keep()
    left = next((tmp_path / "documents").rglob(digest)).with_name(f"{UNFINISHED}0")
    left.write_bytes(b"half")
    begun = datetime.fromtimestamp(left.stat().st_mtime, UTC)

    assert [*files.digests(HOUSE)] == [digest]
    assert files.tidy(HOUSE, before=begun - timedelta(seconds=1)) == 0
    assert files.tidy(OTHER, before=begun + timedelta(seconds=1)) == 0
    assert files.tidy(HOUSE, before=begun + timedelta(seconds=1)) == 1
    assert not left.exists()
    assert files.holds(HOUSE, digest)


def test_a_file_that_would_take_the_last_room_is_refused(tmp_path):
    free = shutil.disk_usage(tmp_path).free
    roomy, tight = FolderFiles(tmp_path / "documents"), FolderFiles(tmp_path / "documents", least_free_bytes=10 * free)

    with pytest.raises(StorageBusy) as refused:
        Place(tight, lambda *_: None).keep()

    assert refused.value.code == "storage-full"
    assert not tight.holds(HOUSE, sha256(PAPER).hexdigest())
    digest = Place(roomy, lambda *_: None).keep()
    assert flaw_of(tight, HOUSE, digest) == "", "what is there is given out all the same"


class Broken(io.BytesIO):
    """A file that the system cannot read a second time."""

    def __init__(self, content: bytes) -> None:
        super().__init__(content)
        self.readings = 0

    def seek(self, *place: int) -> int:
        self.readings += 1
        return super().seek(*place)

    def read(self, *size: int) -> bytes:
        if self.readings > 1:
            raise OSError(errno.EIO, "broken")
        return super().read(*size)


def test_a_write_that_fails_half_way_leaves_nothing(tmp_path):
    files = FolderFiles(tmp_path / "documents")

    with pytest.raises(StorageFailed):
        files.keep(HOUSE, sha256(PAPER).hexdigest(), Broken(PAPER))

    assert [path for path in (tmp_path / "documents").rglob("*") if path.is_file()] == []


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.ENOSPC, "storage-full"),
        (errno.EDQUOT, "storage-full"),
        (errno.EROFS, "storage-read-only"),
        (errno.EACCES, "storage-read-only"),
        (errno.EIO, "storage-failed"),
    ],
)
def test_what_the_system_refuses_is_said(number, code):
    with pytest.raises((StorageBusy, StorageFailed)) as refused, as_refusals():
        raise OSError(number, os.strerror(number), "/secret/place")

    assert refused.value.code == code
    assert "secret" not in refused.value.detail


def test_the_store_is_told_the_digest_to_compare(bucket):
    files, sent = BucketFiles(bucket), []
    files._client.meta.events.register("before-send.s3.PutObject", lambda request, **_: sent.append(dict(request.headers)))

    digest = Place(files, lambda *_: None).keep()

    [headers] = sent
    assert headers["x-amz-checksum-sha256"] == b64encode(bytes.fromhex(digest))
    assert headers["Content-Length"] == str(len(PAPER))


def test_more_objects_than_a_page_holds_are_listed(bucket, monkeypatch):
    monkeypatch.setenv("MOTO_S3_DEFAULT_MAX_KEYS", "5")
    files, client = BucketFiles(bucket), client_of(bucket)
    digests = {sha256(b"%d" % number).hexdigest() for number in range(12)}
    for digest in digests:
        client.put_object(Bucket=bucket.name, Key=f"99/{digest[:2]}/{digest}", Body=b"x")
    client.put_object(Bucket=bucket.name, Key="99/notes.txt", Body=b"x")

    assert client.list_objects_v2(Bucket=bucket.name, Prefix="99/")["IsTruncated"]
    assert [*files.digests(99)] == sorted(digests)


def test_a_store_that_is_away_is_busy_and_one_that_refuses_has_failed(bucket):
    away = BucketFiles(replace(bucket, endpoint="http://127.0.0.1:9"))
    wrong = BucketFiles(replace(bucket, name="no-such-bucket"))
    digest = sha256(PAPER).hexdigest()

    for act in (lambda files: files.keep(HOUSE, digest, io.BytesIO(PAPER)), lambda files: [*files.digests(HOUSE)]):
        with pytest.raises(StorageBusy):
            act(away)
        with pytest.raises(StorageFailed) as refused:
            act(wrong)
        assert bucket.secret_key not in str(refused.value)
    assert bucket.secret_key not in repr(bucket)


def test_what_is_taken_is_closed_where_it_is_not_given_out(place):
    digest = place.keep()
    place.overwrite(HOUSE, digest, b"other")

    with ExitStack() as stack, pytest.raises(FileDamaged):
        stack.enter_context(place.files.take(HOUSE, digest))
