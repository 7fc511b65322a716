"""Erasing the particulars of people who left: on record, and in the journal's past, whose chain goes on proving."""

from __future__ import annotations

from uuid import UUID

import sqlalchemy as sa

from domain.actions.retention import HOLDS, held_by
from domain.errors import Conflict
from domain.records import journal
from domain.records.accounts import Account, AccountIdentity
from domain.records.base import table_of
from domain.records.organisations import Idempotency
from domain.records.retention import LegalHold
from domain.records.staff import Staff
from domain.records.statements import Statement
from domain.records.unit import Unit

FORMER = "Former member of staff"
"""What stands in the place of an erased name."""

_account, _answer, _identity = table_of(Account), table_of(Idempotency), table_of(AccountIdentity)
_own = sa.bindparam("organisation_id", type_=sa.BigInteger())
_at_own = sa.bindparam("at_organisation_id", type_=sa.BigInteger())

ANSWERS = Statement(sa.select(_answer.c.key, _answer.c.body).where(_answer.c.organisation_id == _own))
FORGET_ANSWER = Statement(sa.delete(_answer).where(_answer.c.organisation_id == _at_own, _answer.c.key == sa.bindparam("at_key")))
ACCOUNTS_OF_STAFF = Statement(
    sa.select(_account).where(_account.c.organisation_id == _own, _account.c.staff_id == sa.bindparam("staff_id"))
)
IDENTITIES_OF_STAFF = Statement(
    sa.select(_identity)
    .join(_account, sa.and_(_account.c.organisation_id == _identity.c.organisation_id, _account.c.id == _identity.c.account_id))
    .where(_identity.c.organisation_id == _own, _account.c.staff_id == sa.bindparam("staff_id"))
)


def erase_staff(unit: Unit, staff_id: UUID, *, reason: str) -> Staff:
    """Erase the particulars of a person who left, on record and in the journal's past, and return what is left of the record.

    That somebody was there, with which role, and what they did stays, under the id. Copies outside, such as backups and papers, do not
    change by this.

    Raises:
        Conflict: The person has not left, or a hold forbids it.
    """
    found = unit.fetch(Staff, staff_id)
    if found.ended_on is None:
        raise Conflict("End this member of staff's record first: only who has left is erased.", code="not-ended")
    holds = unit.all(LegalHold, HOLDS)
    accounts = unit.all(Account, ACCOUNTS_OF_STAFF, staff_id=staff_id)
    identities = unit.all(AccountIdentity, IDENTITIES_OF_STAFF, staff_id=staff_id)
    held = next((why for one in (found, *accounts) if (why := held_by(holds, one))), None)
    if held:
        raise Conflict(f"This cannot be erased: {held}.", code="held")
    for one in (*identities, *accounts):
        if one.ended_on is None:
            raise Conflict("End the accounts of this member of staff first.", code="not-ended")
    for one in (found, *accounts, *identities):
        unit.run(
            journal.FORGET_PARTICULARS,
            at_organisation_id=unit.organisation_id,
            of_subject=one.noun,
            of_subject_id=one.id,
            new_salt=None,
            new_value=None,
        )
        _forget_answers_about(unit, one.id)
    for identity in identities:
        unit.change(identity, {"subject": f"erased-{identity.id}"}, action="erase_account_identity", reason=reason)
    for account in accounts:
        name = f"erased {account.id}"
        unit.change(account, {"sign_in_name": name, "sign_in_name_key": name}, action="erase_account", reason=reason)
    return unit.change(found, {"name": FORMER, "contact": "", "note": ""}, action="erase_staff", reason=reason)


def _forget_answers_about(unit: Unit, subject_id: UUID) -> None:
    said = str(subject_id).encode()
    for key, body in unit.rows(ANSWERS):
        if said in bytes(body):
            unit.run(FORGET_ANSWER, at_organisation_id=unit.organisation_id, at_key=key)
