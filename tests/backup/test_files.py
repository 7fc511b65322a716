"""The files of documents go with their backup: each is in it, compared when it is restored, and named where it is not whole."""

from __future__ import annotations

import io
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from uuid import UUID

import msgspec
import pytest

from domain.actions.backups import Differs, needed_bytes
from domain.actions.documents import FileFacts, files_on_record, flaws_of_files, register_document
from domain.errors import StorageBusy
from domain.records.backups import archive, manifest, rows
from domain.records.backups.archive import Damaged
from domain.records.backups.manifest import File, LostFile
from domain.records.backups.whole import whole_snapshot
from domain.records.documents import DocumentStated, MediaType
from domain.records.files import Files
from domain.records.files.bucket import Bucket, BucketFiles
from domain.records.files.folder import FolderFiles
from tests import makers
from tests.backup.conftest import records_of, restored, taken, untold
from tests.bucket_server import bucket_server

PAPERS = (b"first\n\n\nlines", b"second\0\xff" * 100_000, b"")


def put_on_record(store, files: Files, content: bytes, *, organisation_id: int = makers.ORGANISATION) -> UUID:
    digest = sha256(content).hexdigest()
    files.keep(organisation_id, digest, io.BytesIO(content))
    facts = FileFacts("paper.pdf", MediaType.PDF, len(content), digest, digest)
    with store.transaction(makers.origin(organisation_id=organisation_id)) as unit:
        return register_document(unit, DocumentStated(title="A paper"), facts, first=None).id


@dataclass
class Source:
    """A store with papers of two organisations, where their files lie, and the digests of the first's."""

    store: object
    files: FolderFiles
    digests: list[str]

    def path(self, digest: str) -> Path:
        return next(self.files.folder.glob(f"{makers.ORGANISATION}/*/{digest}"))


@pytest.fixture
def source(target, tmp_path):
    files = FolderFiles(tmp_path / "from")
    makers.organisation(target)
    makers.organisation(target, organisation_id=makers.OTHER_ORGANISATION, name="Quillback Rescue")
    for content in (*PAPERS, PAPERS[0]):
        put_on_record(target, files, content)
    put_on_record(target, files, PAPERS[0], organisation_id=makers.OTHER_ORGANISATION)
    return Source(target, files, sorted(sha256(content).hexdigest() for content in PAPERS))


def flaws(store, files, *, organisation_id=makers.ORGANISATION):
    with store.snapshot(makers.origin(organisation_id=organisation_id)) as unit:
        return [flaw.sentence for flaw in flaws_of_files(files, organisation_id, files_on_record(unit))]


def test_every_file_is_in_the_backup_once_and_comes_out_of_it_as_it_was(source, empty_store, tmp_path):
    file, again = io.BytesIO(), io.BytesIO()
    said = taken(source.store, file, files=source.files)
    there, copies = empty_store("sqlite"), FolderFiles(tmp_path / "to")

    restored(there, file, files=copies)
    taken(there, again, files=copies)

    assert [one.sha256 for one in said.files if one.organisation_id == makers.ORGANISATION] == source.digests
    assert [one.sha256 for one in said.files if one.organisation_id == makers.OTHER_ORGANISATION] == [sha256(PAPERS[0]).hexdigest()]
    assert said.lost_files == ()
    for content in PAPERS:
        with copies.take(makers.ORGANISATION, sha256(content).hexdigest()) as found:
            assert found.read() == content
    assert [*copies.digests(makers.ORGANISATION)] == source.digests
    assert flaws(there, copies) == []
    assert again.getvalue() == file.getvalue()


def test_files_go_from_a_folder_into_a_bucket_and_back(source, empty_store, tmp_path):
    file, back = io.BytesIO(), io.BytesIO()
    taken(source.store, file, files=source.files)
    with bucket_server() as bucket:
        there, objects = empty_store("sqlite"), BucketFiles(bucket)
        restored(there, file, files=objects)
        taken(there, back, files=objects)

    assert back.getvalue() == file.getvalue()


@pytest.mark.parametrize(("harm", "flaw"), [(Path.unlink, "is missing"), (lambda path: path.write_bytes(b"x"), "is damaged")])
def test_a_file_that_is_not_whole_is_named_left_out_and_holds_nothing_up(source, empty_store, tmp_path, harm, flaw):
    lost = source.digests[1]
    harm(source.path(lost))
    file = io.BytesIO()

    said = taken(source.store, file, files=source.files)
    there, copies = empty_store("sqlite"), FolderFiles(tmp_path / "to")
    restored(there, file, files=copies)

    assert said.lost_files == (LostFile(makers.ORGANISATION, lost, flaw),)
    assert lost not in {one.sha256 for one in said.files if one.organisation_id == makers.ORGANISATION}
    assert records_of(there) == records_of(source.store)
    assert [sentence.split()[2] for sentence in flaws(there, copies)] == [lost] * len(flaws(there, copies))
    assert flaws(there, copies)[0].endswith("is missing.")


