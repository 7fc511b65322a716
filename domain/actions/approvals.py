"""Asking for a second person's approval, giving it, and using it up with the act that it is for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

import sqlalchemy as sa

from domain.actions.recording import recorded
from domain.errors import Conflict, NotAllowed, RuleBroken
from domain.records.approvals import Approval, ApprovalStated
from domain.records.base import Record, row_of, table_of
from domain.records.belonging import beyond_reach, site_of
from domain.records.journal import Origin
from domain.records.statements import Statement
from domain.records.unit import Unit
from domain.rules.permissions import Reach

GOOD_FOR = timedelta(days=3)
"""How long an approval that was asked for may be given and used."""

_approval = table_of(Approval)
GIVEN = Statement(
    sa.select(_approval)
    .where(
        _approval.c.organisation_id == sa.bindparam("organisation_id"),
        _approval.c.subject_id == sa.bindparam("subject_id"),
        _approval.c.action == sa.bindparam("action"),
        _approval.c.asked_by == sa.bindparam("asked_by"),
        _approval.c.given_by.is_not(None),
        _approval.c.used_at.is_(None),
        _approval.c.ended_on.is_(None),
        _approval.c.expires_at > sa.bindparam("now", type_=_approval.c.expires_at.type),
    )
    .order_by(_approval.c.id)
    .limit(1)
)


OPEN_FOR = Statement(
    sa.select(_approval)
    .where(
        _approval.c.organisation_id == sa.bindparam("organisation_id"),
        _approval.c.subject_id == sa.bindparam("subject_id"),
        _approval.c.used_at.is_(None),
        _approval.c.ended_on.is_(None),
    )
    .order_by(_approval.c.id)
)


@dataclass(frozen=True, slots=True)
class ActOfTwo:
    """An act that needs two people, as the person at hand may do it: to which class of record, and where; ``None``: nowhere."""

    record: type[Record]
    reach: Reach | None


ActNamed = Callable[[str], ActOfTwo | None]
"""What the act of a name is for the person at hand; ``None`` where it needs no second person, or is none."""


def ask_for_approval(unit: Unit, stated: ApprovalStated, *, act_named: ActNamed, record_id: UUID | None = None) -> Approval:
    """Ask for an approval and return it, not given yet.

    Raises:
        RuleBroken: No act of that name needs a second person, or there is no such record.
        NotAllowed: Whoever asks may not do the act, or not there.
    """
    act = act_named(stated.action)
    if act is None:
        raise RuleBroken("No act of this name needs a second person.", code="needs-no-approval", field="action")
    subject = unit.find(act.record, stated.subject_id)
    if subject is None:
        raise RuleBroken("There is no such record.", code="reference-unknown", field="subject_id")
    _refuse_unable(unit, act, subject, action=stated.action)
    expires_at = unit.origin.at + GOOD_FOR
    return recorded(unit, Approval, stated, record_id=record_id, asked_by=person(unit.origin), expires_at=expires_at)


def give_approval(unit: Unit, approval_id: UUID, *, act_named: ActNamed) -> Approval:
    """Give an approval that another person asked for, and return it.

    Raises:
        Conflict: It was given already, or its time is over.
        NotAllowed: The giver asked for it, or may not do the act that it is for.
    """
    found = unit.fetch(Approval, approval_id)
    if found.given_by is not None:
        raise Conflict("This approval was given already.", code="given")
    if found.expires_at <= unit.origin.at:
        raise Conflict("The time of this approval is over; ask anew.", code="expired")
    giver = person(unit.origin)
    if giver == found.asked_by:
        raise NotAllowed("Somebody else has to approve what you asked for.", code="own-approval")
    act = act_named(found.action)
    if act is None:
        raise Conflict("What it is for needs no second person any more.", code="needs-no-approval")
    _refuse_unable(unit, act, unit.fetch(act.record, found.subject_id), action=found.action)
    return unit.change(found, {"given_by": giver, "given_at": unit.origin.at}, action="give_approval")


def use_approval(unit: Unit, action: str, subject_id: UUID) -> Approval:
    """Use up the approval of an act on a record, in the transaction of the act, and return it.

    Raises:
        NotAllowed: Whoever does it has asked nobody, or nobody has approved it in time.
    """
    found = unit.first(Approval, GIVEN, subject_id=subject_id, action=action, asked_by=person(unit.origin), now=unit.origin.at)
    if found is None:
        raise NotAllowed(
            f"This needs a second person. Ask for an approval of {action} for this record, have somebody else give it, then do it again.",
            code="second-person-needed",
        )
    return unit.change(found, {"used_at": unit.origin.at}, action="use_approval")


def end_approvals(unit: Unit, subject_id: UUID) -> None:
    """End what was asked or given for a record that has been changed since: nobody approved it as it is now."""
    for one in unit.all(Approval, OPEN_FOR, subject_id=subject_id):
        facts = {"ended_on": unit.origin.at.date(), "end_reason": "What it was for was changed since."}
        unit.change(one, facts, action="end_approval")


def person(origin: Origin) -> str:
    """Return who stands behind a change: the member of staff whom a program acts for, else whoever does it."""
    return origin.actor if origin.on_behalf_of is None else f"staff:{origin.on_behalf_of}"


def _refuse_unable(unit: Unit, act: ActOfTwo, subject: Record, *, action: str) -> None:
    if act.reach is None:
        raise NotAllowed(f"Your roles do not allow what this approval is for: {action}.")
    if not act.reach.covers(site_of(unit, type(subject), row_of(subject))):
        raise beyond_reach(type(subject))
