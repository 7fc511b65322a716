"""Taking a backup of every organisation, and restoring one into an empty database."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import msgspec

from domain.actions.verify import Proof, prove
from domain.errors import Conflict, Refusal, RuleBroken
from domain.records import journal
from domain.records.backups import archive, manifest, rows
from domain.records.backups.archive import Damaged, Tell
from domain.records.backups.manifest import Checked, Content, Held, Manifest, Table
from domain.records.backups.whole import directory, within
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


def take_backup(unit: Unit, file: BinaryIO, *, taker: Taker, tell: Tell) -> Manifest:
    """Write every row that a ``whole_snapshot`` shows into an empty file and return the manifest.

    Whatever was confirmed before the unit's instant is in it.
    """
    tables = rows.tables()
    organisations, contents = [], []
    for organisation_id, name in directory(unit):
        own = within(unit, organisation_id)
        organisations.append(_held(own, name))
        for table in tables:
            tell(f"{table.name} of {name}")
            contents += _written(own, table, file)
    made = Manifest(
        format=manifest.FORMAT,
        format_version=manifest.VERSION,
        product_version=taker.product_version,
        schema_revision=taker.schema_revision,
        taken_at=instant_text(unit.origin.at),
        tables=tables,
        organisations=tuple(organisations),
        contents=tuple(contents),
    )
    manifest.seal(file, made)
    return made


def restore_backup(unit: Unit, file: BinaryIO, checked: Checked, *, tell: Tell) -> Mapping[int, Proof]:
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
    return _proved(unit, said, tell=tell)


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
            raise Differs(f"{organisation.name}: {_first_flaws(proof)}")
        proofs[organisation.organisation_id] = proof
    return proofs


def _first_flaws(proof: Proof, *, shown: int = 3) -> str:
    sentences: Sequence[str] = [flaw.sentence for flaw in proof.flaws[:shown]]
    return " ".join((*sentences, f"({len(proof.flaws)} flaws)"))
