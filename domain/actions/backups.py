"""Taking a backup of every organisation, and restoring one into an empty database."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import msgspec

from domain.actions.documents import SIZES_OF_FILES, files_on_record, flaws_of_files
from domain.actions.replay import Flaw
from domain.actions.verify import Proof, prove
from domain.errors import Conflict, Refusal, RuleBroken
from domain.records import journal
from domain.records.backups import archive, manifest, rows
from domain.records.backups.archive import Damaged, Tell
from domain.records.backups.manifest import Checked, Content, File, Held, LostFile, Manifest, Table
from domain.records.backups.whole import directory, within
from domain.records.files import Files, flaw_of, pieces_of
from domain.records.statements import instant_text
from domain.records.unit import Unit


@dataclass(frozen=True, slots=True)
class Taker:
    """What takes a backup: the product's version, and the revision of the schema that it knows."""

    product_version: str
    schema_revision: str


class Differs(RuleBroken):
    """What was restored is not what the backup holds, or cannot be true; nothing of it is kept."""

    code = "restored-differs"


def take_backup(unit: Unit, file: BinaryIO, *, files: Files, taker: Taker, tell: Tell) -> Manifest:
    """Write every row that a ``whole_snapshot`` shows, and every file that its documents have, into an empty file; return the manifest.

    Whatever was confirmed before the unit's instant is in it. A file that is not there whole is left out, and named in the manifest.

    Raises:
        StorageBusy: The files cannot be reached.
    """
    tables = rows.tables()
    organisations, contents = [], []
    for organisation_id, name in directory(unit):
        own = within(unit, organisation_id)
        organisations.append(_held(own, name))
        for table in tables:
            tell(f"{table.name} of {name}")
            contents += _written(own, table, file)
    filed = [found for one in organisations for found in _filed(within(unit, one.organisation_id), one, files, file, tell=tell)]
    made = Manifest(
        format=manifest.FORMAT,
        format_version=manifest.VERSION,
        product_version=taker.product_version,
        schema_revision=taker.schema_revision,
        taken_at=instant_text(unit.origin.at),
        tables=tables,
        organisations=tuple(organisations),
        contents=tuple(contents),
        files=tuple(one for one in filed if isinstance(one, File)),
        lost_files=tuple(one for one in filed if isinstance(one, LostFile)),
    )
    manifest.seal(file, made)
    return made


def needed_bytes(unit: Unit) -> int:
    """Return how large a backup of what a ``whole_snapshot`` shows will be at most, roughly [bytes]."""
    sizes: list[dict[str, int]] = [dict(within(unit, organisation_id).rows(SIZES_OF_FILES)) for organisation_id, _ in directory(unit)]
    return rows.stored_bytes(unit) + sum(sum(of_one.values()) for of_one in sizes)


def restore_backup(unit: Unit, file: BinaryIO, checked: Checked, *, files: Files, tell: Tell) -> Mapping[int, Proof]:
    """Write everything that a backup holds in a ``whole_transaction`` and return the proof of each organisation's journal.

    The backup has to be of the schema that this version knows. References, the database's checks and the guards of the journal stay on.
    What was written is read again and compared; only a caller that gets an answer may commit.

    Raises:
        Conflict: The database holds an organisation.
        Damaged: A row of the backup is none of its table.
        Differs: The database took something else than the backup holds, or a journal does not hold.
    """
    said = checked.manifest
    if directory(unit):
        raise Conflict("The database is not empty. A backup is restored into an empty one only.", code="not-empty")
    if said.tables != rows.tables():
        raise Damaged("The tables of the backup are not those of its schema.")
    for content in _parents_first(said):
        tell(f"writing {content.member}")
        _store(within(unit, content.organisation_id), file, checked, content)
    found = differences(unit, said, tell=tell)
    if found:
        raise Differs(" ".join(found))
    proofs = _proved(unit, said, tell=tell)
    _restore_files(unit, file, checked, files, tell=tell)
    return proofs


def differences(unit: Unit, said: Manifest, *, tell: Tell) -> list[str]:
    """Return a sentence for each difference between a database and what a backup's manifest says."""
    there, held = directory(unit), [(one.organisation_id, one.name) for one in said.organisations]
    found = [] if there == held else ["The organisations are not those of the backup."]
    for organisation in said.organisations:
        own = within(unit, organisation.organisation_id)
        if _held(own, organisation.name) != organisation:
            found.append(f"The journal of {organisation.name} does not end where the backup says.")
        found += _differing_rows(own, organisation, said, tell=tell)
    found += [f"The table {table} refers to rows that are not there." for table in rows.broken_references(unit)]
    return found


