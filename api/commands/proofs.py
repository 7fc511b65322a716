"""``reedbed verify`` and ``reedbed checkpoint``: proving the journal and the files of documents, and signing where the journal stands."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from api.commands.session import Session, opened
from api.commands.trouble import Trouble
from api.filing.places import files_of
from api.signing import KeyUnusable, Signer, read_elsewhere, read_public_keys, read_signer, signed_by, write_elsewhere
from domain.actions.checkpoints import IsSigned, flaws_against, make_checkpoint
from domain.actions.documents import files_on_record, flaws_of_files
from domain.actions.replay import Flaw
from domain.actions.verify import Proof, in_order, prove
from domain.records.engine import run_unit
from domain.records.journal import HEAD
from domain.records.organisations import Organisation
from domain.records.unit import Unit

FLAWS_SHOWN = 12
BOTH_NEEDED = "Checkpoints need a key and a second place: set REEDBED_SIGNING_KEY_FILE and REEDBED_CHECKPOINT_FOLDER"


@dataclass(frozen=True, slots=True)
class SecondPlace:
    """Where checkpoints were written down, and whose signatures count there."""

    folder: Path
    is_signed: IsSigned


def verify(words: Namespace, console: Console) -> int:
    """Prove the journal, the records and the files of each organisation; the exit status is 1 if anything is wrong."""
    with opened("verify") as session:
        second_place = _second_place(session, words)
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        found = [(one, *_proof(session, one, second_place)) for one in chosen]
    for one, proof, against in found:
        verdict = f"{len(proof.flaws)} flaws" if proof.flaws else "the chain holds and the records agree"
        console.print(f"{one.name}: {proof.entries} entries, {proof.records} records{against}: {verdict}", markup=False, soft_wrap=True)
        for flaw in proof.flaws[:FLAWS_SHOWN]:
            console.print(f"  {flaw.sentence}", markup=False, soft_wrap=True)
    return 1 if any(proof.flaws for _, proof, _ in found) else 0


def checkpoint(words: Namespace, console: Console) -> int:
    """Sign where each organisation's journal stands and write it down in the second place."""
    with opened("checkpoint") as session:
        if session.settings.signing_key_file is None or session.settings.checkpoint_folder is None:
            raise Trouble(BOTH_NEEDED)
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        written = write_checkpoints(session, chosen)
    for path in written:
        console.print(str(path), markup=False, soft_wrap=True)
    if not written:
        console.print("nothing new to sign since the last checkpoint")
    return 0


def write_checkpoints(session: Session, chosen: Sequence[Organisation]) -> list[Path]:
    """Sign where the journals stand, write it down in the second place, and return the files; nothing where neither is set.

    A checkpoint is kept in the database only once it lies in the second place. It bears the instant at which it is really signed.

    Raises:
        Trouble: The key or the second place cannot be used, or one of them is set without the other.
    """
    key_file, folder = session.settings.signing_key_file, session.settings.checkpoint_folder
    if key_file is None and folder is None:
        return []
    if key_file is None or folder is None:
        raise Trouble(BOTH_NEEDED)
    try:
        signer = read_signer(key_file)
    except KeyUnusable as unusable:
        raise Trouble(str(unusable)) from unusable
    if not folder.is_dir():
        raise Trouble(f"The folder for checkpoints is not there: {folder}")
    written = [_write_checkpoint(session, one, signer, folder) for one in chosen]
    return [path for path in written if path is not None]


def _write_checkpoint(session: Session, organisation: Organisation, signer: Signer, folder: Path) -> Path | None:
    def signed(unit: Unit) -> Path | None:
        _refuse_shorter(unit, organisation, folder)
        made = make_checkpoint(unit, signer.sign, key_id=signer.key_id)
        return None if made is None else write_elsewhere(folder, made)

    origin = replace(session.origin(organisation.id), at=datetime.now(UTC))
    path: Path | None = run_unit(session.store, signed, origin=origin)
    return path


def _refuse_shorter(unit: Unit, organisation: Organisation, folder: Path) -> None:
    """Refuse to sign beside checkpoints of a longer chain: a database that was restored begins another second place."""
    head = unit.row(HEAD)
    signed = max((one.position for one in read_elsewhere(folder, organisation.id)[0]), default=0)
    if head is not None and head[0] < signed:
        raise Trouble(
            f"{organisation.name}: the journal ends at entry {head[0]}, and entry {signed} was signed in {folder}. "
            "If the database was restored from an older backup, keep that folder and begin a new one."
        )


def _second_place(session: Session, words: Namespace) -> SecondPlace | None:
    folder: Path | None = words.checkpoints or session.settings.checkpoint_folder
    if folder is None:
        return None
    files = words.public_key or [one for one in (session.settings.signing_key_file,) if one]
    if not files:
        raise Trouble("Say whose signatures count: --public-key FILE.pem, or set REEDBED_SIGNING_KEY_FILE")
    if not folder.is_dir():
        raise Trouble(f"The folder for checkpoints is not there: {folder}")
    try:
        return SecondPlace(folder, signed_by(read_public_keys(files)))
    except KeyUnusable as unusable:
        raise Trouble(str(unusable)) from unusable


def _proof(session: Session, organisation: Organisation, second_place: SecondPlace | None) -> tuple[Proof, str]:
    """Return the proof of an organisation, and what besides its records was looked at, in words: files of documents, the second place."""
    with session.store.snapshot(session.origin(organisation.id)) as unit:
        unit.take_time()
        proof = prove(unit)
        on_record = files_on_record(unit)
        against, flaws = _against(unit, organisation, second_place) if second_place else ("", [])
    lost = flaws_of_files(files_of(session.settings, session.store), organisation.id, on_record)
    files = f", {len(on_record)} files" if on_record else ""
    return replace(proof, flaws=in_order([*proof.flaws, *flaws, *lost])), files + against


def _against(unit: Unit, organisation: Organisation, second_place: SecondPlace) -> tuple[str, list[Flaw]]:
    """Return what of the second place a journal was held against, in words, and where it differs."""
    elsewhere, unread = read_elsewhere(second_place.folder, organisation.id)
    last = max((one.position for one in elsewhere), default=0)
    against = f", signed up to entry {last}" if last else ", no checkpoint yet"
    return against, [*flaws_against(unit, elsewhere, second_place.is_signed), *unread]
