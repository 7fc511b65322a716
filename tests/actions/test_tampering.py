"""Every kind of tampering is found, and the first entry that is bad is named: the table says by which sentence.

Each is done to the same database, seen, and undone. Two kinds can only be found against signed checkpoints in a second place, and are not
found without: that is what these are for.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from api.signing import Signer, read_elsewhere, signed_by, write_elsewhere
from domain.actions import verify
from domain.actions.checkpoints import CHECKPOINTS, flaws_against, make_checkpoint, signed_text
from domain.actions.replay import Flaw
from domain.actions.staff import change_staff, register_staff
from domain.actions.verify import in_order, prove
from domain.records.engine import Store
from domain.records.journal import JournalCheckpoint
from domain.records.staff import StaffStated
from domain.rules.permissions import Role
from tests import makers
from tests.behind import Behind, rehash

OURS, OTHER = makers.ORGANISATION, makers.OTHER_ORGANISATION
_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


@dataclass(frozen=True)
class Scene:
    """A database with two checkpoints: at entry 5, which is between the site's corrections and the staff, and at the last, 9."""

    run: Behind
    folder: Path
    signer: Signer

    def flaws(self) -> list[Flaw]:
        """Return what is found by the database alone."""
        return prove(self.run.unit()).flaws

    def flaws_with_checkpoints(self) -> list[Flaw]:
        """Return what is found with the second place."""
        elsewhere, unread = read_elsewhere(self.folder, OURS)
        is_signed = signed_by({self.signer.key_id: self.signer.key.public_key()})
        return in_order([*self.flaws(), *flaws_against(self.run.unit(), elsewhere, is_signed), *unread])


@pytest.fixture
def scene(store: Store, organisation: int, tmp_path: Path, tampering: Behind) -> Scene:
    signer = Signer(Ed25519PrivateKey.generate())
    makers.organisation(store, organisation_id=OTHER, name="Saltings Aquarium")
    with store.transaction(makers.origin()) as unit:
        site = makers.site(unit)
        makers.site(unit, name="Elsewhere")
        leaking = unit.change(site, {"note": "roof leaks"}, action="change_site")
        unit.change(leaking, {"note": "roof mended"}, action="change_site")
    checkpoint(store, signer, tmp_path)
    with store.transaction(makers.origin()) as unit:
        ada = register_staff(unit, StaffStated(name="Ada Canary", role=Role.KEEPER, contact="ada@canary.example"))
        change_staff(unit, ada.id, {"note": "night shifts"}, expected_version=1)
        makers.equipment(unit, makers.model(unit), site)
    checkpoint(store, signer, tmp_path)
    return Scene(tampering, tmp_path, signer)


def checkpoint(store: Store, signer: Signer, folder: Path) -> None:
    with store.transaction(makers.origin()) as unit:
        write_elsewhere(folder, make_checkpoint(unit, signer.sign, key_id=signer.key_id))


def forged_word(run: Behind) -> None:
    """Change what entry 4 says, with all that follows from it but the hashes."""
    run("UPDATE journal SET content = replace(content, 'leaks', 'holds') WHERE organisation_id = %s AND position IN (4, 5)", OURS)


def inserted(run: Behind) -> None:
    for sign in ("-position", "1 - position"):
        run(f"UPDATE journal SET position = {sign} WHERE organisation_id = %s AND (position >= 4 OR position < 0)", OURS)  # noqa: S608
    copied(run, "4", of=2)


def copied(run: Behind, position: str, *, of: int) -> None:
    run(
        "INSERT INTO journal (organisation_id, position, at, subject, subject_id, content, hash) "  # noqa: S608
        f"SELECT organisation_id, {position}, at, subject, subject_id, content, hash FROM journal "
        "WHERE organisation_id = %s AND position = %s",
        OURS,
        of,
    )


def swapped(run: Behind) -> None:
    for stood, stands in ((4, 99), (5, 4), (99, 5)):
        run("UPDATE journal SET position = %s WHERE organisation_id = %s AND position = %s", stands, OURS, stood)


def cut_off(run: Behind) -> None:
    """Take away the last entry with the record that it is of, and move the head back."""
    run("DELETE FROM equipment")
    run("DELETE FROM journal WHERE organisation_id = %s AND position = 9", OURS)
    run(
        "UPDATE journal_head SET position = 8, hash = (SELECT hash FROM journal WHERE organisation_id = %s AND position = 8) "
        "WHERE organisation_id = %s",
        OURS,
        OURS,
    )


def hashed_anew(run: Behind) -> None:
    forged_word(run)
    rehash(run, after=3)


def moved(run: Behind) -> None:
    run("UPDATE journal SET organisation_id = %s WHERE organisation_id = %s AND position = 9", OTHER, OURS)


