"""``reedbed verify`` and ``reedbed checkpoint``: proving the journal, and signing where it stands."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from api.commands.session import Session, opened
from api.commands.trouble import Trouble
from api.signing import KeyUnusable, Signer, read_elsewhere, read_public_keys, read_signer, signed_by, write_elsewhere
from domain.actions.checkpoints import IsSigned, flaws_against, make_checkpoint
from domain.actions.verify import Flaw, Proof, prove
from domain.records.engine import run_unit
from domain.records.organisations import Organisation
from domain.records.unit import Unit

FLAWS_SHOWN = 12


def verify(words: Namespace, console: Console) -> int:
    """Prove the journal and the records of each organisation; the exit status is 1 if anything is wrong."""
    with opened("verify") as session:
        is_signed = _is_signed(session, words)
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        proofs = [(one, _proof(session, one, words.checkpoints, is_signed)) for one in chosen]
    for one, proof in proofs:
        verdict = f"{len(proof.flaws)} flaws" if proof.flaws else "the chain holds and the records agree"
        console.print(f"{one.name}: {proof.entries} entries, {proof.records} records: {verdict}", markup=False, soft_wrap=True)
        for flaw in proof.flaws[:FLAWS_SHOWN]:
            console.print(f"  {flaw.sentence}", markup=False, soft_wrap=True)
    return 1 if any(proof.flaws for _, proof in proofs) else 0


def checkpoint(words: Namespace, console: Console) -> int:
    """Sign where each organisation's journal stands and write it down in the second place."""
    with opened("checkpoint") as session:
        if session.settings.signing_key_file is None or session.settings.checkpoint_folder is None:
            raise Trouble("Checkpoints need a key and a second place: set REEDBED_SIGNING_KEY_FILE and REEDBED_CHECKPOINT_FOLDER")
        chosen = [session.organisation(words.organisation)] if words.organisation else session.organisations()
        for path in write_checkpoints(session, chosen):
            console.print(str(path), markup=False, soft_wrap=True)
    return 0


def write_checkpoints(session: Session, chosen: Sequence[Organisation]) -> list[Path]:
    """Sign where the journals stand, write it down in the second place, and return the files; nothing where no key is set.

    A checkpoint is kept in the database only once it lies in the second place.

    Raises:
        Trouble: The key or the second place cannot be used.
    """
    key_file, folder = session.settings.signing_key_file, session.settings.checkpoint_folder
    if key_file is None or folder is None:
        return []
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
        made = make_checkpoint(unit, signer.sign, key_id=signer.key_id)
        return None if made is None else write_elsewhere(folder, made)

    path: Path | None = run_unit(session.store, signed, origin=session.origin(organisation.id))
    return path


def _is_signed(session: Session, words: Namespace) -> IsSigned | None:
    if words.checkpoints is None:
        return None
    files = words.public_key or [session.settings.signing_key_file]
    if files == [None]:
        raise Trouble("Say whose signatures count: --public-key FILE.pem, or set REEDBED_SIGNING_KEY_FILE")
    if not words.checkpoints.is_dir():
        raise Trouble(f"The folder for checkpoints is not there: {words.checkpoints}")
    try:
        return signed_by(read_public_keys(files))
    except KeyUnusable as unusable:
        raise Trouble(str(unusable)) from unusable


def _proof(session: Session, organisation: Organisation, folder: Path | None, is_signed: IsSigned | None) -> Proof:
    """Return the proof of an organisation, with what its checkpoints elsewhere say first: they may name an earlier entry."""
    with session.store.snapshot(session.origin(organisation.id)) as unit:
        unit.take_time()
        proof = prove(unit)
        if folder is None or is_signed is None:
            return proof
        try:
            elsewhere = list(read_elsewhere(folder, organisation.id))
        except ValueError as unread:
            raise Trouble(str(unread)) from unread
        flaws = [*proof.flaws, *flaws_against(unit, elsewhere, is_signed)]
        return Proof(proof.entries, proof.records, sorted(flaws, key=_place))


def _place(flaw: Flaw) -> tuple[bool, int]:
    return (flaw.position is None, flaw.position or 0)