def _filed(own: Unit, organisation: Held, files: Files, file: BinaryIO, *, tell: Tell) -> Iterator[File | LostFile]:
    """Write every file that documents of an organisation have, and yield what it is, or what is wrong with it."""
    for digest in files_on_record(own):
        tell(f"file {digest[:12]} of {organisation.name}")
        wrong = flaw_of(files, own.organisation_id, digest)
        if wrong:
            yield LostFile(own.organisation_id, digest, wrong)
            continue
        found = File(own.organisation_id, digest, 0)
        with files.take(own.organisation_id, digest) as content, archive.added(file, found.member) as member:
            for piece in pieces_of(content):
                member.write(piece)
        yield msgspec.structs.replace(found, size_bytes=member.size)


def _restore_files(unit: Unit, file: BinaryIO, checked: Checked, files: Files, *, tell: Tell) -> None:
    """Keep the files of a backup, and see that each file that a document has is there, unless it was lost before the backup was taken.

    Raises:
        Differs: One is not.
    """
    said = checked.manifest
    for one in said.files:
        tell(f"writing {one.member}")
        with archive.excerpt_of(file, checked.members[one.member]) as content:
            files.keep(one.organisation_id, one.sha256, content)
    for organisation in said.organisations:
        tell(f"reading the files of {organisation.name}")
        lost = {one.sha256 for one in said.lost_files if one.organisation_id == organisation.organisation_id}
        on_record = files_on_record(within(unit, organisation.organisation_id))
        wanted = {digest: documents for digest, documents in on_record.items() if digest not in lost}
        flaws = flaws_of_files(files, organisation.organisation_id, wanted)
        if flaws:
            raise Differs(f"{organisation.name}: {_first_of(flaws)}")


def _held(own: Unit, name: str) -> Held:
    head = own.row(journal.HEAD)
    position, last_hash = head or (0, "")
    return Held(own.organisation_id, name, position, last_hash)


def _written(own: Unit, table: Table, file: BinaryIO) -> list[Content]:
    pieces = rows.encoded(own, table)
    first = next(pieces, None)
    if first is None:
        return []
    empty = Content(own.organisation_id, table.name, 0, 0, "")
    with archive.added(file, empty.member) as member:
        member.write(first)
        for piece in pieces:
            member.write(piece)
    return [Content(own.organisation_id, table.name, member.lines, member.size, member.sha256())]


def _parents_first(said: Manifest) -> Iterator[Content]:
    by_table: dict[str, list[Content]] = {table.name: [] for table in said.tables}
    for content in said.contents:
        if content.table not in by_table:
            raise Damaged(f"There is no table {content.table}, of which the backup holds rows.")
        by_table[content.table].append(content)
    for contents in by_table.values():
        yield from contents


def _store(own: Unit, file: BinaryIO, checked: Checked, content: Content) -> None:
    table = next(one for one in checked.manifest.tables if one.name == content.table)
    try:
        rows.store(own, table, archive.lines_of(file, checked.members[content.member]))
    except Refusal:
        raise
    except (msgspec.DecodeError, ValueError, OverflowError) as odd:
        raise Damaged(f"{content.member} holds what is no row of its table: {odd}") from odd
    except own.cursor.connection.Error as refused:
        said = str(refused).splitlines()[0] if str(refused) else type(refused).__name__
        raise Differs(f"The database does not take {content.member}: {said}") from refused


def _differing_rows(own: Unit, organisation: Held, said: Manifest, *, tell: Tell) -> list[str]:
    expected = {one.table: one for one in said.contents if one.organisation_id == organisation.organisation_id}
    found = []
    for table in said.tables:
        tell(f"comparing {table.name} of {organisation.name}")
        there = rows.content(own, table)
        wanted = expected.get(table.name)
        if (there if there.rows else None) != wanted:
            count = wanted.rows if wanted else 0
            found.append(f"{table.name} of {organisation.name} has {there.rows} rows and differs from the {count} of the backup.")
    return found


def _proved(unit: Unit, said: Manifest, *, tell: Tell) -> Mapping[int, Proof]:
    proofs: dict[int, Proof] = {}
    for organisation in said.organisations:
        tell(f"proving the journal of {organisation.name}")
        proof = prove(within(unit, organisation.organisation_id))
        if proof.flaws:
            raise Differs(f"{organisation.name}: {_first_of(proof.flaws)}")
        proofs[organisation.organisation_id] = proof
    return proofs


def _first_of(flaws: Sequence[Flaw], *, shown: int = 3) -> str:
    sentences: Sequence[str] = [flaw.sentence for flaw in flaws[:shown]]
    return " ".join((*sentences, f"({len(flaws)} flaws)"))
