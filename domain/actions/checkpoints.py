"""Signed checkpoints: what a chain's end was at an instant, in the words of a key that the database does not hold.

Whoever owns the database can write a whole chain anew; nobody can make it agree with checkpoints that lie elsewhere. A checkpoint signs
the text ``reedbed-checkpoint-1``, a newline, and the canonical JSON of its organisation, position, hash and instant. What was written after
the last checkpoint is not held by any.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import sqlalchemy as sa

from domain.actions.replay import Flaw
from domain.records import journal
from domain.records.base import row_of, table_of
from domain.records.journal import JournalCheckpoint
from domain.records.statements import Statement, instant_text, json_text
from domain.records.unit import Unit

CHECKPOINT = b"reedbed-checkpoint-1\n"

_checkpoint, _journal = table_of(JournalCheckpoint), table_of(journal.JournalEntry)
KEEP_CHECKPOINT = Statement(sa.insert(_checkpoint))
CHECKPOINTS = Statement(
    sa.select(_checkpoint).where(_checkpoint.c.organisation_id == sa.bindparam("organisation_id")).order_by(_checkpoint.c.position)
)
LAST_CHECKPOINT = Statement(
    sa.select(sa.func.max(_checkpoint.c.position)).where(_checkpoint.c.organisation_id == sa.bindparam("organisation_id"))
)
HASH_AT = Statement(
    sa.select(_journal.c.hash).where(
        _journal.c.organisation_id == sa.bindparam("organisation_id"), _journal.c.position == sa.bindparam("position")
    )
)

Sign = Callable[[bytes], str]
IsSigned = Callable[[bytes, str, str], bool]
"""Whether a text was signed: the text, the signature, and the name of the key that is said to have made it."""


def make_checkpoint(unit: Unit, sign: Sign, *, key_id: str) -> JournalCheckpoint | None:
    """Sign the end of the chain, keep the checkpoint and return it; ``None`` where the chain has not grown since the last one.

    Whoever makes one at the same time waits.
    """
    head, last = unit.row(journal.LOCK_HEAD), unit.row(LAST_CHECKPOINT)
    if head is None or head[0] <= (last[0] if last and last[0] is not None else 0):
        return None
    made = JournalCheckpoint(
        organisation_id=unit.organisation_id, position=head[0], hash=head[1], at=unit.origin.at, key_id=key_id, signature=""
    )
    made.signature = sign(signed_text(made))
    unit.run(KEEP_CHECKPOINT, **row_of(made))
    return made


def signed_text(checkpoint: JournalCheckpoint) -> bytes:
    """Return what a checkpoint's signature is of."""
    said = {
        "organisation_id": checkpoint.organisation_id,
        "position": checkpoint.position,
        "hash": checkpoint.hash,
        "at": instant_text(checkpoint.at),
    }
    return CHECKPOINT + json_text(said).encode()


def flaws_against(unit: Unit, elsewhere: Iterable[JournalCheckpoint], is_signed: IsSigned) -> list[Flaw]:
    """Return how an organisation's chain, and the checkpoints in its database, differ from those that were kept elsewhere."""
    there = list(elsewhere)
    return [flaw for one in there for flaw in _flaws_of(unit, one, is_signed)] + list(_flaws_of_kept(unit, there))


def _flaws_of(unit: Unit, checkpoint: JournalCheckpoint, is_signed: IsSigned) -> Iterator[Flaw]:
    at = checkpoint.position
    if not is_signed(signed_text(checkpoint), checkpoint.signature, checkpoint.key_id):
        yield Flaw(at, f"The checkpoint at entry {at} bears no good signature of a known key; it names the key {checkpoint.key_id}.")
        return
    found = unit.row(HASH_AT, position=at)
    if found is None:
        yield Flaw(at, f"The chain reached entry {at} when a checkpoint was signed; now it does not.")
    elif found[0] != checkpoint.hash:
        yield Flaw(at, f"Entry {at} is another one than when its checkpoint was signed.")


def _flaws_of_kept(unit: Unit, there: Iterable[JournalCheckpoint]) -> Iterator[Flaw]:
    """Yield the checkpoints in the database that were not written down elsewhere; elsewhere there may be more, of failed attempts."""
    known = {tuple(row_of(one).values()) for one in there}
    for one in unit.all(JournalCheckpoint, CHECKPOINTS):
        if tuple(row_of(one).values()) not in known:
            yield Flaw(one.position, f"The checkpoint at entry {one.position} in the database is none of those in the second place.")