def test_files_that_cannot_be_reached_stop_a_backup(source):
    away = BucketFiles(Bucket(name="x", endpoint="http://127.0.0.1:9", region="eu-west-1", access_key_id="x", secret_key="x"))

    with pytest.raises(StorageBusy):
        taken(source.store, io.BytesIO(), files=away)


def changed(backup: bytes, at: int) -> bytes:
    spoilt = bytearray(backup)
    spoilt[at] ^= 1
    return bytes(spoilt)


def test_a_bit_that_changed_in_a_file_is_found_before_anything_is_written(source, empty_store, tmp_path):
    file = io.BytesIO()
    said = taken(source.store, file, files=source.files)
    members = manifest.check(file, tell=untold).members
    there, copies = empty_store("sqlite"), FolderFiles(tmp_path / "to")

    for one in said.files:
        if one.size_bytes:
            spoilt = changed(file.getvalue(), members[one.member].start + one.size_bytes // 2)
            with pytest.raises(Damaged, match=one.member):
                restored(there, io.BytesIO(spoilt), files=copies)
    assert not any(records_of(there).values())
    assert not copies.folder.exists()


def rebuilt(backup: bytes, *, without: File | None = None, renamed: File | None = None, **said) -> io.BytesIO:
    """Return a backup in which everything fits its manifest, and a file is left out or under another name."""
    checked = manifest.check(io.BytesIO(backup), tell=untold)
    made, files = io.BytesIO(), []
    for content in checked.manifest.contents:
        with archive.added(made, content.member) as growing:
            growing.write(archive.content_of(io.BytesIO(backup), checked.members[content.member]))
    for one in checked.manifest.files:
        if one == without:
            continue
        named = msgspec.structs.replace(one, sha256="0" * 64) if one == renamed else one
        with archive.added(made, named.member) as growing:
            growing.write(archive.content_of(io.BytesIO(backup), checked.members[one.member]))
        files.append(named)
    manifest.seal(made, msgspec.structs.replace(checked.manifest, files=tuple(files), **said))
    return made


def test_a_backup_that_lacks_a_file_or_calls_it_otherwise_is_refused_whole(source, empty_store, tmp_path):
    file = io.BytesIO()
    said = taken(source.store, file, files=source.files)
    first = said.files[0]
    there, copies = empty_store("sqlite"), FolderFiles(tmp_path / "to")

    with pytest.raises(Differs, match=first.sha256):
        restored(there, rebuilt(file.getvalue(), without=first), files=copies)
    with pytest.raises(Damaged, match="0000"):
        restored(there, rebuilt(file.getvalue(), renamed=first), files=copies)
    assert not any(records_of(there).values())

    known = (LostFile(first.organisation_id, first.sha256, "is missing"),)
    restored(there, rebuilt(file.getvalue(), without=first, lost_files=known), files=copies)
    assert flaws(there, copies) != []


def test_a_member_of_another_name_is_none(source):
    file = io.BytesIO()
    taken(source.store, file, files=source.files)
    for name in ("organisations/1/files/../../x", f"organisations/1/files/{'A' * 64}", "organisations/1/files/x", f"files/{'0' * 64}"):
        assert archive.MEMBER_NAME.fullmatch(name) is None


def test_a_backup_of_the_first_version_of_the_format_is_still_read(source):
    makers_only = io.BytesIO()
    taken(source.store, makers_only)
    older = rebuilt(makers_only.getvalue(), format_version=1, lost_files=())

    assert manifest.check(older, tell=untold).manifest.files == ()


def test_the_room_that_a_backup_needs_counts_each_file_once(source):
    with whole_snapshot(source.store, makers.origin()) as unit:
        with_files, without = needed_bytes(unit), rows.stored_bytes(unit)

    assert with_files - without == sum(map(len, PAPERS)) + len(PAPERS[0])


def test_an_excerpt_reads_as_the_member_alone():
    file = io.BytesIO()
    with archive.added(file, "organisations/1/site.jsonl") as growing:
        growing.write(b"before\n")
    start = file.tell() + archive.BLOCK
    with archive.added(file, f"organisations/1/files/{'0' * 64}") as growing:
        growing.write(PAPERS[1])
    member = archive.Member("x", start, len(PAPERS[1]), 0, "")

    with archive.excerpt_of(file, member) as excerpt:
        assert excerpt.read() == PAPERS[1]
        assert excerpt.seek(0, io.SEEK_END) == len(PAPERS[1])
        assert excerpt.read() == b""
        excerpt.seek(6)
        assert excerpt.read(3) == PAPERS[1][6:9]
        file.seek(0)
        assert excerpt.read(3) == PAPERS[1][9:12]
    assert not file.closed