def dated_otherwise(run: Behind) -> None:
    run("UPDATE journal SET content = replace(content, '2026-03-01T12', '2026-02-01T12') WHERE organisation_id = %s AND position = 4", OURS)


def twice(run: Behind) -> None:
    without_primary_key(run)
    copied(run, "position", of=4)


def without_primary_key(run: Behind) -> None:
    if run.dialect == "sqlite":
        run("CREATE TABLE copy AS SELECT * FROM journal")
        run("DROP TABLE journal")
        run("ALTER TABLE copy RENAME TO journal")
    else:
        run("ALTER TABLE journal DROP CONSTRAINT pk_journal CASCADE")


def sql(act: str, *values: Any) -> Callable[[Behind], None]:
    def run_it(run: Behind) -> None:
        run(act, *values)

    return run_it


KINDS: dict[str, tuple[Callable[[Behind], None], int | None, str]] = {
    "a field changed": (forged_word, 4, "Entry 4 does not have the hash of its content."),
    "an entry deleted": (
        sql("DELETE FROM journal WHERE organisation_id = %s AND position = 4", OURS),
        4,
        "Entry 4 is missing; the next is 5.",
    ),
    "an entry inserted": (inserted, 4, "Entry 4 does not follow on the entry before it."),
    "two entries swapped": (swapped, 4, "Entry 4 does not follow on the entry before it."),
    "an entry moved to another organisation": (moved, 9, "The journal ends at entry 8, but its head says 9."),
    "a record edited": (
        sql("UPDATE site SET note = 'all is well' WHERE name = 'Elsewhere'"),
        None,
        "The site <id> is not what the journal says it is: note.",
    ),
    "the time edited in the content": (dated_otherwise, 4, "Entry 4 does not have the hash of its content."),
    "the time edited in the column": (
        sql("UPDATE journal SET at = '2026-02-01T12:00:00.000000Z' WHERE organisation_id = %s AND position = 4", OURS),
        4,
        "Entry 4 says other things in its columns than in its content.",
    ),
    "a position given twice": (twice, 4, "Entry 4 is there twice."),
    "a person's particulars changed": (
        sql("UPDATE journal_private SET value = '\"Eve\"' WHERE position = 6 AND field = 'name'"),
        6,
        "The particulars kept beside entry 6 are not those that it has the hash of.",
    ),
    "a person's particulars emptied": (
        sql("UPDATE journal_private SET salt = NULL, value = NULL WHERE position = 6 AND field = 'name'"),
        6,
        "Entry 6 has lost particulars of the staff <id>, and no entry says that they were erased.",
    ),
    "a person's particulars without their salt": (
        sql("UPDATE journal_private SET salt = NULL WHERE position = 6 AND field = 'name'"),
        6,
        "The particulars kept beside entry 6 are not those that it has the hash of.",
    ),
    "a person's particulars deleted": (
        sql("DELETE FROM journal_private WHERE position = 6 AND field = 'name'"),
        6,
        "The particulars that entry 6 has the hash of are not kept beside it.",
    ),
    "particulars put beside an entry": (
        sql("INSERT INTO journal_private (organisation_id, position, part, field) VALUES (%s, 4, 'after', 'name')", OURS),
        4,
        "Entry 4 has particulars beside it that it does not speak of.",
    ),
}
ONLY_BY_CHECKPOINTS: dict[str, tuple[Callable[[Behind], None], int, str]] = {
    "the tail cut off, with the head": (cut_off, 9, "The chain reached entry 9 when a checkpoint was signed; now it does not."),
    "all hashed anew after a change, with the head": (
        hashed_anew,
        5,
        "Entry 5 is another one than when its checkpoint was signed.",
    ),
}


def first_of(flaws: list[Flaw]) -> tuple[int | None, str] | None:
    return (flaws[0].position, _ID.sub("<id>", flaws[0].sentence)) if flaws else None


def test_an_untouched_database_has_no_flaw_with_checkpoints_or_without(scene: Scene) -> None:
    assert (scene.flaws(), scene.flaws_with_checkpoints()) == ([], [])


def test_every_kind_of_tampering_is_found_and_the_first_bad_entry_named(scene: Scene) -> None:
    found = {}
    for kind, (tamper, *_) in KINDS.items():
        with scene.run.undone():
            tamper(scene.run)
            found[kind] = first_of(scene.flaws())

    assert found == {kind: (position, sentence) for kind, (_, position, sentence) in KINDS.items()}
    assert scene.flaws_with_checkpoints() == []


def test_what_only_checkpoints_show_is_not_found_without_them(scene: Scene) -> None:
    alone, with_checkpoints = {}, {}
    for kind, (tamper, *_) in ONLY_BY_CHECKPOINTS.items():
        with scene.run.undone():
            tamper(scene.run)
            alone[kind], with_checkpoints[kind] = scene.flaws(), first_of(scene.flaws_with_checkpoints())

    assert alone == {kind: [] for kind in ONLY_BY_CHECKPOINTS}
    assert with_checkpoints == {kind: (position, sentence) for kind, (_, position, sentence) in ONLY_BY_CHECKPOINTS.items()}


