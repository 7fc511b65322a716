"""A backup whose bytes are not exactly those that were written is refused, and what is wrong is named."""

from __future__ import annotations

import io
import os
import random
import tarfile
import zipfile

import msgspec
import pytest

from domain.records.backups import archive, manifest
from domain.records.backups.archive import BLOCK, Damaged
from tests.backup.conftest import untold

FLIPS = 100 * int(os.environ.get("REEDBED_ROUNDS", "4"))


def refusal(content):
    with pytest.raises(Damaged) as refused:
        manifest.check(io.BytesIO(content), tell=untold)
    return refused.value.detail


def parts_of(backup):
    """Return each member of a backup with its content, as any tar program reads them."""
    with tarfile.open(fileobj=io.BytesIO(backup)) as opened:
        return [(member, opened.extractfile(member).read()) for member in opened]


def archived(parts):
    file = io.BytesIO()
    for name, content in parts:
        with archive.added(file, name) as growing:
            growing.write(content)
    archive.finish(file)
    return file.getvalue()


def test_a_backup_is_a_tar_archive_that_anybody_can_read_and_nothing_else_was_written(small_backup):
    parts = parts_of(small_backup)
    said = msgspec.json.decode({member.name: content for member, content in parts}["manifest.json"])

    assert [member.name for member, _ in parts[-2:]] == ["manifest.json", "manifest.sha256"]
    assert {member.mode for member, _ in parts} == {0o600}
    assert said["format"] == "reedbed-backup"
    assert archived([(member.name, content) for member, content in parts]) == small_backup


def test_one_bit_anywhere_is_seen(small_backup):
    chance = random.Random(7)  # noqa: S311 - the same places in every run
    places = [chance.randrange(len(small_backup) * 8) for _ in range(FLIPS)]
    ends = [0, BLOCK * 8, len(small_backup) * 8 - 1, (len(small_backup) - 3 * BLOCK) * 8]

    unseen = []
    for place in (*places, *ends):
        flipped = bytearray(small_backup)
        flipped[place // 8] ^= 1 << place % 8
        try:
            manifest.check(io.BytesIO(flipped), tell=untold)
        except Damaged:
            continue
        unseen.append(place)
    assert unseen == []


def test_a_reader_that_trusts_the_archive_alone_would_not_have_seen_it(small_backup):
    # The control: a plain reader of archives takes most of those files without a word.
    chance = random.Random(7)  # noqa: S311 - the same places in every run
    taken = 0
    for _ in range(50):
        flipped = bytearray(small_backup)
        flipped[chance.randrange(len(flipped))] ^= 1
        try:
            taken += len(parts_of(bytes(flipped))) > 0
        except (tarfile.TarError, AttributeError):
            continue
    assert taken > 25


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9, 0.999])
def test_what_was_cut_off_is_seen(small_backup, share):
    assert refusal(small_backup[: int(len(small_backup) * share)])
    assert refusal(small_backup[:-1]) == "The backup does not end where its last member ends."
    assert refusal(small_backup[:-BLOCK]) == "The backup is cut off, or manifest.sha256 claims to be larger than it is."


@pytest.mark.parametrize("more", [b"\0", b"x", bytes(BLOCK), bytes(10_240)])
def test_what_was_added_at_the_end_is_seen(small_backup, more):
    assert refusal(small_backup + more) == "The backup does not end where its last member ends."


def test_a_missing_a_swapped_a_doubled_and_an_extra_member_are_named(small_backup):
    parts = [(member.name, content) for member, content in parts_of(small_backup)]
    site = next(at for at, (name, _) in enumerate(parts) if name.endswith("/site.jsonl"))
    model = next(at for at, (name, _) in enumerate(parts) if name.endswith("/equipment_model.jsonl"))
    exchanged = [*parts]
    exchanged[site], exchanged[model] = (parts[site][0], parts[model][1]), (parts[model][0], parts[site][1])

    assert refusal(archived(parts[:site] + parts[site + 1 :])) == f"{parts[site][0]} is missing from the backup."
    assert refusal(archived(parts[:-2])) == "The backup has no manifest.json."
    assert refusal(archived(parts[:-1])) == "The backup has no manifest.sha256."
    assert "order" in refusal(archived([parts[1], parts[0], *parts[2:]]))
    assert "does not have the content" in refusal(archived(exchanged))
    assert refusal(archived([*parts[:-2], parts[0], *parts[-2:]])) == f"The backup holds {parts[0][0]} twice."
    extra = ("organisations/9/site.jsonl", b"[]\n")
    assert refusal(archived([extra, *parts])) == f"The backup holds {extra[0]}, of which its manifest knows nothing."


