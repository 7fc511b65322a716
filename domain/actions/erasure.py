"""Erasing the particulars of people who left: on record, and in the journal's past, whose chain goes on proving.

A person's name also stands in texts that anybody wrote freely (notes of other records, reasons, names of keys, holders of permits that no
member of staff is named with), in the journal's entries about those, in files to be imported that wait, in backups made before, and on
paper that was handed out. None of these is touched: whoever erases has to look there. Checkpoints, sessions, the reading log and the papers
that Reedbed makes bear ids and no names. A database keeps what was overwritten in its own log for a while: SQLite until that is written
back, when the service stops at the latest; PostgreSQL until it has been vacuumed, and as long as its archives last.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID

import sqlalchemy as sa

from domain.actions.retention import HOLDS, hold_on
from domain.errors import Conflict
from domain.records import journal
from domain.records.accounts import Account, AccountIdentity
from domain.records.base import Record, table_of
from domain.records.competences import Competence
from domain.records.organisations import Idempotency
from domain.records.permits import Permit
from domain.records.retention import LegalHold
from domain.records.staff import Staff
from domain.records.statements import DialectName, Statement
from domain.records.unit import Unit

FORMER = "Former member of staff"
"""What stands in the place of an erased name, and of an erased holder of a permit."""
FORMER_COMPETENCE = "Competence of a former member of staff"
"""What stands in the place of an erased title. For which hazard class and when it counted stays: it tells who could look after whom."""

_account, _answer, _identity, _competence, _permit = (table_of(one) for one in (Account, Idempotency, AccountIdentity, Competence, Permit))
_own = sa.bindparam("organisation_id", type_=sa.BigInteger())
_said = sa.bindparam("said", type_=sa.LargeBinary())

ACCOUNTS_OF_STAFF = Statement(
    sa.select(_account).where(_account.c.organisation_id == _own, _account.c.staff_id == sa.bindparam("staff_id"))
)
IDENTITIES_OF_STAFF = Statement(
    sa.select(_identity)
    .join(_account, sa.and_(_account.c.organisation_id == _identity.c.organisation_id, _account.c.id == _identity.c.account_id))
    .where(_identity.c.organisation_id == _own, _account.c.staff_id == sa.bindparam("staff_id"))
)
COMPETENCES_OF_STAFF = Statement(
    sa.select(_competence).where(_competence.c.organisation_id == _own, _competence.c.staff_id == sa.bindparam("staff_id"))
)
PERMITS_OF_STAFF = Statement(sa.select(_permit).where(_permit.c.organisation_id == _own, _permit.c.holder_id == sa.bindparam("staff_id")))
_answers = sa.delete(_answer).where(_answer.c.organisation_id == sa.bindparam("at_organisation_id", type_=sa.BigInteger()))
FORGET_ANSWERS: Mapping[DialectName, Statement] = {
    "sqlite": Statement(_answers.where(sa.func.instr(_answer.c.body, _said) > 0)),
    "postgresql": Statement(_answers.where(sa.func.pg_catalog.position(_answer.c.body, _said) > 0)),
}
"""Deletes the answers kept under Idempotency-Keys that speak of a record; the same request sent again is then a new one."""


def erase_staff(unit: Unit, staff_id: UUID, *, reason: str) -> Staff:
    """Erase the particulars of a person who left, on record and in the journal's past, and return what is left of the record.

    That somebody was there, with which role, and what they did stays, under the id; so do the reasons given, this one as well. Changes by
    others wait meanwhile, so that none of them brings a particular back.

    Raises:
        Conflict: The person has not left, or a hold forbids it.
    """
    unit.row(journal.LOCK_HEAD)
    found = unit.fetch_reached(Staff, staff_id)
    if found.ended_on is None:
        raise Conflict("End this member of staff's record first: only who has left is erased.", code="not-ended")
    accounts = unit.all(Account, ACCOUNTS_OF_STAFF, staff_id=staff_id)
    identities = unit.all(AccountIdentity, IDENTITIES_OF_STAFF, staff_id=staff_id)
    if any(one.ended_on is None for one in (*accounts, *identities)):
        raise Conflict("End the accounts of this member of staff first.", code="not-ended")
    competences = unit.all(Competence, COMPETENCES_OF_STAFF, staff_id=staff_id)
    permits = unit.all(Permit, PERMITS_OF_STAFF, staff_id=staff_id)
    everything = (found, *accounts, *identities, *competences, *permits)
    _refuse_held(unit, everything)
    for one in everything:
        _forget(unit, one)
    for competence in competences:
        nothing = {"title": FORMER_COMPETENCE, "assessed_by": None, "note": ""}
        unit.change(competence, nothing, action="erase_competence", reason=reason)
    for permit in permits:
        unit.change(permit, {"holder": FORMER}, action="erase_permit", reason=reason)
    for identity in identities:
        unit.change(identity, {"subject": f"erased-{identity.id}"}, action="erase_account_identity", reason=reason)
    for account in accounts:
        name = f"erased {account.id}"
        unit.change(account, {"sign_in_name": name, "sign_in_name_key": name}, action="erase_account", reason=reason)
    return unit.change(found, {"name": FORMER, "contact": "", "note": ""}, action="erase_staff", reason=reason)


def _refuse_held(unit: Unit, records: Sequence[Record]) -> None:
    holds = unit.all(LegalHold, HOLDS)
    hold = next((hold for one in records if (hold := hold_on(unit, holds, one))), None)
    if hold is not None:
        raise Conflict(f"This cannot be erased, it is held: {hold.why}", code="held")


def _forget(unit: Unit, one: Record) -> None:
    """Forget what the journal's chain holds only hashes of, and the answers that speak of a record."""
    unit.run(journal.FORGET_PARTICULARS, at_organisation_id=unit.organisation_id, of_subject=one.noun, of_subject_id=one.id)
    unit.run(FORGET_ANSWERS[unit.dialect], at_organisation_id=unit.organisation_id, said=str(one.id).encode())