def test_the_first_entry_given_twice_is_found_too(scene: Scene) -> None:
    with scene.run.undone():
        without_primary_key(scene.run)
        copied(scene.run, "position", of=1)

        assert first_of(scene.flaws()) == (1, "Entry 1 is there twice.")


def test_an_entry_given_twice_where_a_page_ends_is_counted(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verify, "PAGE", 4)
    with scene.run.undone():
        twice(scene.run)

        assert scene.flaws() == [Flaw(None, "The journal has 10 entries, but only 9 with a position of their own.")]


def test_an_entry_that_came_from_elsewhere_is_found_there_too(scene: Scene) -> None:
    with scene.run.undone():
        moved(scene.run)

        assert first_of(prove(scene.run.unit(organisation_id=OTHER)).flaws) == (2, "Entry 2 is missing; the next is 9.")


def test_a_forged_record_beside_a_forged_journal_still_differs_from_it(scene: Scene) -> None:
    with scene.run.undone():
        hashed_anew(scene.run)
        scene.run("UPDATE site SET note = 'all is well' WHERE name = 'Reedmere House'")

        assert first_of(scene.flaws()) == (None, "The site <id> is not what the journal says it is: note.")


def test_checkpoints_in_the_database_that_are_not_those_of_the_second_place_are_found(scene: Scene) -> None:
    stranger = Signer(Ed25519PrivateKey.generate())
    with scene.run.undone():
        first, _ = scene.run.unit().all(JournalCheckpoint, CHECKPOINTS)
        again = stranger.sign(signed_text(first))
        scene.run("UPDATE journal_checkpoint SET key_id = %s, signature = %s WHERE position = 5", stranger.key_id, again)

        assert first_of(scene.flaws_with_checkpoints()) == (
            5,
            "The checkpoint at entry 5 in the database is none of those in the second place.",
        )


def spoiled(line: bytes, signer: Signer, **changed: Any) -> bytes:
    """Return a line of the second place with members changed, and signed by another key where one is given."""
    row = JournalCheckpoint(**{**msgspec.json.decode(line), **changed})
    row.at = makers.NOON
    row.key_id, row.signature = changed.get("key_id", signer.key_id), signer.sign(signed_text(row))
    return msgspec.json.encode({**msgspec.json.decode(line), **changed, "key_id": row.key_id, "signature": row.signature})


def second_place(scene: Scene) -> dict[str, list[bytes]]:
    """Return ways in which the file in the second place may have been changed."""
    stranger = Signer(Ed25519PrivateKey.generate())
    first, last = (scene.folder / f"{OURS}.jsonl").read_bytes().splitlines()
    return {
        "removed": [],
        "the last line removed": [first],
        "another hash": [first.replace(b'"hash":"', b'"hash":"0'), last],
        "another instant": [first.replace(b"2026-03-01", b"2026-03-02"), last],
        "signed by another key": [spoiled(first, stranger), last],
        "signed by another key in the name of ours": [spoiled(first, stranger, key_id=scene.signer.key_id), last],
        "made unreadable": [first[:-9], last],
        "of another organisation": [first, last, first.replace(str(OURS).encode(), str(OTHER).encode())],
    }


UNKNOWN_KEY = "The checkpoint at entry 5 bears no good signature of a known key; it names the key <key>."
SECOND_PLACE = {
    "removed": "The checkpoint at entry 5 in the database is none of those in the second place.",
    "the last line removed": "The checkpoint at entry 9 in the database is none of those in the second place.",
    "another hash": UNKNOWN_KEY,
    "another instant": UNKNOWN_KEY,
    "signed by another key": UNKNOWN_KEY,
    "signed by another key in the name of ours": UNKNOWN_KEY,
    "made unreadable": "The checkpoint at entry 5 in the database is none of those in the second place.",
    "of another organisation": "<file>, line 3: this is no checkpoint of this organisation.",
}


def test_a_second_place_that_was_changed_is_found(scene: Scene) -> None:
    file = scene.folder / f"{OURS}.jsonl"
    untouched, found = file.read_bytes(), {}
    for way, lines in second_place(scene).items():
        file.write_bytes(b"".join(line + b"\n" for line in lines))
        sentence = scene.flaws_with_checkpoints()[0].sentence
        found[way] = re.sub(r"key [0-9a-f]{16}", "key <key>", sentence.replace(str(file), "<file>"))
    file.write_bytes(untouched)

    assert found == SECOND_PLACE
    assert scene.flaws_with_checkpoints() == []