def test_a_manifest_of_another_version_or_with_other_words_is_named(small_backup):
    parts = [(member.name, content) for member, content in parts_of(small_backup)]
    text = parts[-2][1]

    def with_manifest(other):
        file = io.BytesIO()
        for name, content in parts[:-2]:
            with archive.added(file, name) as growing:
                growing.write(content)
        for name, content in (("manifest.json", other), ("manifest.sha256", manifest._seal_of(other))):
            with archive.added(file, name) as growing:
                growing.write(content)
        archive.finish(file)
        return file.getvalue()

    assert with_manifest(text) == small_backup
    assert "is in version 3 of" in refusal(with_manifest(text.replace(b'"format_version": 2', b'"format_version": 3')))
    assert "of the format 'other'" in refusal(with_manifest(text.replace(b'"reedbed-backup"', b'"other"')))
    assert "cannot be read" in refusal(with_manifest(text.replace(b'"taken_at"', b'"taken_by"')))
    assert "cannot be read" in refusal(with_manifest(b"\xff"))
    assert "cannot be read" in refusal(with_manifest(b"[" * 100_000))


@pytest.mark.parametrize(
    "name",
    ["../site.jsonl", "/manifest.json", "organisations/1/../site.jsonl", "organisations/01/site.jsonl", "organisations/1/Site.jsonl", "x"],
)
def test_a_member_of_another_name_is_named(name):
    assert refusal(tar_of(tarfile.TarInfo(name))) == f"The backup holds {name!a}, which belongs to none."


@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.DIRTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE, tarfile.GNUTYPE_SPARSE, b"7"]
)
def test_what_is_no_file_is_refused_under_a_right_name(kind):
    member = tarfile.TarInfo("manifest.json")
    member.type, member.linkname, member.mode = kind, "/dev/null", 0o600

    assert refusal(tar_of(member)) == "The header of manifest.json is not as it was written."


@pytest.mark.parametrize("size", [10_000, 8**11 - 1, 8**11, 2**62, 2**87])
def test_a_size_beyond_the_file_is_refused_at_once(size):
    member = tarfile.TarInfo("manifest.json")
    member.size, member.mode = size, 0o600

    assert "claims to be larger than it is" in refusal(tar_of(member))


def test_a_negative_size_is_refused():
    block = bytearray(tar_of(tarfile.TarInfo("manifest.json"))[:BLOCK])
    block[124:136] = b"\xff" * 12
    block[148:156] = b" " * 8
    block[148:156] = f"{sum(block):06o}\0 ".encode()

    assert "belongs to none" in refusal(bytes(block) + bytes(2 * BLOCK))


def tar_of(member):
    return member.tobuf(tarfile.GNU_FORMAT) + bytes(2 * BLOCK)


def test_other_kinds_of_files_are_no_backup():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as zipped:
        zipped.writestr("manifest.json", bytes(10_000_000))
    squeezed = io.BytesIO()
    with tarfile.open(fileobj=squeezed, mode="w:gz") as tarred:
        tarred.addfile(tarfile.TarInfo("manifest.json"))

    assert refusal(packed.getvalue()) == refusal(b"tag,site\n" * 200) == refusal(b"") == "The file is no backup."
    assert refusal(squeezed.getvalue().ljust(600, b"\0")) == "The file is no backup."


def test_a_row_without_an_end_is_not_read_without_end(monkeypatch):
    monkeypatch.setattr(archive, "LINE_LIMIT_BYTES", 3 * archive.CHUNK_BYTES)
    file = io.BytesIO()
    with archive.added(file, "organisations/1/site.jsonl") as growing:
        growing.write(b"x" * 5 * archive.CHUNK_BYTES)
    archive.finish(file)
    (member,) = archive.members_of(file, tell=untold)

    with pytest.raises(Damaged, match="too long"):
        [*archive.lines_of(file, member)]
